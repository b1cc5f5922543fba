"""The suite itself: no test can hang, the long form asks more, and repeating it tells what failed when."""

import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.__main__ import beside_each_other, main, one_after_the_other
from tests.repeat import Run, run, told
from tests.running import cases, pytest_collection_modifyitems

ROOT = Path(__file__).resolve().parents[1]
HANGING = """
import asyncio, signal, subprocess, threading

def test_that_waits_for_nobody():
    threading.Event().wait()

def test_that_turns_in_a_circle():
    while True:
        pass

def test_that_waits_for_another_thread():
    thread = threading.Thread(target=threading.Event().wait, args=(60,), daemon=True)
    thread.start()
    thread.join()

def test_that_waits_for_another_process():
    subprocess.run(["sleep", "60"])

def test_that_waits_in_an_event_loop():
    asyncio.run(asyncio.sleep(60))

def test_that_is_well():
    pass
"""
DEAF = """
import signal, threading

def test_that_hears_no_signal():
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGALRM})
    threading.Event().wait()

def test_that_is_well():
    pass
"""


def asked(folder: Path, text: str, *options: str) -> str:
    """What pytest says of a file of tests, under this project's settings."""
    (folder / "test_it.py").write_text(text)
    command = [
        sys.executable, "-m", "pytest", "-c", str(ROOT / "pyproject.toml"), "-p", "no:cacheprovider",
        "-o", "filterwarnings=", *options, str(folder),
    ]  # fmt: skip
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=100, check=False)
    return done.stdout + done.stderr


def test_every_test_has_a_limit(pytestconfig: pytest.Config) -> None:
    assert 0 < float(pytestconfig.getini("timeout")) <= 300
    assert float(pytestconfig.getini("timeout")) < float(pytestconfig.getini("faulthandler_timeout"))
    assert pytestconfig.getini("faulthandler_exit_on_timeout")


def test_a_test_that_hangs_fails_wherever_it_waits_and_the_next_one_runs(tmp_path: Path) -> None:
    said = asked(tmp_path, HANGING, "-o", "timeout=1", "-n", "0")
    assert "5 failed, 1 passed" in said, said
    assert said.count("Timeout (>1.0s)") >= 5


def test_a_test_that_no_signal_reaches_ends_its_process_and_is_named(tmp_path: Path) -> None:
    said = asked(tmp_path, DEAF, "-o", "timeout=1", "-o", "faulthandler_timeout=3", "-n", "1")
    assert "test_that_hears_no_signal" in said, said
    assert "crashed while running" in said
    assert "1 failed, 1 passed" in said


def test_the_long_form_asks_more_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("GRAFTBOOK_CASES", raising=False)
    assert cases(60) == 60
    monkeypatch.setenv("GRAFTBOOK_CASES", "3")
    assert cases(60) == 180


class Item:
    """As much of a collected test as the leaving out looks at."""

    def __init__(self, nodeid: str, *marks: str, fixturenames: tuple[str, ...] = ()) -> None:
        self.nodeid, self.marks, self.fixturenames = nodeid, marks, fixturenames
        self.limits: list[float] = []

    def get_closest_marker(self, name: str) -> bool | None:
        return name in self.marks or None

    def add_marker(self, marker: pytest.MarkDecorator) -> None:
        assert marker.name == "timeout"
        self.limits += marker.args


class Hook:
    def pytest_deselected(self, items: list[Item]) -> None:
        self.left_out = [item.nodeid for item in items]


@pytest.mark.parametrize("long", [False, True])
def test_only_the_long_form_asks_both_engines_what_does_not_differ_between_them(long: bool) -> None:
    hook = Hook()
    config = SimpleNamespace(getoption=lambda name: name == "--long" and long, hook=hook)
    items = [
        Item("twin", "one_engine", "postgres"), Item("of sqlite", "one_engine"), Item("differs", "postgres"),
        Item("tests/soundness/test_hostile_catalogues.py::it"), Item("tests/closure/test_it.py::it"),
    ]  # fmt: skip
    pytest_collection_modifyitems(config, items)
    first = ["tests/soundness/test_hostile_catalogues.py::it", "tests/closure/test_it.py::it", "of sqlite"]
    assert [item.nodeid for item in items] == [*first, *(["twin"] if long else []), "differs"]
    assert long or hook.left_out == ["twin"]
    assert [item.limits for item in items][:3] == [[600], [], []]


def test_the_quick_form_asks_what_needs_no_database_and_takes_no_time() -> None:
    hook = Hook()
    config = SimpleNamespace(getoption=lambda name: name == "--quick", hook=hook)
    items = [
        Item("pure"), Item("stored", fixturenames=("client", "sqlite_databases")),
        Item("served", fixturenames=("postgres_server",)),
        Item("tests/closure/test_random_catalogues.py::it"),
    ]  # fmt: skip
    pytest_collection_modifyitems(config, items)
    assert [item.nodeid for item in items] == ["pure"]
    assert len(hook.left_out) == 3


def test_a_form_says_of_each_part_how_it_ended() -> None:
    parts = [("this",), ("tests.no_such_module",)]
    for form in (beside_each_other, one_after_the_other):
        well, broken = form(parts)
        assert (well.code, broken.code) == (0, 1)
        assert str(broken).startswith("tests.no_such_module: NOT GOOD (1)")
    assert "No module named tests.no_such_module" in beside_each_other(parts)[1].said


@pytest.mark.parametrize("asked", [[], ["both"], ["quick", "long"]])
def test_a_form_that_there_is_not_is_told(asked: list[str]) -> None:
    assert main(asked) == 2


def test_repeating_tells_which_test_failed_in_which_run(tmp_path: Path) -> None:
    (tmp_path / "test_sometimes.py").write_text(
        "from pathlib import Path\n"
        "def test_well():\n    pass\n"
        "def test_only_once():\n    Path(__file__).with_suffix('.seen').touch(exist_ok=False)\n"
    )
    runs = []
    for number in ("one", "two"):
        (tmp_path / number).mkdir()
        runs.append(run(["-n", "0", "-p", "no:cacheprovider", str(tmp_path)], tmp_path / number))
    assert [len(each.tests) for each in runs] == [2, 2]
    (line,) = told(runs)
    assert line.endswith("test_sometimes::test_only_once: failed in run 2")


def test_repeating_tells_of_a_run_that_broke_or_asked_other_tests() -> None:
    good = Run({"a": "passed", "b": "passed"})
    assert told([good, good]) == []
    lines = told([good, Run({"a": "passed"}, broke="pytest ended with 3")])
    assert lines == ["run 2: pytest ended with 3", "run 2: not the tests of run 1, such as b"]
