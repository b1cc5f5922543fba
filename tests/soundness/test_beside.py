"""Readers of every kind beside one writer, the short form of `python -m tests.soundness.beside`."""

import sqlite3
import threading
import time
from typing import Any

import pytest
from sqlalchemy import make_url

from tests.soundness.beside import LONGEST, READERS, Beside, Figures
from tests.soundness.server import Served

SECONDS = 5


def test_no_reader_holds_up_the_writer(served: Served) -> None:
    figures = Beside(served).run(SECONDS)
    assert not figures.wrong, figures
    assert figures.changes
    assert figures.slowest < LONGEST * 2, (
        figures
    )  # the suite's machine has other work; the long form is strict


def test_a_writer_that_waits_is_counted(own_demo_url: str, start: Any) -> None:
    """Somebody holds the writers' lock for as long as no change may take."""
    if not own_demo_url.startswith("sqlite"):
        pytest.skip("held by a lock of SQLite's file")
    beside = Beside(start(own_demo_url))
    holder = threading.Thread(target=_hold, args=(str(make_url(own_demo_url).database), LONGEST + 0.5))
    holder.start()
    figures = beside.run(SECONDS)
    holder.join()
    assert figures.slowest > LONGEST, figures
    assert not figures.well


def _hold(path: str, seconds: float) -> None:
    time.sleep(1)
    held = sqlite3.connect(path, isolation_level=None, timeout=30)
    held.execute("BEGIN IMMEDIATE")
    time.sleep(seconds)
    held.execute("ROLLBACK")
    held.close()


@pytest.mark.parametrize(
    "figures",
    [
        Figures(),
        Figures([0.1], dict.fromkeys(READERS, 1), ["change: 503"]),  # type: ignore[arg-type]
        Figures([0.1, LONGEST], dict.fromkeys(READERS, 1)),  # type: ignore[arg-type]
        Figures([0.1], {"closure": 1}),  # type: ignore[arg-type]
    ],
)
def test_what_is_not_well_is_told(figures: Figures) -> None:
    assert not figures.well


def test_what_is_well_is_told() -> None:
    assert Figures([0.1], dict.fromkeys(READERS, 1)).well  # type: ignore[arg-type]
