"""The records of what workshops report: entry, mistakes, the way back, the grades in rule books."""

import pytest
from sqlalchemy import Engine, text
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.compiling.queries import compile_book
from graftbook.catalogue.format.exports import export_text
from graftbook.catalogue.history.as_of import as_of
from graftbook.catalogue.loading.imports import load
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author
from graftbook.rulebook.model import Claim, Grade, RuleBook
from tests.catalogue.sheet import sheet

ANNA = Author("Anna (k1)", "")
BY_NAME = "[report]\noutcome,workshop,on,chassis,claim\n"
HEAD = "[report]\noutcome,workshop,on,chassis,component,position,measured\n"
TWICE = f"""{HEAD}fitted,North,2026-01-10,2L-0007,TW-9,wheel.left,bore 20 mm
fitted after work,South,2026-01-11,2L-0020,TW-9,wheel.left,
"""


def claim(book: RuleBook, name: str) -> Claim:
    return next(
        one for some in (book.fitments, book.substitutes, book.companions) for one in some if one.name == name
    )


def test_a_report_is_kept_and_comes_back(tern: Engine) -> None:
    books = Books(tern)
    before = books.book("T2-L")
    report = load(tern, sheet(TWICE))
    assert (report.ok, report.changed) == (True, 2), report.mistakes
    assert books.book("T2-L") is not before
    again = load(tern, sheet("".join(export_text(tern))))
    assert (again.ok, again.changed) == (True, 0), again.mistakes
    name = "North 2026-01-10 2L-0007 TW-9@wheel.left"
    (row,) = editing.record_state(tern, "report", name).rows
    assert (row["outcome"], row["measured"], "name" in row) == ("fitted", ["bore 20 mm"], False)
    assert editing.take_back(tern, report.revision, ANNA).revision == report.revision + 1
    assert not claim(books.book("T2-L"), "TW-9@wheel.left").reports


def test_a_grade_in_the_rule_book_follows_from_the_reports(tern: Engine) -> None:
    books = Books(tern)
    wheel = "TW-9@wheel.left"
    assert claim(books.book("T2-L"), wheel).grade is Grade.trial_fitted
    failed = "".join(f"did not fit,{shop},2026-02-0{n},2L-000{n},TW-9,wheel.left,\n" for n, shop in SHOPS)
    assert load(tern, sheet(HEAD + failed)).ok
    book = books.book("T2-L")
    assert claim(book, wheel).grade is Grade.hearsay
    assert claim(book, wheel).standing.contradicted
    assert [one.name for one in claim(book, wheel).reports] == sorted(
        r.name for r in claim(book, wheel).reports
    )
    # It bears on what the wheel is a substitute for, not on the other side.
    assert claim(book, "TW-10>TW-9").standing.failed == 3
    assert claim(book, "TW-9@wheel.right").grade is Grade.trial_fitted
    assert not claim(book, "disc-wheel-grease").reports


SHOPS = ((1, "North"), (2, "South"), (3, "West"))


def test_a_report_bears_on_no_claim_that_does_not_hold_for_its_vehicle(sqlite_tern: Engine) -> None:
    """A block that failed on an early cart says nothing of the record for late ones."""
    text_ = f"{HEAD}did not fit,North,2026-01-10,2L-0007,TB-2,brake,\n"
    assert load(sqlite_tern, sheet(text_)).ok
    assert not claim(Books(sqlite_tern).book("T2-L"), "TB-2@brake").reports
    wider = "[fitment]\ncomponent,position,effort,quantity,minutes,from_new,generations,evidence\n"
    assert load(sqlite_tern, sheet(wider + "TB-2,brake,direct,2,10,yes,two,book\n")).ok
    assert claim(Books(sqlite_tern).book("T2-L"), "TB-2@brake").standing.failed == 1


def test_an_option_that_a_claim_asks_for_must_be_told(sqlite_tern: Engine) -> None:
    lamp = "[report]\noutcome,workshop,on,chassis,component,position,options\n"
    rows = "did not fit,North,2026-01-10,2L-0007,TL-1,lamp,\n"
    rows += "fitted,South,2026-01-10,2L-0008,TL-1,lamp,lamp; bell\n"
    assert load(sqlite_tern, sheet(lamp + rows)).ok
    assert [r.workshop for r in claim(Books(sqlite_tern).book("T2-L"), "TL-1@lamp").reports] == ["South"]


