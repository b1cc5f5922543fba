"""How the suite runs: its long form, and its heaviest tests first.

The suite is what people and CI run. The long form asks the same things more often and of more engines:

    python -m pytest --long -n 2                 # everything
    python -m pytest --long tests/closure        # one room
    GRAFTBOOK_CASES=10 python -m pytest tests/closure

Nothing in the suite needs it.
"""

import gc
import os
from collections.abc import Generator

import pytest

LONG = "3"
"""How many times the cases of the suite the long form asks."""

FIRST = ("tests/soundness/test_hostile", "tests/pages/browser/", "tests/soundness/", "tests/closure/")
"""What takes longest begins first: no worker is left alone with it at the end. PostgreSQL comes last, so that
mostly one worker starts one."""


PATIENT = ("tests/soundness/", "tests/pages/browser/")
SECONDS_OF_THE_PATIENT = 600
"""The limit of what starts services, browsers and databases, on a machine that others use too."""


BETWEEN_TWO_LOOKS = (10_000, 20, 20)
"""How many objects more there are before what is free is looked for among the newest, how seldom among the
older. As it comes, Python looks after 700; a test makes a hundred thousand, and nearly none in circles."""


def cases(count: int) -> int:
    """How many random cases to try where the suite tries `count`."""
    return round(count * float(os.environ.get("GRAFTBOOK_CASES", "1")))


def pytest_addoption(parser: pytest.Parser) -> None:
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
        _leave_out(config, items)
    items.sort(key=_turn)
    for item in items:
        if item.nodeid.startswith(PATIENT):
            item.add_marker(pytest.mark.timeout(SECONDS_OF_THE_PATIENT))


def _turn(item: pytest.Item) -> tuple[bool, int]:
    place = next((turn for turn, name in enumerate(FIRST) if item.nodeid.startswith(name)), len(FIRST))
    return item.get_closest_marker("postgres") is not None, place


def _leave_out(config: pytest.Config, items: list[pytest.Item]) -> None:
    """What does not differ between the engines is asked of SQLite only."""
    twins = [item for item in items if _is_twin(item)]
    if twins:
        config.hook.pytest_deselected(items=twins)
        items[:] = [item for item in items if not _is_twin(item)]


def _is_twin(item: pytest.Item) -> bool:
    return bool(item.get_closest_marker("one_engine") and item.get_closest_marker("postgres"))
