"""Which tests to run for a change, the likeliest and quickest first."""

import ast
import json
import re
from collections import Counter
from difflib import SequenceMatcher
from functools import cache
from pathlib import Path

from coverage import CoverageData

from tests.mutation.changes import ROOMS, ROOT, Change
from tests.mutation.mapping import AT_IMPORT, SOURCES
from tests.mutation.results import all_results

FAR = 3.0
"""A test of another room is tried as if it took this many times as long."""
NAMED = 0.2
"""And one whose name shares a word with the changed function or its module, or two words, as if it took this
part, or this part of it: a line that a thousand tests run is the subject of a few."""
BEFORE = 0.3
"""And one that noticed another change in the module."""
FIRST_STEP = 8


def _seconds(store: Path) -> dict[str, float]:
    """How long each test took that passed; one that did not is not in it."""
    found: dict[str, float] = {}
    failed: set[str] = set()
    for path in sorted(store.glob("map-*.jsonl")):
        for test, took, passed in map(json.loads, path.open()):
            found[test] = found.get(test, 0.0) + took
            if not passed:
                failed.add(test)
    return {test: took for test, took in found.items() if test not in failed}


def _sources(part: Path) -> dict[str, str]:
    """The modules as they were when a part of the map was measured."""
    path = part.with_suffix(SOURCES)
    sources: dict[str, str] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return sources


def carried(ran: dict[int, set[str]], before: str, now: str) -> dict[int, set[str]]:
    """Of each line as it stands now, the tests that ran it when it was measured. A line that has come since
    is taken for run by the tests that ran what it replaced and the lines beside it."""
    found: dict[int, set[str]] = {}
    lines = SequenceMatcher(None, before.splitlines(), now.splitlines(), autojunk=False)
    for kind, start, end, first, last in lines.get_opcodes():
        around = set().union(*(ran.get(line, set()) for line in range(start, end + 2)))
        around = around - {AT_IMPORT} or around
        for place in range(last - first):
            tests = ran.get(start + place + 1, set()) if kind == "equal" else around
            if tests:
                found[first + place + 1] = tests
    return found


class Map:
    """What the parts of a store's map say together."""

    def __init__(self, store: Path) -> None:
        paths = sorted(store.glob("map-*.coverage"))
        self._parts = [(CoverageData(str(path)), _sources(path)) for path in paths]
        for part, _ in self._parts:
            part.read()
        self.seconds = _seconds(store)
        self.lines = cache(self._lines)
        self._noticed: dict[str, set[str]] = {}
        self._by: dict[str, str] = {}
        for line in all_results(store):
            if line["state"] == "noticed":
                self._by[line["name"]] = line["by"]
                self._noticed.setdefault(line["path"], set()).add(_function(line["by"]))

    def _lines(self, path: str) -> dict[int, set[str]]:
        """Of each line of a module, the tests that run it (and `AT_IMPORT`)."""
        found: dict[int, set[str]] = {}
        now = (ROOT / path).read_text(encoding="utf-8")
        for part, sources in self._parts:
            ran = {line: set(tests) for line, tests in part.contexts_by_lineno(str(ROOT / path)).items()}
            for line, tests in carried(ran, sources.get(path, now), now).items():
                found.setdefault(line, set()).update(tests)
        return found

    def at_import(self, change: Change) -> bool:
        """Whether the change is made good only by importing the program anew."""
        return not change.function or AT_IMPORT in self._running(change)

    def only_at_import(self, change: Change) -> bool:
        """Whether its line runs at no other time, such as what a function takes where nothing is given."""
        return not change.function or self._running(change) == {AT_IMPORT}

    def _running(self, change: Change) -> set[str]:
        lines = self.lines(change.path)
        return lines.get(change.line) or lines.get(change.statement) or set()

    def covering(self, change: Change) -> list[str]:
        """The tests that run the changed line, in the order in which to run them. Of a line that runs only at
        import, those that run anything in its module, or whose file names it: no line reads a table."""
        tests = self._running(change) - {AT_IMPORT}
        if self.only_at_import(change):
            tests = tests or set().union(*self.lines(change.path).values()) - {AT_IMPORT}
            tests |= {
                test for test in self.seconds if _module(change.path) in _named_in(test.partition("::")[0])
            }
        return self._ordered(change, [test for test in tests if test in self.seconds])

    def noticed(self, change: Change, test: str) -> None:
        """This test noticed this change: it is tried early where another one of the same module is made."""
        self._noticed.setdefault(change.path, set()).add(_function(test))

    def _ordered(self, change: Change, tests: list[str]) -> list[str]:
        near, words = ROOMS[change.room].tests, _words(change)
        before = self._noticed.get(change.path, set())
        turns: Counter[str] = Counter()

        def weight(test: str) -> float:
            if test == self._by.get(change.name):
                return 0.0  # it noticed this very change in an earlier run
            far = (1.0 if test.startswith(near) else FAR) * NAMED ** min(2, sum(w in test for w in words))
            return (0.02 + self.seconds[test]) * far * (BEFORE if _function(test) in before else 1.0)

        order = []
        for test in sorted(tests, key=lambda test: (weight(test), test)):
            function = _function(test)
            turns[function] += 1
            order.append((weight(test) * turns[function], test))
        return _file_by_file([test for _, test in sorted(order)])


def _module(path: str) -> str:
    return ".".join(Path(path).with_suffix("").parts[1:])


@cache
def _named_in(path: str) -> frozenset[str]:
    """The modules that a file of tests imports, and what it imports from them as if it were a module."""
    found: set[str] = set()
    for node in ast.walk(ast.parse((ROOT / path).read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found.update(one.name for one in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            found.update((node.module, *(f"{node.module}.{one.name}" for one in node.names)))
    return frozenset(found)


def _words(change: Change) -> list[str]:
    """What the changed function and its module are called by, in words of four letters or more."""
    named = f"{Path(change.path).stem}_{change.function}"
    return sorted({word for word in re.split(r"[^a-z]+", _apart(named)) if len(word) >= 4})


def _apart(named: str) -> str:
    return re.sub(r"(?<=[a-z])(?=[A-Z])", "_", named).lower()


def _function(test: str) -> str:
    return test.partition("[")[0]


def _file_by_file(tests: list[str]) -> list[str]:
    """In steps that grow, those of one file together: they share what is made once a file."""
    found: list[str] = []
    step = FIRST_STEP
    while tests:
        now, tests = tests[:step], tests[step:]
        files = list(dict.fromkeys(test.partition("::")[0] for test in now))
        found += sorted(now, key=lambda test: files.index(test.partition("::")[0]))
        step *= 2
    return found
