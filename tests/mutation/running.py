"""Makes one change after the other in processes of their own and runs the tests that cover it.

A process that has imported the program and collected the tests forks for each change: the child puts the
changed code into the functions it has. What runs at import is changed in a child of a process that has
imported only the libraries: it imports the program with the change in it.
"""

import contextlib
import gc
import importlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import select
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any

import pytest
from _pytest.runner import runtestprotocol

from tests.mutation.changes import ROOT, Change
from tests.mutation.covering import Map
from tests.mutation.made import Made, apart
from tests.mutation.mapping import ASIDE, AT_IMPORT, PYTEST

LIBRARIES = (
    *(
        "fastapi",
        "fastapi.testclient",
        "sqlmodel",
        "sqlalchemy.dialects.sqlite",
        "alembic.command",
        "hypothesis",
    ),
    *(
        "ortools.sat.python.cp_model",
        "reportlab.platypus",
        "xlsxwriter",
        "orjson",
        "rapidfuzz",
        "typer",
        "uvicorn",
    ),
    *(
        "httpx",
        "networkx",
        "scipy.optimize",
        "pint",
        "jsonschema",
        "openpyxl",
        "pypdf",
        "jinja2",
        "anyio.pytest_plugin",
    ),
)


@dataclass
class Limits:
    """Seconds of the processor: of a change altogether, and of one test at least. Where a process waits, or
    the machine is busy, `WAITING` times as long by the clock."""

    change: float = 90.0
    test: float = 30.0


@dataclass
class Ended:
    """How a change ended: `noticed`, `survived`, `cut short` (not all tests were run), `timed out` (one test
    did not end) or `not made` (here is the fault)."""

    state: str
    by: str = ""
    why: str = ""
    ran: int = 0
    seconds: float = 0.0


NOT_MADE = "not made"


def _tell(pipe: int, *words: object) -> None:
    os.write(pipe, (json.dumps(words) + "\n").encode())


def _run(items: list[pytest.Item], pipe: int) -> None:
    """Runs tests until one fails, telling each step."""
    for item, following in zip(items, [*items[1:], None], strict=True):
        _tell(pipe, "starts", item.nodeid)
        reports = runtestprotocol(item, log=False, nextitem=following)
        bad = next((report for report in reports if report.failed), None)
        if bad is not None:
            _tell(pipe, "failed", item.nodeid, _first_line(bad))
            return
        _tell(pipe, "passed", item.nodeid)
    _tell(pipe, "done")


def _first_line(report: Any) -> str:
    crash = getattr(report.longrepr, "reprcrash", None)
    return (crash.message if crash else str(report.longrepr)).partition("\n")[0][:200]