def test_a_report_is_about_a_record_by_its_name(tern: Engine) -> None:
    of_record = f"{BY_NAME}did not fit,North,2026-01-10,2L-0007,disc-wheel-grease\n"
    assert load(tern, sheet(of_record)).ok
    assert claim(Books(tern).book("T2-L"), "disc-wheel-grease").standing.failed == 1
    with pytest.raises(Exception, match="still names"):
        _remove(tern, "companion", "disc-wheel-grease")


def _remove(engine: Engine, kind: str, name: str) -> None:
    state = editing.record_state(engine, kind, name)
    report = editing.remove_record(engine, kind, name, state.etag, ANNA)
    assert not report.mistakes, "; ".join(map(str, report.mistakes))


def test_an_answer_as_of_a_revision_counts_the_reports_of_then(tern: Engine) -> None:
    first = load(tern, sheet(TWICE))
    second = load(tern, sheet(f"{HEAD}did not fit,West,2026-03-01,2L-0030,TW-9,wheel.left,\n"))
    removed = editing.take_back(tern, first.revision, ANNA)
    now = Books(tern).book("T2-L")
    assert [r.workshop for r in claim(now, "TW-9@wheel.left").reports] == ["West"]
    for revision, shops in ((0, []), (first.revision, ["North", "South"]), (removed.revision, ["West"])):
        if revision < first.revision - 1:
            continue
        with as_of(tern, revision, ["2L-0007"]) as connection, Session(bind=connection) as session:
            then = claim(compile_book(session, "T2-L"), "TW-9@wheel.left")
        assert [r.workshop for r in then.reports] == shops, revision
    assert second.revision == first.revision + 1


MISTAKES = {
    f"{HEAD}went,North,2026-01-10,2L-0007,TW-9,wheel.left,\n": "outcome",
    f"{HEAD}fitted,,2026-01-10,2L-0007,TW-9,wheel.left,\n": "workshop",
    f"{HEAD}fitted,North,,2L-0007,TW-9,wheel.left,\n": "on",
    f"{HEAD}fitted,North,2026-01-10,2L-9999,TW-9,wheel.left,\n": "no chassis span holds 2L-9999",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,TW-99,wheel.left,\n": "there is no component 'TW-99'",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,TW-9,wheel,\n": "there is no position 'wheel'",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,TW-9,,\n": "say where TW-9 was tried",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,,wheel.left,\n": "say what was tried at wheel.left",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,,,\n": "say what was tried",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,TW-9,wheel.left,bore\n": "'bore' is no kind with a value",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,TW-9,wheel.left,bore twenty\n": "measured",
    f"{HEAD}fitted,North,2026-01-10,2L-0007,TW-9,wheel.left,bohr 20 mm\n": "no characteristic kind 'bohr'",
    f"{BY_NAME}fitted,North,2026-01-10,2L-0007,none\n": "there is no claim 'none'",
    f"{BY_NAME}fitted,North,2026-01-10,2L-0007,lamps\n": "reports are about",
    "[report]\noutcome,workshop,on,chassis,claim,component\n"
    "fitted,North,2026-01-10,2L-0007,TW-10>TW-9,TW-9\n": "one of",
    "[report]\noutcome,workshop,on,built,chassis,claim\n"
    "fitted,North,1960-01-10,1961-01-01,2L-0007,TW-10>TW-9\n": "before the vehicle was built",
}


@pytest.mark.parametrize("wrong", MISTAKES)
def test_mistakes_of_a_report_are_told(sqlite_tern: Engine, wrong: str) -> None:
    report = load(sqlite_tern, sheet(wrong))
    assert not report.ok
    told = [str(mistake) for mistake in report.mistakes]
    assert any(MISTAKES[wrong] in one for one in told), told


def test_the_database_itself_refuses(tern: Engine) -> None:
    assert load(tern, sheet(TWICE)).ok
    with pytest.raises(IntegrityError), tern.begin() as connection:
        connection.execute(text("UPDATE report SET outcome = 'went'"))
