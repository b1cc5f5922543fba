"""The lint of many ranges by several processes finds what one finds, whatever becomes of the helpers."""

import os
import time
from collections.abc import Callable, Generator
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.catalogue.lint.finding import LintFinding
from graftbook.catalogue.lint.lint import Judged
from graftbook.catalogue.lint.lint import judge as judge_it
from graftbook.catalogue.loading.imports import load
from graftbook.editing.linting import side_by_side
from graftbook.editing.linting.side_by_side import lint
from graftbook.process.reasoning import pool
from graftbook.process.reasoning.pool import Lost, Pool
from tests.catalogue.sheet import sheet

RANGES, VARIANTS = 4, 3
EVERY = RANGES * VARIANTS


def _sheet() -> str:
    """Ranges each of which has a place that must not be empty, and nothing that the factory fitted there.
    Their variants differ in a figure, so that each is judged by itself."""
    numbers = [(n, v) for n in range(RANGES) for v in range(VARIANTS)]
    return "\n".join(
        (
            "[section]\nname,title,order\nbrakes,Brakes,1\n",
            "[characteristic_kind]\nname,title,quantity\nload,load,force\n",
            "[range]\nname,title\n" + "".join(f"r{n},Range {n}\n" for n in range(RANGES)),
            "[variant]\nname,range,title,generation,body,engine,drive,steering,market\n"
            + "".join(f"v{n}{v},r{n},Version {v},one,open,e,rear,left,home\n" for n, v in numbers),
            "[chassis_span]\nvariant,first,last,built_from,built_to\n"
            + "".join(f"v{n}{v},W{n}{v}-001,W{n}{v}-900,1960-01-01,1969-12-31\n" for n, v in numbers),
            "[characteristic]\nvariant,kind,value\n"
            + "".join(f"v{n}{v},load,{1000 + v} N\n" for n, v in numbers),
            "[position]\nname,range,section,title,essential\n"
            + "".join(f"p{n},r{n},brakes,Brake,yes\n" for n in range(RANGES)),
        )
    )


SHEET = _sheet()
Judging = Callable[[int], None]


class Watched:
    """What becomes of a lint whose helpers are begun at once."""

    def __init__(self) -> None:
        self.pools: list[Pool] = []
        self.boards: list[side_by_side._Board] = []
        self.alone: list[LintFinding] = []
        """What is found without a helper."""
        self.here: list[str] = []
        """The variants that were judged in this process."""
        self.before: Judging = lambda _: None
        """Done before a variant is judged here, with how many were before it."""

    def lint(self, engine: Engine) -> Generator[LintFinding]:
        yield from lint(engine, helpers=1)

    def wait_for_helper(self, count: int) -> None:
        """At the second variant here, until the helper has judged all others that it can know of."""
        if count == 1:
            wait_until(lambda: self.boards[0].waiting == 0 and self.boards[0]._in_hand.total() == 1)


def wait_until(ready: Callable[[], bool]) -> None:
    until = time.monotonic() + 60
    while not ready():
        assert time.monotonic() < until, "it did not come"
        time.sleep(0.02)


@pytest.fixture
def watched(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> Watched:
    assert load(engine, sheet(SHEET)).ok
    watched = Watched()
    watched.alone = list(lint(engine))

    class Board(side_by_side._Board):
        def __init__(self) -> None:
            super().__init__()
            watched.boards.append(self)

    class Noted(Pool):
        def __init__(self, most: int) -> None:
            super().__init__(most)
            watched.pools.append(self)

    def judge(session: Session, variant: str, *further: Any) -> Judged:
        watched.before(len(watched.here))
        watched.here.append(variant)
        return judge_it(session, variant, *further)

    monkeypatch.setattr(side_by_side, "_Board", Board)
    monkeypatch.setattr(side_by_side, "Pool", Noted)
    monkeypatch.setattr(side_by_side, "judge", judge)
    monkeypatch.setattr(side_by_side, "SECONDS_WORTH_HELP", 0.0)
    return watched


def test_a_helper_finds_what_is_found_alone_in_the_same_order(engine: Engine, watched: Watched) -> None:
    alone = watched.alone
    assert len({finding.records for finding in alone}) == RANGES
    assert {len(finding.variants) for finding in alone} == {VARIANTS}
    watched.before = watched.wait_for_helper
    assert list(watched.lint(engine)) == alone
    assert len(watched.here) <= EVERY - (2 * VARIANTS - 2), (
        "two ranges are open, and it judged but two of them"
    )


def test_what_others_edit_meanwhile_is_not_seen(engine: Engine, watched: Watched) -> None:
    alone = watched.alone

    def edit(count: int) -> None:
        if count == 0:
            assert load(engine, sheet(SHEET.replace("Brake,yes", "Brake,no"))).changed == RANGES

    watched.before = edit
    assert list(watched.lint(engine)) == alone
    assert len(watched.here) == EVERY, "the helper saw another revision"
    assert list(lint(engine)) == []


@pytest.mark.one_engine
def test_what_a_helper_did_not_finish_is_done_here(
    engine: Engine, watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    alone = watched.alone
    monkeypatch.setattr(Pool, "run", _lost)
    assert list(watched.lint(engine)) == alone
    assert len(watched.here) == len(set(watched.here)) == EVERY


def _lost(*_: Any, **__: Any) -> None:
    raise Lost


@pytest.mark.one_engine
def test_a_helper_that_cannot_be_begun_keeps_nobody_waiting(
    engine: Engine, watched: Watched, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pool, "_new_process", lambda _most_bytes: None)
    began = time.monotonic()
    assert list(watched.lint(engine)) == watched.alone
    assert len(watched.here) == EVERY
    assert time.monotonic() - began < side_by_side.SECONDS_TO_BEGIN / 2


@pytest.mark.one_engine
def test_who_looks_at_no_more_leaves_no_process(engine: Engine, watched: Watched) -> None:
    watched.before = watched.wait_for_helper
    found = watched.lint(engine)
    next(found)
    next(found)
    (helpers,) = watched.pools
    (helper,) = helpers.pids()
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
    assert list(watched.lint(engine)) == watched.alone
    assert not watched.pools
