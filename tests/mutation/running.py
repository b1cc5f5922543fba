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
import shutil
import signal
import sys
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
    """Seconds: of a change altogether, and of one test at least."""

    change: float = 90.0
    test: float = 30.0


@dataclass
class Ended:
    """How a change ended: `noticed`, `survived`, `cut short` (not all tests were run) or `timed out`."""

    state: str
    by: str = ""
    why: str = ""
    ran: int = 0
    seconds: float = 0.0


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
        finally:
            os._exit(0)
    os.close(writer)
    try:
        return _listen(reader, limits, usual)
    finally:
        os.close(reader)
        with contextlib.suppress(ProcessLookupError):
            os.killpg(child, signal.SIGKILL)
        os.waitpid(child, 0)


def _listen(reader: int, limits: Limits, usual: Callable[[str], float]) -> Ended:
    started = time.monotonic()
    running, until, ran, rest = AT_IMPORT, started + 2 * limits.test, 0, b""
    most = started + limits.change

    def ended(state: str, by: str = "", why: str = "") -> Ended:
        return Ended(state, by, why, ran, round(time.monotonic() - started, 1))

    while True:
        if not select.select([reader], [], [], max(0.0, min(until, most) - time.monotonic()))[0]:
            return ended("timed out" if until <= most else "cut short", running)
        read = os.read(reader, 65_536)
        if not read:
            return ended("noticed", "(end of the process)", running)
        *lines, rest = (rest + read).split(b"\n")
        for step, *words in map(json.loads, lines):
            if step == "failed":
                ran += running == words[0] != AT_IMPORT
                return ended("noticed", *words)
            if step == "done":
                return ended("survived")
            if step == "passed":
                ran += 1
                if time.monotonic() > most:
                    return ended("cut short")
            running = words[0]
            until = time.monotonic() + limits.test + 10 * usual(running)


class _Functions:
    """The functions of the program that this process has, by where their code stands."""

    def __init__(self) -> None:
        self._found: dict[tuple[str, str, int], list[FunctionType]] = {}
        for one in gc.get_objects():
            if type(one) is FunctionType and one.__code__.co_filename.startswith(str(ROOT / "api")):
                self._found.setdefault(_where(one.__code__), []).append(one)

    def change(self, change: Change) -> None:
        """Gives the functions of a change the changed code."""
        made = [code for code in _outermost(change.compiled()) if self._differs(code)]
        assert made, f"no function to change for {change.name}"
        for code in made:
            for function in self._found[_where(code)]:
                function.__code__ = code

    def _differs(self, code: CodeType) -> bool:
        return any(function.__code__ != code for function in self._found.get(_where(code), ()))


def _where(code: CodeType) -> tuple[str, str, int]:
    return code.co_filename, code.co_qualname, code.co_firstlineno


def _outermost(code: CodeType) -> Iterator[CodeType]:
    """The functions and methods of a module, not those inside others."""
    for inner in code.co_consts:
        if isinstance(inner, CodeType):
            if inner.co_flags & 1:
                yield inner
            else:
                yield from _outermost(inner)


class _Changed(importlib.abc.MetaPathFinder):
    """Finds the one module that is changed."""

    def __init__(self, change: Change) -> None:
        self._name = change.path.removesuffix(".py").removesuffix("/__init__").replace("/", ".")
        self._path, self._code = (
            str(ROOT / change.path),
            compile(change.source(), str(ROOT / change.path), "exec"),
        )

    def find_spec(self, name: str, path: object = None, target: object = None) -> Any:
        if name != self._name:
            return None
        code = self._code

        class Loader(importlib.machinery.SourceFileLoader):
            def get_code(self, fullname: str) -> CodeType:
                return code

        return importlib.util.spec_from_file_location(name, self._path, loader=Loader(name, self._path))


def _youngest(*folders: str) -> float:
    """When a file of these folders was last written."""
    files = (
        file for folder in folders for file in (ROOT / folder).rglob("*") if "__pycache__" not in file.parts
    )
    return max(file.stat().st_mtime for file in files if file.is_file())


class Demo:
    """Databases, empty and with the demo range, made once; a change in what makes them has them made anew."""

    def __init__(self, store: Path) -> None:
        self._folder, self._lines = store / "databases", store / "demo.json"

    def make(self) -> None:
        """Makes them and notes which lines did it, unless they are there and younger than the program. In a
        process of its own: coverage slows what follows."""
        import coverage

        if self._is_there():
            return
        shutil.rmtree(self._folder, ignore_errors=True)
        self._folder.mkdir()
        cover = coverage.Coverage(data_file=None, source=[str(ROOT / "api")], config_file=False)
        cover.start()
        conftest = importlib.import_module("tests.conftest")
        _make_demo(conftest, self._folder)
        cover.stop()
        data = cover.get_data()
        lines = {str(Path(file).relative_to(ROOT)): data.lines(file) for file in data.measured_files()}
        self._lines.write_text(json.dumps(lines))

    def _is_there(self) -> bool:
        made = [self._lines, self._folder / "empty", self._folder / "demo"]
        youngest = _youngest("api", "migrations", "seed_data")
        return all(path.exists() for path in made) and self._lines.stat().st_mtime > youngest

    def use(self, change: Change | None) -> None:
        """Lets this process's fixtures copy them, unless the change could make others."""
        lines = json.loads(self._lines.read_text())
        if change is not None and {change.line, change.statement} & set(lines.get(change.path, ())):
            return
        _lay_out(importlib.import_module("tests.conftest"), self._folder)


