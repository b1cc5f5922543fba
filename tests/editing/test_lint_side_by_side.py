"""The lint of many ranges by several processes finds what one finds, whatever becomes of the helpers."""

import os
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.catalogue.lint.finding import Finding
from graftbook.catalogue.lint.lint import lint as lint_alone
from graftbook.catalogue.loading.imports import load
from graftbook.editing.linting import side_by_side
from graftbook.editing.linting.side_by_side import lint
from graftbook.process.reasoning.pool import Lost, Pool
from tests.catalogue.sheet import sheet

RANGES = 12


def _sheet() -> str:
    """Ranges each of which has a place that must not be empty, and nothing that the factory fitted there."""
    blocks = ["[section]\nname,title,order\nbrakes,Brakes,1\n"]
    for n in range(RANGES):
        blocks.append(f"[range]\nname,title\nr{n:02},Range {n}\n")
        blocks.append(
            "[variant]\nname,range,title,generation,body,engine,drive,steering,market\n"
            f"v{n:02},r{n:02},Version {n},one,open,e,rear,left,home\n"
        )
        blocks.append(
            "[chassis_span]\nvariant,first,last,built_from,built_to\n"
            f"v{n:02},W{n:02}-001,W{n:02}-900,1960-01-01,1969-12-31\n"
        )
        blocks.append(f"[position]\nname,range,section,title,essential\np{n:02},r{n:02},brakes,Brake,yes\n")
    return "\n".join(blocks)


SHEET = _sheet()
Judging = Callable[[int], None]


class Watched:
    """What becomes of a lint whose helpers are begun at once."""

    def __init__(self) -> None:
        self.pools: list[Pool] = []
        self.boards: list[side_by_side._Board] = []
        self.here: list[str] = []
        """The ranges that were judged in this process."""
        self.before: Judging = lambda _: None
        """Done before a range is judged here, with how many were before it."""

    def lint(self, engine: Engine) -> Iterator[Finding]:
        return lint(engine, helpers=1)

    def wait_for_helper(self, count: int) -> None:
        """At the second range here, until the helper has left none."""
        if count == 1:
            wait_until(lambda: not self.boards[0].waiting and len(self.boards[0]._found) == RANGES - 2)


def wait_until(ready: Callable[[], bool]) -> None:
    until = time.monotonic() + 60
    while not ready():
        assert time.monotonic() < until, "it did not come"
        time.sleep(0.02)


@pytest.fixture
def watched(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> Watched:
    assert load(engine, sheet(SHEET)).ok
    watched = Watched()

    class Board(side_by_side._Board):
        def __init__(self, ranges: list[tuple[str, list[str]]]) -> None:
            super().__init__(ranges)
            watched.boards.append(self)

    class Noted(Pool):
        def __init__(self, most: int) -> None:
            super().__init__(most)
            watched.pools.append(self)

    def of_range(session: Session, range_name: str, variants: list[str]) -> Iterator[Finding]:
        watched.before(len(watched.here))
        watched.here.append(range_name)
        return judged(session, range_name, variants)

    judged = side_by_side.of_range
    monkeypatch.setattr(side_by_side, "_Board", Board)
    monkeypatch.setattr(side_by_side, "Pool", Noted)
    monkeypatch.setattr(side_by_side, "of_range", of_range)
    monkeypatch.setattr(side_by_side, "SECONDS_WORTH_HELP", 0.0)
    return watched


def test_a_helper_finds_what_is_found_alone_in_the_same_order(engine: Engine, watched: Watched) -> None:
    alone = list(lint_alone(engine))
    assert len({finding.records for finding in alone}) == RANGES
    watched.before = watched.wait_for_helper
    assert list(watched.lint(engine)) == alone
    assert len(watched.here) == 2


def test_what_others_edit_meanwhile_is_not_seen(engine: Engine, watched: Watched) -> None:
    alone = list(lint_alone(engine))

    def edit(count: int) -> None:
        if count == 0:
            assert load(engine, sheet(SHEET.replace("Brake,yes", "Brake,no"))).changed == RANGES

    watched.before = edit
    assert list(watched.lint(engine)) == alone
    assert len(watched.here) == RANGES, "the helper saw another revision"
    assert list(lint_alone(engine)) == []


@pytest.mark.one_engine
def test_what_a_helper_did_not_finish_is_done_here(
    engine: Engine, watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = list(lint_alone(engine))
    monkeypatch.setattr(Pool, "run", _lost)
    assert list(watched.lint(engine)) == alone
    assert sorted(watched.here) == [f"r{n:02}" for n in range(RANGES)]


def _lost(*_: Any, **__: Any) -> None:
    raise Lost


@pytest.mark.one_engine
def test_who_looks_at_no_more_leaves_no_process(engine: Engine, watched: Watched) -> None:
    watched.before = watched.wait_for_helper
    found = watched.lint(engine)
    next(found)
    next(found)
    (pool,) = watched.pools
    (helper,) = pool.pids()
    found.close()
    wait_until(lambda: not _lives(helper))


def _lives(pid: int) -> bool:
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


@pytest.mark.one_engine
def test_for_what_is_done_in_a_moment_no_process_is_begun(
    engine: Engine, watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(side_by_side, "SECONDS_WORTH_HELP", 3.0)
    assert list(watched.lint(engine)) == list(lint_alone(engine))
    assert not watched.pools
