"""Which test runs which line: measured once, by running the tests in this process on SQLite."""

import json
import signal
from pathlib import Path

import coverage
import pytest

from tests.mutation.changes import ROOMS, ROOT, modules
from tests.mutation.made import Made, apart

_QUIET = ["-W", "ignore::pytest.PytestAssertRewriteWarning"]
PYTEST = [
    "-q",
    "-p",
    "no:cacheprovider",
    "-p",
    "no:xdist",
    "-m",
    "not postgres",
    "-o",
    "addopts=",
    "-o",
    "timeout=0",
    "-s",
    *_QUIET,
]
"""No limit by the clock: on a busy machine a test that only waits would count as one that notices."""
AT_IMPORT = "at import"
SOURCES = ".sources.json"
"""Beside each part of the map: the modules that it was measured on, for when lines have moved."""
ASIDE = ("tests/pages/browser", "tests/benchmarks", "tests/mutation", "tests/commands/test_server.py")
"""Browsers and servers of their own: too slow for each change, and they run no line in this process."""


class _Watch:
    """Tells coverage whose lines come next, and keeps how long each test took."""

    def __init__(self, cover: coverage.Coverage, took: Path) -> None:
        self._cover, self._took = cover, took
        took.write_text("")

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> object:
        self._cover.switch_context(item.nodeid)
        return (yield)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        with self._took.open("a") as file:
            file.write(json.dumps([report.nodeid, round(report.duration, 3), report.passed]) + "\n")


def _measured() -> list[str]:
    """The modules that changes are drawn from: measuring slows what is measured."""
    return [str(ROOT / path) for room in ROOMS.values() for path in modules(room)]


def measure(store: Path, name: str, folders: list[str]) -> int:
    """Runs the tests of some folders and keeps their map as one part, `name`, of the store. Returns pytest's
    exit code; tests that do not pass unchanged are not in the map. An interrupt ends it with what it has."""
    store.mkdir(parents=True, exist_ok=True)
    lines = store / f"map-{name}.coverage"
    lines.unlink(missing_ok=True)
    texts = {
        path: (ROOT / path).read_text(encoding="utf-8") for room in ROOMS.values() for path in modules(room)
    }
    lines.with_suffix(SOURCES).write_text(json.dumps(texts), encoding="utf-8")
    made = Made(store)
    apart(made.make)
    cover = coverage.Coverage(data_file=str(lines), include=_measured(), config_file=False)
    watch = _Watch(cover, store / f"map-{name}.jsonl")
    signal.signal(signal.SIGINT, signal.default_int_handler)
    cover.start()
    cover.switch_context(AT_IMPORT)
    made.load()
    made.use(None)
    aside = [f"--ignore={ROOT / path}" for path in ASIDE]
    where = [str(ROOT / folder) for folder in folders]
    ended = pytest.main([*PYTEST, *aside, *where], plugins=[watch])
    cover.stop()
    cover.save()
    made.keep_answers(name)
    return int(ended)
