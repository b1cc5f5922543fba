"""Reasoning processes: what they give back, and what happens when one is killed, late, or not wanted."""

import math
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.problems import Busy
from graftbook.process.reasoning import process
from graftbook.process.reasoning.frames import Late
from graftbook.process.reasoning.pool import Lost, NoneFree, Pool
from graftbook.process.service import Reasoner, ReasoningEnded
from graftbook.rulebook.index import flaw_of
from graftbook.rulebook.model import RuleBook
from tests.closure.shelf import VEHICLE, Shelf, at, needs

ROOT = Path(__file__).resolve().parents[2]
SECONDS = 60.0
"""More than anything here takes on a busy machine."""


@pytest.fixture
def pool() -> Iterator[Pool]:
    pool = Pool(2)
    yield pool
    pool.close()


def eventually(true: Callable[[], bool], seconds: float = 30.0) -> bool:
    until = time.monotonic() + seconds
    while not true() and time.monotonic() < until:
        time.sleep(0.02)
    return true()


def alive(pid: int) -> bool:
    """Whether a process is there and has not ended; it has not while one of its threads is there."""
    try:
        os.kill(pid, 0)
        told = subprocess.run(
            ["ps", "-o", "stat=,nlwp=", "-p", str(pid)], capture_output=True, text=True, check=True
        ).stdout.split()
        return bool(told) and (told[0][:1] != "Z" or int(told[1]) > 1)
    except (OSError, subprocess.CalledProcessError):
        return False


def in_the_background(work: Callable[[], object]) -> tuple[threading.Thread, list[object]]:
    """Work in a thread; in the list, what came of it or what it raised."""
    came: list[object] = []

    def run() -> None:
        try:
            came.append(work())
        except Exception as error:
            came.append(error)

    thread = threading.Thread(target=run)
    thread.start()
    return thread, came


def test_an_answer_from_another_process_is_the_same_answer(pool: Pool) -> None:
    book = Shelf(a="a0 a1", b="b0 b1").add("companions", needs("r", "a1", at("b1", "b"))).book()
    question = Question(VEHICLE, (FitComponent("a1"),))
    for _ in range(2):
        there = pool.run(answer_question, book, question, seconds=SECONDS)
        assert there == answer_question(book, question)
        assert there.outcome is Outcome.proved


def test_what_work_raises_is_raised_here_with_the_place(pool: Pool) -> None:
    with pytest.raises(ValueError, match="math domain error") as raised:
        pool.run(math.sqrt, -1.0, seconds=SECONDS)
    assert "worker.py" in str(raised.value.__cause__)
    assert pool.run(math.sqrt, 4.0, seconds=SECONDS) == 2.0
    assert pool.lost == 0


