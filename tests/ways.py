"""Which modules a request passes: those of the package whose functions run between a request and its answer.

`python -m tests.ways` prints for each kind of request how many it passes, and how many of them before the
reasoning begins; with `--lines` also each module with how many of its lines ran. Each kind is asked in a
process of its own, which reasons in itself: first with nothing kept ("cold": the rule book is compiled), then
a like question with the rule book at hand ("warm"). What is only loaded, and the values whose methods nobody
calls, are not passed. `test_ways.py` holds the figures.
"""

import argparse
import asyncio
import importlib
import inspect
import json
import math
import os
import subprocess
import sys
import tempfile
import threading
from collections import defaultdict
from functools import cache
from pathlib import Path
from types import CodeType, FrameType
from typing import Any

import graftbook

PACKAGE = Path(graftbook.__file__).resolve().parent
ROOT = Path(__file__).resolve().parent.parent
REASONING = "closure.answering"
"""The module in which the reasoning begins."""
LOOKED_AT = 10
"""So many calls of a function are looked at line by line: all of them would take too long."""


def _wish(number: str) -> dict[str, Any]:
    return {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": number}]}


_PAGE = "/answer?chassis=24PL-018412&as_of=1&fit="
_SHEET = "[component]\nnumber,name,section,origin,supply\nQZ-{0},bracket,brakes,modern,current\n"
WAYS: dict[str, list[tuple[str, str, Any]]] = {
    "closure": [("POST", "/v1/closures", _wish(number)) for number in ("QB-3310", "QB-3320")],
    "page": [("GET", _PAGE + number, None) for number in ("QB-3310", "QB-3320")],
    "order": [("POST", "/v1/orders", _wish(number)) for number in ("QB-3310", "QB-3320")],
    "import": [("POST", "/v1/imports?why=ways", _SHEET.format(number)) for number in (1, 2)],
}
"""Each way with what is asked cold, then warm."""


class Passed:
    """What ran of the package since it was begun, by module, and what had when the reasoning began.

    `looked_at`: of so many calls of a function the lines are noted; 0: no lines, which is quicker.
    """

    def __init__(self, looked_at: int = 0) -> None:
        self._looked_at = looked_at
        self.lines: dict[str, set[int]] = defaultdict(set)
        self.before: set[str] | None = None
        self._calls: dict[CodeType, int] = {}

    def trace(self, frame: FrameType, event: str, arg: object) -> Any:
        """The tracing function: looks into functions of the package, not at how a module is loaded."""
        code = frame.f_code
        calls = self._calls[code] = self._calls.get(code, 0) + 1
        if calls > self._looked_at + 1 or (name := _passed(code)) is None:
            return None
        if name == REASONING and self.before is None:
            self.before = set(self.lines)
        lines = self.lines[name]

        def line(frame: FrameType, event: str, arg: object) -> Any:
            lines.add(frame.f_lineno)
            return line

        return line if calls <= self._looked_at else None


@cache
def _passed(code: CodeType) -> str | None:
    """The module of a function of the package; None of any other code."""
    within = code.co_filename.startswith(str(PACKAGE)) and code.co_flags & inspect.CO_OPTIMIZED
    return _module(code.co_filename) if within else None


def _module(file: str) -> str:
    return ".".join(Path(file).relative_to(PACKAGE).with_suffix("").parts)


class Tracer:
    """Hands on to what is looked at now: a thread that is used again keeps the function it began with."""

    passed = Passed()

    def __call__(self, frame: FrameType, event: str, arg: object) -> Any:
        return self.passed.trace(frame, event, arg)


def passed_by(way: str, database: str, looked_at: int) -> list[dict[str, Any]]:
    """Ask in this process, cold and then warm: `modules` with how many lines ran, `before` reasoning."""
    from graftbook.app import create_app
    from graftbook.closure.search.deadline import Deadline
    from graftbook.settings import Settings
    from tests.conftest import client_of

    Deadline.__init__.__defaults__ = math.inf, lambda: 0.0, 0.0  # its clock stands: looking takes long
    app = create_app(Settings(database_url=database, seconds_to_reason=300, reasoning_processes=0))
    tracer = Tracer()
    threading.settrace(tracer)

    async def ask(method: str, address: str, body: Any) -> dict[str, Any]:
        sheet = isinstance(body, str)
        sent = {"content": body, "headers": {"Content-Type": "text/csv"}} if sheet else {"json": body}
        async with client_of(app, scope="administer" if sheet else None) as client:
            tracer.passed = passed = Passed(looked_at)
            sys.settrace(tracer)
            answer = await client.request(method, address, **sent)
            sys.settrace(None)
        assert answer.status_code in (200, 201), answer.text
        ran = {name: len(lines) for name, lines in sorted(passed.lines.items())}
        return {"modules": ran, "before": sorted(passed.before or ())}

    async def both() -> list[dict[str, Any]]:
        return [await ask(*asked) for asked in WAYS[way]]

    found = asyncio.run(both())
    app.state.service.close()
    return found


def ways(database: str, *names: str, lines: bool = False) -> dict[str, list[dict[str, Any]]]:
    """What each way passes, each in a process of its own, on this database with the demo range."""
    shown = subprocess.run(
        [sys.executable, "-m", "tests.ways", "--apart", *names, "--database", database, *["--lines"] * lines],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert shown.returncode == 0, shown.stderr
    return dict(zip(names, map(json.loads, shown.stdout.splitlines()), strict=True))


def _each_apart(names: list[str], database: str, looked_at: int) -> None:
    """Print what each way passes, asked in a process forked from this one, which has loaded the program so
    that nothing is loaded on the way."""
    for path in PACKAGE.rglob("*.py"):
        if path.stem != "__init__" and {"commands", "_migrations"}.isdisjoint(path.parts):
            importlib.import_module(f"graftbook.{_module(str(path))}")
    for name in names:
        if not (child := os.fork()):
            print(json.dumps(passed_by(name, database, looked_at)), flush=True)
            os._exit(0)
        assert os.waitpid(child, 0)[1] == 0, name


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--lines", action="store_true", help="also each module, and how many lines of it ran")
    parser.add_argument("--database", help="one with the demo range that may be changed; without: a new one")
    parser.add_argument("--apart", nargs="+", choices=WAYS, help=argparse.SUPPRESS)  # how it asks itself
    given = parser.parse_args()
    if given.apart:
        _each_apart(given.apart, given.database, LOOKED_AT if given.lines else 0)
        return
    with tempfile.TemporaryDirectory() as folder:
        found = ways(given.database or _new_demo(Path(folder)), *WAYS, lines=given.lines)
        for name, both in found.items():
            for kept, one in zip(("cold", "warm"), both, strict=True):
                modules, before = one["modules"], set(one["before"])
                ran = f", {sum(modules.values())} lines" if given.lines else ""
                print(f"{name:8} {kept}: {len(modules)} modules, {len(before)} before reasoning{ran}")
                for module, lines in sorted(modules.items()) if given.lines else ():
                    print(f"    {'b' if module in before else ' '} {lines:4} {module}")


def _new_demo(folder: Path) -> str:
    """The address of a new SQLite file with the demo range."""
    from graftbook.catalogue.loading.imports import load
    from graftbook.database import make_engine, migrate

    address = f"sqlite:///{folder / 'ways.db'}"
    engine = make_engine(address)
    migrate(engine)
    assert load(engine, ROOT / "seed_data", who="ways", why="the demo range").ok
    engine.dispose()
    return address


if __name__ == "__main__":
    main()
