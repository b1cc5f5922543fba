"""Scenario files: one question and what is expected of its answer, as data.

A scenario is a TOML file: `name`, `description`, `path` (where the question is posted), `[ask]` (the
body) and `[expect]`. What `[expect]` may hold is the keys of `EXPECTATIONS`; each is compared with the
part of the answer that the function beside it reads. `sentences` must all occur in the answer.
"""

import tomllib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FOLDER = Path(__file__).parent / "cases"


@dataclass(frozen=True)
class Scenario:
    """One case; `expect` compares exactly, `sentences` must occur."""

    file: str
    name: str
    description: str
    path: str
    ask: dict[str, Any]
    expect: dict[str, Any]
    sentences: tuple[str, ...]


def scenarios() -> Iterator[Scenario]:
    """Every scenario, in file order."""
    for file in sorted(FOLDER.glob("*.toml")):
        yield read_scenario(file)


def read_scenario(file: Path) -> Scenario:
    """One scenario file. Raises KeyError when a part is missing."""
    data = tomllib.loads(file.read_text(encoding="utf-8"))
    expect = dict(data["expect"])
    sentences = tuple(expect.pop("sentences", ()))
    return Scenario(
        file.name, data["name"], data["description"], data["path"], data["ask"], expect, sentences
    )


def _set(answer: dict[str, Any]) -> dict[str, Any]:
    return answer.get("set") or {}


def _names(items: list[dict[str, Any]], key: str = "name") -> list[str]:
    return sorted({item[key] for item in items})


def verdicts(answer: dict[str, Any]) -> dict[str, str]:
    """Check → verdict after the changes."""
    return {f["check"]: f["verdict"] for f in (answer.get("checks") or {}).get("findings", [])}


def _places(changes: list[dict[str, Any]]) -> list[str]:
    return sorted(f"{c['position']}: {c['component'] or 'nothing'}" for c in changes)


EXPECTATIONS: dict[str, Callable[[dict[str, Any]], Any]] = {
    "outcome": lambda a: a["outcome"],
    "changes": lambda a: {c["position"]: c["component"] or "" for c in _set(a)["changes"]},
    "loose": lambda a: {c["component"]: c["quantity"] for c in _set(a)["loose_parts"]},
    "price": lambda a: _set(a)["totals"]["price"],
    "labour_minutes": lambda a: _set(a)["totals"]["labour_minutes"],
    "visible": lambda a: _set(a)["totals"]["visible"],
    "irreversible": lambda a: _set(a)["totals"]["irreversible"],
    "flaws_gone": lambda a: _names(_set(a)["flaws_gone"], "flaw"),
    "flaws_brought": lambda a: _names(_set(a)["flaws_brought"], "flaw"),
    "already_so": lambda a: _names(_set(a)["already_so"]),
    "not_determined": lambda a: _names(_set(a)["not_determined"]),
    "contradiction": lambda a: [_names(c["parts"]) for c in a["contradictions"]],
    "ways_out": lambda a: [w["instead"] for w in a["ways_out"]],
    "built": lambda a: a["vehicle"]["built"],
    "verdicts": verdicts,
    "complete": lambda a: a["complete"],
    "missing": lambda a: _names(a["missing"]),
    "clashing": lambda a: _names(a["clashing"]),
    "surplus": lambda a: sorted({item["component"] for item in a["surplus"]}),
    "answers": lambda a: [item["verdict"] for item in a["answers"]],
    "only_asked": lambda a: _places(a["only_asked"]),
    "only_instead": lambda a: _places(a["only_instead"]),
}


SENTENCES = ("sentence", "sentences", "why", "also", "choice", "cautions", "detail", "message")
"""The parts of an answer that are read as sentences."""


def sentences_of(value: Any, part: str = "") -> Iterator[str]:
    """Every sentence of an answer."""
    if isinstance(value, str) and part in SENTENCES:
        yield value
    elif isinstance(value, dict):
        for name, item in value.items():
            yield from sentences_of(item, name)
    elif isinstance(value, list):
        for item in value:
            yield from sentences_of(item, part)


def places_of(value: Any) -> set[str]:
    """The name of every position that an answer speaks of."""
    if isinstance(value, dict):
        found = {value["position"]} if isinstance(value.get("position"), str) else set()
        return found.union(*map(places_of, value.values()))
    return set().union(*map(places_of, value)) if isinstance(value, list) else set()


def begins_well(sentence: str) -> bool:
    """With a capital, a figure, a quoted name, or a name that is written small, such as `front.left`."""
    first = sentence.partition(" ")[0].rstrip(".,:;")
    return not first[:1].islower() or any(sign in first for sign in "./_0123456789")


def text_of(value: Any) -> Iterator[str]:
    """Every piece of text in an answer."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for item in value.values():
            yield from text_of(item)
    elif isinstance(value, list):
        for item in value:
            yield from text_of(item)
