"""The rule books that a process keeps: bounded by number, and by the memory that they take."""

import gc
import weakref
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.compiling.book_names import names_of
from graftbook.catalogue.compiling.books import BYTES_A_RECORD, Books, weight_of
from graftbook.catalogue.compiling.queries import Strangers
from graftbook.checks.set import figures_read
from graftbook.closure.compatibility import compatible
from graftbook.database import reading
from graftbook.problems import Problem, UnknownComponent
from graftbook.process.reasoning import worker
from graftbook.process.reasoning.frames import Ended
from graftbook.process.reasoning.process import Process
from graftbook.process.service import make_service
from graftbook.rulebook.index import ASKED_STILL
from graftbook.rulebook.model import RuleBook, Vehicle
from graftbook.rulebook.scope import scope_for
from graftbook.settings import Settings


def test_books_beyond_the_memory_that_is_given_go_and_the_last_one_stays(sqlite_tern: Engine) -> None:
    one, other = "T2-L", "T1-R"
    both = sum(weight_of(Books(sqlite_tern).book(variant)) for variant in (one, other))
    for most, compiled in ((both, 2), (both - 1, 3), (0, 3)):
        books = Books(sqlite_tern, most_bytes=most)
        for variant in (one, other, one):
            books.book(variant)
        assert books.compiled == compiled
    last = books.book(one)
    assert books.book(one) is last, "the one asked for last is kept whatever it takes"
    assert weight_of(last) > BYTES_A_RECORD * len(last.components)


def used(book: RuleBook) -> "weakref.ref[RuleBook]":
    """As a question leaves it: with all that is worked out about it."""
    vehicle = Vehicle(book.variant.name, "2L", 200, date(1961, 1, 1))
    for number in ("TW-9", "TB-1"):
        compatible(book, vehicle, number)
    figures_read(book, vehicle, scope_for(book, vehicle).today)
    names_of(book)
    return weakref.ref(book)


def test_a_book_that_is_let_go_does_not_wait_for_the_collector(sqlite_tern: Engine) -> None:
    """1.8 million objects waited for it once, and one walk stood still for 3 s."""
    gc.collect()
    gc.disable()
    try:
        books, gone = Books(sqlite_tern, kept=1), []
        for _ in range(ASKED_STILL + 2):
            gone += [used(books.book(variant)) for variant in ("T2-L", "T1-R")]
        assert gone[0]() is None
        assert gone[-1]() is not None
        service = make_service(Settings(database_url=str(sqlite_tern.url)))
        past = []
        for _ in range(ASKED_STILL + 2):
            with service.at(1, ["2L-0200"]) as then:
                past.append(used(then.books.book("T2-L")))
        assert past[0]() is None
        service.close()
    finally:
        gc.enable()


def test_a_book_that_is_made_for_one_question_does_not_wait_for_the_collector(sqlite_tern: Engine) -> None:
    """With a component that it has no record of, and one with such components alone: a list of numbers left a
    hundred thousand objects each time, and the collector stood still over them for 2 s, a writer with it."""
    books, gone = Books(sqlite_tern), []
    gc.collect()
    gc.disable()
    try:
        for _ in range(ASKED_STILL + 2):
            gone.append(used(books.book("T2-L", also=["TB-7L"])))
            with reading(sqlite_tern) as session:
                gone.append(used(Strangers(session, ["TB-7L"]).alone(books.book("T2-L"))))
        assert (gone[0](), gone[1]()) == (None, None)
        again = books.book("T2-L")
        books.close()
        for _ in range(ASKED_STILL + 2):
            used(books.book("T1-R", also=["TB-7L"]))
        late = used(again)
        del again
        for _ in range(ASKED_STILL + 2):
            used(books.book("T1-R", also=["TB-7L"]))
        assert late() is None, "what is worked out once more is forgotten once more"
    finally:
        gc.enable()


def test_a_reasoning_process_keeps_no_more_than_it_is_given(sqlite_tern: Engine) -> None:
    one, other = (Books(sqlite_tern).book(variant) for variant in ("T2-L", "T1-R"))
    process = Process(most_bytes=weight_of(one) + weight_of(other) - 1)
    try:
        process.wait_until_ready()
        process.bring([one])
        process.bring([other])
        assert process.holds([other])
        assert not process.holds([one])
        process.bring([one, other])
        assert process.holds([one, other]), "what one question needs is kept together"
    finally:
        process.end()


class Asker:
    """The other end of a reasoning process: what it says, one message after the other."""

    def __init__(self, messages: list[bytes]) -> None:
        self._messages = messages

    def receive(self) -> bytes:
        if not self._messages:
            raise Ended
        return self._messages.pop(0)

    def send(self, message: bytes) -> None:
        assert message == worker.READY


def test_what_a_reasoning_process_forgets_does_not_wait_for_the_collector(
    sqlite_tern: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of each edit it gets another book, and a question waits while the collector walks the old ones."""
    book, gone = Books(sqlite_tern).book("T2-L"), []

    def read(_written: bytes) -> RuleBook:
        own = replace(book)
        gone.append(used(own))
        return own

    monkeypatch.setattr(worker, "_book_in", read)
    numbers = [number.to_bytes(worker.NUMBER_BYTES, "big") for number in range(ASKED_STILL + 2)]
    messages = [kind + number for number in numbers for kind in (worker.BOOK, worker.FORGET)]
    gc.collect()
    gc.disable()
    try:
        asker: Any = Asker(messages)
        worker.work_from(asker)
        assert gone[0]() is None
    finally:
        gc.enable()


def test_a_problem_that_is_kept_lets_go_of_what_was_looked_at_where_it_came_up(sqlite_tern: Engine) -> None:
    """A list of a hundred unknown numbers held the vehicle's rule book, with all worked out about it."""
    gc.collect()
    gc.disable()
    try:
        kept: list[Problem] = []
        held: list[weakref.ref[RuleBook]] = []
        _look_up(sqlite_tern, kept, held)
        assert [problem.detail for problem in kept] == ["There is no component 'ZZ-1'"]
        assert held[0]() is None
    finally:
        gc.enable()


def _look_up(engine: Engine, kept: list[Problem], held: "list[weakref.ref[RuleBook]]") -> None:
    book = Books(engine).book("T2-L")
    held.append(weakref.ref(book))
    try:
        raise UnknownComponent("ZZ-1")
    except Problem as problem:
        kept.append(problem.kept())