def _make_demo(conftest: Any, folder: Path) -> None:
    """Leaves `empty` and `demo` in the folder."""
    if hasattr(conftest, "_load_demo"):
        conftest._Databases(folder, None, folder).once("demo", conftest._load_demo)
        (folder / "shape").rename(folder / "empty")
        return
    databases = conftest._Databases(folder, None)
    demo = Path(conftest._loaded(databases).removeprefix("sqlite:///"))
    (folder / databases._template).rename(folder / "empty")
    demo.rename(folder / "demo")


def _lay_out(conftest: Any, made: Path) -> None:
    """Has the fixtures find what was made where they keep what they made themselves."""
    bare = conftest._Databases.__init__

    def begin(databases: Any, folder: Path, server: str | None, shared: Path | None = None) -> None:
        if hasattr(conftest, "_load_demo"):
            bare(databases, folder, server, shared)
            if shared is not None:
                for name, kept in (("shape", "empty"), ("demo", "demo")):
                    shutil.copyfile(made / kept, shared / name)
            return
        bare(databases, folder, server)
        if server is None:
            databases._template = databases._name("template")
            shutil.copyfile(made / "empty", folder / databases._template)

    conftest._Databases.__init__ = begin
    if hasattr(conftest, "_load_demo"):
        return
    plain = conftest._loaded

    def loaded(databases: Any) -> str:
        if databases._server is not None:
            return str(plain(databases))
        name = databases._name("demo")
        shutil.copyfile(made / "demo", databases._folder / name)
        return str(databases._url(name))

    conftest._loaded = loaded


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
        self._demo = Demo(store)
        self._holds: dict[str, bool] = {}

    def run(self, changes: list[Change]) -> None:
        """All of them: first those in functions, then those that run at import."""
        for library in LIBRARIES:
            with contextlib.suppress(ImportError):
                importlib.import_module(library)
        self._apart(self._demo.make)
        # Before any fork: what a child of its reader reads, coverage empties.
        for change in changes:
            self._map.lines(change.path)
        quick = [
            change
            for change in changes
            if change.function and not (self._anew and self._map.at_import(change))
        ]
        if quick:
            self._apart(lambda: self._warm(quick))
        for change in changes:
            if change not in quick:
                self._one(change, self._bare)

    def _apart(self, work: Callable[[], object]) -> None:
        child = os.fork()
        if child == 0:
            code = 1
            try:
                work()
                code = 0
            except BaseException:
                import traceback

                traceback.print_exc()
            finally:
                sys.stdout.flush()
                os._exit(code)
        assert os.waitpid(child, 0)[1] == 0, "it did not end well"

    def _one(self, change: Change, run: Callable[[Change | None, list[str]], Ended]) -> None:
        """Runs one change; a test that fails without it as well does not count and is left out."""
        try:
            change.compiled()
        except SyntaxError:
            return self._kept(change, Ended("unreadable"), 0)
        tests = [test for test in self._map.covering(change) if self._holds.get(test, True)]
        ended = Ended("not covered")
        while tests:
            ended = run(change, tests)
            if ended.state != "noticed" or ended.by not in tests or self._holds_unchanged(ended.by, run):
                break
            tests.remove(ended.by)
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

                def run(change: Change | None, tests: list[str]) -> Ended:
                    def work(pipe: int) -> None:
                        runner._demo.use(change)
                        if change is not None:
                            functions.change(change)
                        _run([items[test] for test in tests if test in items], pipe)

                    return runner._watched(work)

                gc.collect()
                gc.freeze()
                for change in changes:
                    runner._one(change, run)
                return True

        aside = [f"--ignore={ROOT / path}" for path in ASIDE]
        files = sorted({test.partition("::")[0] for change in changes for test in self._map.covering(change)})
        ended = pytest.main([*PYTEST, *aside, *(str(ROOT / file) for file in files)], plugins=[Loop()])
        assert ended in (0, 5), f"the tests could not be collected: {ended}"

    def _bare(self, change: Change | None, tests: list[str]) -> Ended:
        """Imports the program with the change in it, and runs the first tests."""
        demo = self._demo

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
                if not self.told:
                    self.told = True
                    demo.use(change)
                    order = {test: place for place, test in enumerate(tests)}
                    _run(sorted(session.items, key=lambda item: order.get(item.nodeid, 0)), self.pipe)
                return True

        def work(pipe: int) -> None:
            if change is not None:
                sys.meta_path.insert(0, _Changed(change))
            loop = Loop(pipe)
            pytest.main([*PYTEST, *(str(ROOT / test) for test in tests[:AT_MOST])], plugins=[loop])
            if not loop.told:
                _tell(pipe, "failed", AT_IMPORT, "the tests could not be collected")

        return self._watched(work)


AT_MOST = 25
"""Tests for a change that runs at import: each brings the collecting of its file."""
