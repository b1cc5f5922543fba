"""The rule books that a process keeps: bounded by number, and by the memory that they take."""

from sqlalchemy import Engine

from graftbook.catalogue.compiling.books import BYTES_A_RECORD, Books, weight_of
from graftbook.process.reasoning.process import Process


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
