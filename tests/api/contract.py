"""The contract that askers rely on: a digest an operation in `contract.txt`, a line a change in the guide.

    python -m tests.api.contract

writes the digests anew. It does so only when the change log has a line more than when they were last
written: a change that nobody tells about is not made.
"""

import hashlib
import json
import re
import sys
from pathlib import Path
from typing import Any

from graftbook.app import create_app
from graftbook.guide.book import FOLDER
from graftbook.settings import Settings

LOG = FOLDER / "changes.md"
HELD = Path(__file__).with_name("contract.txt")
COMMAND = "python -m tests.api.contract"

_ENTRY = re.compile(r"^- \d{4}-\d\d-\d\d: .{10,}", re.M)
_LINE = re.compile(r"^(\S+) (\S+)$", re.M)

WORDS = {"description", "summary", "title", "example", "examples", "tags"}
"""May be put better at any time without telling anybody."""


def digests(document: dict[str, Any]) -> dict[str, str]:
    """Operation → digest of its method, path, parameters, bodies and answers, with every schema inside."""
    return {
        operation["operationId"]: _digest([method, path, _bare(operation, document, ())])
        for path, item in document["paths"].items()
        for method, operation in item.items()
    }


def _digest(facts: Any) -> str:
    return hashlib.sha256(json.dumps(facts, sort_keys=True).encode()).hexdigest()[:12]


def _bare(node: Any, document: dict[str, Any], inside: tuple[str, ...], *, names: bool = False) -> Any:
    """A node without its words, references followed; `names`: its keys are names that somebody gave."""
    if isinstance(node, list):
        return [_bare(item, document, inside) for item in node]
    if not isinstance(node, dict):
        return node
    if "$ref" in node:
        part, name = node["$ref"].rsplit("/", 2)[1:]
        if name in inside:
            return name
        return _bare(document["components"][part][name], document, (*inside, name))
    return {
        key: _bare(item, document, inside, names=key in ("properties", "patternProperties", "$defs"))
        for key, item in node.items()
        if names or key not in WORDS
    }


def recorded(held: str, log: str) -> tuple[dict[str, str], int, int]:
    """The digests held, the entries that the log has, and the entries when the digests were written."""
    digest = dict(_LINE.findall(held))
    return digest, len(_ENTRY.findall(log)), int(digest.pop("entries", 0))


def differences(held: dict[str, str], now: dict[str, str]) -> list[str]:
    """What changed, an operation a line."""
    gone = [f"{name} is gone" for name in held.keys() - now.keys()]
    new = [f"{name} is new" for name in now.keys() - held.keys()]
    other = [
        f"{name} asks or answers otherwise" for name in held.keys() & now.keys() if held[name] != now[name]
    ]
    return sorted([*gone, *new, *other])


def advice(changes: list[str]) -> str:
    """What to do about them."""
    told = "\n".join(f"  {change}" for change in changes)
    return (
        f"The API's contract changed:\n{told}\n"
        f"Add a line `- YYYY-MM-DD: what changed, and what askers must do` at the top of the list in "
        f"the guide's {LOG.name}, then run `{COMMAND}`."
    )


def rewritten(held: str, log: str, now: dict[str, str]) -> str:
    """What is held, with these digests. Raises LookupError while nobody told about the change."""
    before, entries, then = recorded(held, log)
    changes = differences(before, now)
    if not changes and entries == then:
        return held
    if changes and entries <= then:
        raise LookupError(advice(changes))
    return f"entries {entries}\n" + "".join(f"{name} {digest}\n" for name, digest in sorted(now.items()))


def document() -> dict[str, Any]:
    """The document as a service with the default settings gives it."""
    app = create_app(Settings(database_url="sqlite://"))
    made: dict[str, Any] = app.openapi()
    app.state.service.close()
    return made


def main() -> int:
    held = HELD.read_text(encoding="utf-8")
    try:
        new = rewritten(held, LOG.read_text(encoding="utf-8"), digests(document()))
    except LookupError as missing:
        print(missing)
        return 1
    HELD.write_text(new, encoding="utf-8")
    print("The digests are as the API is now." if new != held else "Nothing changed.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