def _watched(work: Callable[[int], None], limits: Limits, usual: Callable[[str], float]) -> Ended:
    """Does a work in a child and watches what it tells; ends it with all that it started."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.setsid()
        os.close(reader)
        with open(os.devnull, "r+b", 0) as nothing:
            os.dup2(nothing.fileno(), 1)
            os.dup2(nothing.fileno(), 2)
        try:
            work(writer)
        except BaseException as error:
            _tell(writer, NOT_MADE, repr(error)[:200])
        finally:
            os._exit(0)
    os.close(writer)
    try:
        return _listen(reader, child, limits, usual)
    finally:
        os.close(reader)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)


WAITING = 15


class _Timer:
    """Whether a child has had its seconds: of the processor, or so many times as many by the clock."""

    def __init__(self, child: int, seconds: float) -> None:
        self._child, self._seconds = child, seconds
        self._began, self._worked = time.monotonic(), _worked(child)

    @property
    def over(self) -> bool:
        waited = time.monotonic() - self._began
        worked = _worked(self._child) - self._worked if PROCESSES.exists() else waited
        return worked > self._seconds or waited > WAITING * self._seconds


PROCESSES = Path("/proc/self/stat")
_TICKS = os.sysconf("SC_CLK_TCK")


def _worked(child: int) -> float:
    """Seconds of the processor that a child and what it ended have had; 0 where the system does not tell."""
    try:
        fields = Path(f"/proc/{child}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return sum(map(int, fields[11:15])) / _TICKS


def _listen(reader: int, child: int, limits: Limits, usual: Callable[[str], float]) -> Ended:
    started = time.monotonic()
    running, ran, rest = AT_IMPORT, 0, b""
    change, test = _Timer(child, limits.change), _Timer(child, 2 * limits.test)

    def ended(state: str, by: str = "", why: str = "") -> Ended:
        return Ended(state, by, why, ran, round(time.monotonic() - started, 1))

    while True:
        if not select.select([reader], [], [], 0.5)[0]:
            if test.over:
                return ended("timed out", running)
            if change.over:
                return ended("cut short", running)
            continue
        read = os.read(reader, 65_536)
        if not read and running == AT_IMPORT:
            return ended(NOT_MADE, "", "the process ended before a test began")
        if not read:
            return ended("noticed", "(end of the process)", running)
        *lines, rest = (rest + read).split(b"\n")
        for step, *words in map(json.loads, lines):
            if step == "failed":
                ran += running == words[0] != AT_IMPORT
                return ended("noticed", *words)
            if step == NOT_MADE:
                return ended(NOT_MADE, "", *words)
            if step == "done":
                return ended("survived")
            if step == "passed":
                ran += 1
                if change.over:
                    return ended("cut short")
            running = words[0]
            test = _Timer(child, limits.test + 10 * usual(running))


class _Functions:
    """The functions of the program that this process has, by where their code stands."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str, int], list[FunctionType]] = {}
        gc.unfreeze()  # what is frozen is not told
        for one in gc.get_objects():
            if type(one) is FunctionType and one.__code__.co_filename.startswith(str(ROOT / "api")):
                self._found.setdefault(_where(one.__code__), []).append(one)

    def change(self, change: Change) -> None:
        """Gives the functions of a change the changed code. Raises LookupError where none is there, and
        ValueError where it does not fit what the function holds."""
        made = [(function, code) for code in _codes(change.compiled()) for function in self._other(code)]
        if not made:
            raise LookupError(f"no function to change for {change.name}")
        for function, code in made:
            function.__code__ = code

    def _other(self, code: CodeType) -> list[FunctionType]:
        return [function for function in self._found.get(_where(code), ()) if function.__code__ != code]


def _where(code: CodeType) -> tuple[str, str, int]:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _codes(code: CodeType) -> Iterator[CodeType]:
    """The functions and methods of a module, and those inside others: some of them were made already."""
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            if inner.co_flags & 1:
                yield inner
            yield from _codes(inner)


class _Changed(importlib.abc.MetaPathFinder):
    """Finds the one module that is changed."""

    def __init__(self, change: Change) -> None:
        path = change.path.removeprefix("api/").removesuffix(".py").removesuffix("/__init__")
        self._name, self.found = path.replace("/", "."), False
        self._path, self._code = (
            str(ROOT / change.path),
            compile(change.source(), str(ROOT / change.path), "exec"),
        )

    def find_spec(self, name: str, path: object = None, target: object = None) -> Any:
        if name != self._name:
            return None
        self.found, code = True, self._code

        class Loader(importlib.machinery.SourceFileLoader):
            def get_code(self, fullname: str) -> CodeType:
                return code

        return importlib.util.spec_from_file_location(name, self._path, loader=Loader(name, self._path))