def test_a_process_keeps_the_rule_books_asked_for_last(pool: Pool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(process, "MOST_BOOKS", 3)
    books = [Shelf(a=f"a{i} b{i}").book() for i in range(8)]
    for i in (*range(8), 0, 1, 7, 6):
        asked = Question(VEHICLE, (FitComponent(f"b{i}"),))
        found = pool.run(answer_question, books[i], asked, seconds=SECONDS)
        assert found.solution is not None
        assert [change.component for change in found.solution.changes] == [f"b{i}"]


def test_a_process_killed_at_work_costs_the_work_in_hand_alone(pool: Pool) -> None:
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    thread, came = in_the_background(lambda: pool.run(time.sleep, 60.0, seconds=SECONDS))
    assert eventually(lambda: pool.at_work == 1)
    first = [pid for pid in pool.pids() if _sleeps_at_work(pool, pid)]
    for pid in first:
        os.kill(pid, signal.SIGKILL)
    thread.join(SECONDS)
    assert [type(error) for error in came] == [Lost]
    assert pool.run(math.sqrt, 9.0, seconds=SECONDS) == 3.0
    assert pool.lost >= 1
    assert not any(map(alive, first))


def _sleeps_at_work(pool: Pool, pid: int) -> bool:
    return pid not in {one.pid for one in pool._idle}


def test_a_process_killed_while_it_waits_costs_nothing(pool: Pool) -> None:
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    assert eventually(lambda: pool.idle >= 1)
    for pid in pool.pids():
        os.kill(pid, signal.SIGKILL)
        assert eventually(lambda pid=pid: not alive(pid))
    assert pool.run(math.sqrt, 9.0, seconds=SECONDS) == 3.0


def test_what_is_late_is_left_and_ended_soon(pool: Pool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("graftbook.process.reasoning.pool.SECONDS_OF_GRACE", 0.2)
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    began = time.monotonic()
    with pytest.raises(Late):
        pool.run(time.sleep, 60.0, seconds=0.3)
    assert time.monotonic() - began < 10
    assert eventually(lambda: pool.at_work == 0)
    assert pool.lost == 1
    assert pool.run(math.sqrt, 9.0, seconds=SECONDS) == 3.0


def test_what_is_done_shortly_after_its_time_keeps_its_process(pool: Pool) -> None:
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    with pytest.raises(Late):
        pool.run(time.sleep, 0.6, seconds=0.3)
    assert eventually(lambda: pool.at_work == 0)
    assert pool.lost == 0
    assert pool.run(math.sqrt, 9.0, seconds=SECONDS) == 3.0


def test_nobody_waits_longer_for_a_process_than_asked(pool: Pool) -> None:
    one = Pool(1)
    try:
        one.run(math.sqrt, 4.0, seconds=SECONDS)
        thread, _ = in_the_background(lambda: one.run(time.sleep, 2.0, seconds=SECONDS))
        assert eventually(lambda: one.at_work == 1)
        with pytest.raises(NoneFree):
            one.run(math.sqrt, 4.0, seconds=0.1)
        thread.join(SECONDS)
        assert one.run(math.sqrt, 4.0, seconds=SECONDS) == 2.0
    finally:
        one.close()


def test_work_that_nobody_waits_for_any_more_is_given_up(pool: Pool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("graftbook.process.reasoning.pool.SECONDS_OF_GRACE", 0.2)
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    there = threading.Event()
    there.set()
    thread, came = in_the_background(lambda: pool.run(time.sleep, 60.0, seconds=SECONDS, wanted=there.is_set))
    assert eventually(lambda: pool.at_work == 1)
    there.clear()
    thread.join(10)
    assert [type(error) for error in came] == [Late]
    assert eventually(lambda: pool.at_work == 0)


def large(components: int = 20_000) -> RuleBook:
    """A book that takes longer to hand over than there is room for on the way."""
    book = Shelf(brake="drum disc").book()
    parts = {f"n{n}": replace(book.components["drum"], number=f"n{n}") for n in range(components)}
    return replace(book, components={**book.components, **parts})


def test_a_short_question_of_a_large_book_costs_no_process(pool: Pool) -> None:
    """The book goes on its way without who asked; who asks next finds it there."""
    book = large()
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    assert eventually(lambda: pool.idle >= 1)
    first = set(pool.pids())
    for _ in range(3):
        with pytest.raises((Late, NoneFree)):
            pool.run(flaw_of, book, "none", seconds=0.001)
    assert pool.run(flaw_of, book, "none", seconds=SECONDS) is None
    assert eventually(lambda: pool.at_work == 0)
    assert pool.lost == 0
    assert first <= set(pool.pids())


def test_a_process_that_ends_while_a_book_comes_costs_no_answer(
    pool: Pool, monkeypatch: pytest.MonkeyPatch
) -> None:
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    assert eventually(lambda: pool.idle >= 1)
    (real, ended) = (process.book_bytes, [])

    def ends(book: RuleBook) -> bytes:
        if not ended:
            ended.append(max(pool._every - set(pool._idle), key=lambda one: one.pid))
            os.kill(ended[0].pid, signal.SIGKILL)
            assert eventually(lambda: not alive(ended[0].pid))
        return real(book)

    monkeypatch.setattr(process, "book_bytes", ends)
    book = large(500)
    assert pool.run(flaw_of, book, "none", seconds=SECONDS) is None
    assert ended
    assert ended[0].pid not in pool.pids()


def test_closing_ends_every_process_whatever_it_does(pool: Pool) -> None:
    pool.run(math.sqrt, 4.0, seconds=SECONDS)
    thread, came = in_the_background(lambda: pool.run(time.sleep, 60.0, seconds=SECONDS))
    assert eventually(lambda: pool.at_work == 1)
    pids = pool.pids()
    pool.close()
    thread.join(10)
    assert [type(error) for error in came] == [Lost]
    assert not any(map(alive, pids))
    with pytest.raises(NoneFree):
        pool.run(math.sqrt, 4.0, seconds=0.5)


_PARENT = """
import sys, threading, time
from graftbook.process.reasoning.pool import Pool
pool = Pool(2)
threading.Thread(target=lambda: pool.run(time.sleep, 600.0, seconds=600.0), daemon=True).start()
while pool.at_work < 1 or pool.idle < 1:
    time.sleep(0.02)
print(*pool.pids(), flush=True)
time.sleep(600)
"""


@pytest.mark.parametrize("signalled", [signal.SIGKILL, signal.SIGTERM])
def test_no_process_outlives_the_one_that_began_it(signalled: signal.Signals) -> None:
    """Neither the one that waits nor the one at work, however the parent goes."""
    parent = subprocess.Popen([sys.executable, "-c", _PARENT], cwd=ROOT, stdout=subprocess.PIPE, text=True)
    assert parent.stdout is not None
    pids = [int(pid) for pid in parent.stdout.readline().split()]
    assert len(pids) == 2
    assert all(map(alive, pids))
    parent.send_signal(signalled)
    parent.wait()
    parent.stdout.close()
    assert eventually(lambda: not any(map(alive, pids)))


def test_the_reasoner_says_in_problems_what_went_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    reasoner = Reasoner(1)
    reasons = {Late: OutOfTime, NoneFree: Busy, Lost: ReasoningEnded}
    try:
        for raised, told in reasons.items():
            monkeypatch.setattr(Pool, "run", lambda *_, raised=raised, **__: _raise(raised))
            with pytest.raises(told):
                reasoner.run(math.sqrt, 4.0, deadline=Deadline(1.0))
    finally:
        monkeypatch.undo()
        reasoner.close()
    assert Reasoner(0).run(math.sqrt, 4.0, deadline=Deadline(1.0)) == 2.0


def _raise(kind: type[Exception]) -> None:
    raise kind


HOLDING_MUCH = """
import os
from graftbook.process.reasoning.pool import Pool
from graftbook.process.reasoning.worker import MOST_MEGABYTES

held = bytearray(MOST_MEGABYTES + 100 << 20)
held[::4096] = bytes(len(held) // 4096)
pool = Pool(1)
pids = [pool.run(os.getpid, seconds=60.0) for _ in range(3)]
pool.close()
print(len(set(pids)))
"""


def test_a_process_is_not_ended_for_what_the_one_that_began_it_holds() -> None:
    """Until it runs its own program it shares that one's memory, which the system counts as its own too."""
    command = [sys.executable, "-c", HOLDING_MUCH]
    told = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=SECONDS, check=False)
    assert told.stdout.strip() == "1", told.stderr
