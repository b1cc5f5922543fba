"""Readers of every kind beside one writer, the short form of `python -m tests.soundness.beside`."""

import sqlite3
import threading
import time
from typing import Any

import httpx
import pytest
from sqlalchemy import make_url

from graftbook.editing.records.service import Author, put_record, record_state
from tests.running import cases
from tests.soundness.beside import LONGEST, READERS, Beside, Figures
from tests.soundness.databases import opened

SECONDS = 0.3
"""Each kind of reader asks at least once, however short it is; the lock is tried until all are answered."""
COMPONENTS = cases(1_200)
"""Of the large sheet, with a third as many properties: what is a large load. The long form: three times
as many."""
HELD = 1.0
"""Seconds that somebody may wait for the writers' lock: it is let go by everybody who reads."""


def test_no_reader_holds_the_writers_lock_and_a_writer_is_let_through(own_demo_url: str, start: Any) -> None:
    """Readers alone first: what is waited for then is theirs. How long a change takes is told by the long
    form."""
    served = start(own_demo_url, reasoning_processes=1)
    put_beside(own_demo_url)
    figures = Beside(served, own_demo_url).run(SECONDS, writer=False)
    assert not figures.wrong, figures
    assert figures.asked.keys() == READERS.keys()
    assert figures.waits
    assert max(figures.waits) < HELD, figures
    beside = Beside(served, own_demo_url).run(SECONDS, readers=("closure", "check", "page", "look-up"))
    assert not beside.wrong, beside
    assert beside.changes


def test_a_large_load_holds_the_writers_lock_for_its_last_step_only(own_demo_url: str, start: Any) -> None:
    """Measured against the load itself, since a busy machine is slow at both; and up to three times, since
    it may stop whoever tries the lock for once, where a load that holds it holds it each time. Readers, of
    whom none does, would do no more than make it slow: the long form has them all."""
    served = start(own_demo_url)
    measured = []
    for _ in range(3):
        figures = Beside(served, own_demo_url).run(0, load=COMPONENTS, readers=["closure"])
        assert not figures.wrong, figures
        assert [load.status for load in figures.loads] == [200, 200]
        assert all(load.waits for load in figures.loads), figures
        measured.append(figures)
        if all(max(load.waits) < load.seconds / 2 for load in figures.loads):
            return
    pytest.fail(f"the lock was held: {measured}")


def test_a_lock_that_is_held_is_counted(own_demo_url: str, start: Any) -> None:
    """Somebody holds the writers' lock for as long as no change may take."""
    if not own_demo_url.startswith("sqlite"):
        pytest.skip("held by a lock of SQLite's file")
    beside = Beside(start(own_demo_url, reasoning_processes=1), own_demo_url)
    holder = threading.Thread(target=_hold, args=(str(make_url(own_demo_url).database), LONGEST + 0.5))
    holder.start()
    figures = beside.run(3.0, readers=["look-up"])
    holder.join()
    assert max(figures.waits) > HELD, figures
    assert figures.slowest > LONGEST, figures
    assert not figures.well


def put_beside(url: str) -> None:
    """A change after revision 1, so that a question about the past has something to undo."""
    with opened(url) as engine:
        state = record_state(engine, "component", "QB-3310")
        rows = [state.rows[0] | {"price": "99.00"}]
        assert put_record(engine, "component", "QB-3310", rows, state.etag, Author("tests")).ok


def _hold(path: str, seconds: float) -> None:
    time.sleep(1)
    held = sqlite3.connect(path, isolation_level=None, timeout=30)
    held.execute("BEGIN IMMEDIATE")
    time.sleep(seconds)
    held.execute("ROLLBACK")
    held.close()


def test_a_reader_who_gets_no_answer_is_told_and_asks_on() -> None:
    """His thread ended unseen, and the writer then had one reader fewer beside him."""
    asked = 0

    class Unanswered:
        def client(self, **_options: Any) -> httpx.Client:
            return httpx.Client(base_url="http://127.0.0.1", transport=httpx.MockTransport(self.late))

        def late(self, request: httpx.Request) -> httpx.Response:
            nonlocal asked
            asked += 1
            if asked == 2:
                beside._ending.set()
            raise httpx.ReadTimeout("late", request=request)

    served: Any = Unanswered()
    beside = Beside(served, "")
    beside._read("closure", READERS["closure"])
    assert asked == len(beside.figures.wrong) == 2
    assert not beside.figures.well


@pytest.mark.parametrize(
    "figures",
    [
        Figures(),
        Figures([0.1], [0.1], dict.fromkeys(READERS, 1), ["change: 503"]),  # type: ignore[arg-type]
        Figures([0.1, LONGEST], [0.1], dict.fromkeys(READERS, 1)),  # type: ignore[arg-type]
        Figures([0.1], [0.1], {"closure": 1}),  # type: ignore[arg-type]
    ],
)
def test_what_is_not_well_is_told(figures: Figures) -> None:
    assert not figures.well


def test_what_is_well_is_told() -> None:
    assert Figures([0.1], [0.1], dict.fromkeys(READERS, 1)).well  # type: ignore[arg-type]
