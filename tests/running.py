"""How the suite runs: its quick and its long form, and its heaviest tests first.

The suite is what people and CI run. The long form asks the same things more often and of more engines:

    python -m pytest --long -n 2                 # everything
    python -m pytest --long tests/closure        # one room
    GRAFTBOOK_CASES=10 python -m pytest tests/closure

Nothing in the suite needs it. The quick form is for who works: `python -m tests quick` runs it beside lint
and types.
"""

import gc
import os
from collections.abc import Callable, Generator

import pytest

LONG = "3"
"""How many times the cases of the suite the long form asks."""

FIRST = (
    "tests/soundness/test_hostile", "tests/test_types", "tests/pages/browser/", "tests/soundness/",
    "tests/closure/",
)  # fmt: skip
"""What takes longest begins first: no worker is left alone with it at the end. PostgreSQL comes last, so that
mostly one worker starts one."""


NEED_A_DATABASE = {"sqlite_databases", "postgres_server"}
"""Fixtures that the quick form does without."""
TAKE_LONG = (
    "tests/closure/test_random_catalogues", "tests/closure/test_compatibility",
    "tests/closure/test_deadlines", "tests/closure/test_sweep", "tests/closure/test_eliminate",
    "tests/checks/test_budgets_and_checks", "tests/checks/test_findings", "tests/independent/",
)  # fmt: skip
"""Which of the tests without a database the quick form leaves out."""

PATIENT = ("tests/soundness/", "tests/pages/browser/", "tests/process/", "tests/events/", "tests/commands/")
SECONDS_OF_THE_PATIENT = 600
"""The limit of what starts services, browsers and databases, on a machine that others use too."""


BETWEEN_TWO_LOOKS = (10_000, 20, 20)
"""How many objects more there are before what is free is looked for among the newest, how seldom among the
older. As it comes, Python looks after 700; a test makes a hundred thousand, and nearly none in circles."""


def cases(count: int) -> int:
    """How many random cases to try where the suite tries `count`."""
    return round(count * float(os.environ.get("GRAFTBOOK_CASES", "1")))


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--quick", action="store_true", help="only what needs no database and takes no time")
    parser.addoption("--long", action="store_true", help="more random cases, and both engines everywhere")


@pytest.hookimpl(tryfirst=True)
def pytest_sessionstart(session: pytest.Session) -> None:
    """Before the tests are read: how many there are hangs on it."""
    if session.config.getoption("--long"):
        os.environ.setdefault("GRAFTBOOK_CASES", LONG)


@pytest.hookimpl(wrapper=True)
def pytest_collection(session: pytest.Session) -> Generator[None, object, object]:
    """The program and the tests stay to the end: nobody looks again and again for what of them is free."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.set_threshold(*BETWEEN_TWO_LOOKS)
        gc.enable()


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    if not config.getoption("--long"):
        _leave_out(config, items, _is_twin)
    if config.getoption("--quick"):
        _leave_out(config, items, _is_slow)
    items.sort(key=_turn)
    for item in items:
        if item.nodeid.startswith(PATIENT):
            item.add_marker(pytest.mark.timeout(SECONDS_OF_THE_PATIENT))


def _turn(item: pytest.Item) -> tuple[bool, int]:
    place = next((turn for turn, name in enumerate(FIRST) if item.nodeid.startswith(name)), len(FIRST))
    return item.get_closest_marker("postgres") is not None, place


def _leave_out(config: pytest.Config, items: list[pytest.Item], which: Callable[[pytest.Item], bool]) -> None:
    left_out = [item for item in items if which(item)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if not which(item)]


def _is_slow(item: pytest.Item) -> bool:
    needs = NEED_A_DATABASE.intersection(getattr(item, "fixturenames", ()))
    return bool(needs) or item.nodeid.startswith(TAKE_LONG)


def _is_twin(item: pytest.Item) -> bool:
    """What does not differ between the engines is asked of SQLite only."""
    return bool(item.get_closest_marker("one_engine") and item.get_closest_marker("postgres"))