class Runner:
    """Runs changes one after the other and hands each result on."""

    def __init__(
        self,
        store: Path,
        limits: Limits,
        kept: Callable[[Change, Ended, int], None],
        anew: bool = False,
    ) -> None:
        """`anew`: a change in a function that runs at import as well is made before it, which is slower."""
        self._map, self._limits, self._kept, self._anew = Map(store), limits, kept, anew
        self._made = Made(store)
        self._holds: dict[str, bool] = {}

    def run(self, changes: list[Change]) -> None:
        """All of them: first those in functions, then those that run at import."""
        for library in LIBRARIES:
            with contextlib.suppress(ImportError):
                importlib.import_module(library)
        apart(self._made.make)
        apart(self._made.note_warm)
        # Before any fork: what a child of its reader reads, coverage empties.
        for change in changes:
            self._map.lines(change.path)
        quick = [
            change
            for change in changes
            if not self._map.only_at_import(change) and not (self._anew and self._map.at_import(change))
        ]
        with tempfile.TemporaryFile("w+") as self._not_made:
            if quick:
                apart(lambda: self._warm(quick))
            self._not_made.seek(0)
            left = self._not_made.read().split()
        for change in changes:
            if change not in quick or change.name in left:
                self._one(change, self._bare)

    def _one(self, change: Change, run: Callable[[Change | None, list[str]], Ended]) -> None:
        """Runs one change; a test that fails without it as well does not count and is left out."""
        try:
            change.compiled()
        except SyntaxError:
            self._kept(change, Ended("unreadable"), 0)
            return
        tests = [test for test in self._map.covering(change) if self._holds.get(test, True)]
        ended = Ended("not covered")
        while tests:
            ended = run(change, tests)
            if ended.state == NOT_MADE and run != self._bare:
                print(change.name, ended.state, "in the functions that are there:", ended.why, flush=True)
                print(change.name, file=self._not_made, flush=True)
                return
            if ended.by not in tests or ended.state == "cut short" or self._holds_unchanged(ended.by, run):
                break
            tests.remove(ended.by)
        if ended.state == "timed out" and ended.by in tests:  # unchanged it ends long before
            ended.state, ended.why = "noticed", "it did not end"
        if ended.state == "noticed":
            self._map.noticed(change, ended.by)
        self._kept(change, ended, len(tests))

    def _holds_unchanged(self, test: str, run: Callable[[Change | None, list[str]], Ended]) -> bool:
        if test not in self._holds:
            self._holds[test] = run(None, [test]).state == "survived"
        return self._holds[test]

    def _watched(self, work: Callable[[int], None]) -> Ended:
        return _watched(work, self._limits, lambda test: self._map.seconds.get(test, 0.0))

    def _warm(self, changes: list[Change]) -> None:
        """Collects every test and forks for each change."""
        runner = self

        class Loop:
            @pytest.hookimpl(tryfirst=True)
            def pytest_runtestloop(self, session: pytest.Session) -> bool:
                items, functions = {item.nodeid: item for item in session.items}, _Functions()
                runner._made.load()

                def run(change: Change | None, tests: list[str]) -> Ended:
                    def work(pipe: int) -> None:
                        runner._made.use(change)
                        if change is not None:
                            functions.change(change)
                        _run([items[test] for test in tests if test in items], pipe)

                    return runner._watched(work)

                gc.collect()
                gc.freeze()
                cold = [change for change in changes if runner._made.is_warm(change)]
                for change in cold:
                    runner._one(change, run)
                runner._made.warm()
                functions = _Functions()
                gc.collect()
                gc.freeze()
                for change in changes:
                    if change not in cold:
                        runner._one(change, run)
                return True

        aside = [f"--ignore={ROOT / path}" for path in ASIDE]
        files = sorted({test.partition("::")[0] for change in changes for test in self._map.covering(change)})
        ended = pytest.main([*PYTEST, *aside, *(str(ROOT / file) for file in files)], plugins=[Loop()])
        assert ended in (0, 5), f"the tests could not be collected: {ended}"

    def _bare(self, change: Change | None, tests: list[str]) -> Ended:
        """Imports the program with the change in it, and runs the first tests."""
        runner, changed = self, None if change is None else _Changed(change)

        class Loop:
            def __init__(self, pipe: int) -> None:
                self.pipe, self.told = pipe, False

            def pytest_collectreport(self, report: pytest.CollectReport) -> None:
                if report.failed and not self.told:
                    self.told = True
                    _tell(
                        self.pipe,
                        "failed",
                        AT_IMPORT,
                        str(report.longrepr).strip().rpartition("\n")[2][:200],
                    )

            @pytest.hookimpl(tryfirst=True)
            def pytest_runtestloop(self, session: pytest.Session) -> bool:
                if not self.told and (changed is None or changed.found):
                    self.told = True
                    runner._made.use(change)
                    order = {test: place for place, test in enumerate(tests)}
                    _run(sorted(session.items, key=lambda item: order.get(item.nodeid, 0)), self.pipe)
                return True

        def work(pipe: int) -> None:
            if changed is not None:
                sys.meta_path.insert(0, changed)
            loop = Loop(pipe)
            pytest.main([*PYTEST, *(str(ROOT / test) for test in _of_few_files(tests))], plugins=[loop])
            if not loop.told and changed is not None and not changed.found:
                _tell(pipe, NOT_MADE, "nothing imported the module")
            elif not loop.told:
                _tell(pipe, "failed", AT_IMPORT, "the tests could not be collected")

        return self._watched(work)


FEW = 8
"""Files of tests for a change that runs at import: each is imported anew."""


def _of_few_files(tests: list[str]) -> list[str]:
    files = list(dict.fromkeys(test.partition("::")[0] for test in tests))[:FEW]
    return [test for test in tests if test.partition("::")[0] in files]
