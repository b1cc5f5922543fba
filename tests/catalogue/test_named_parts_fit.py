"""What the demo range names as serving instead, or as a remedy, fits where that is said of it; no paper is
older than the part that it tells of."""

from collections.abc import Iterator
from datetime import date

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.lint.vehicles import vehicles_that_differ
from graftbook.rulebook.model import Claim, RuleBook
from graftbook.rulebook.scope import Scope, scope_for
from tests.closure.sweep import books_of

pytestmark = pytest.mark.one_engine

POSITIVE_EARTH = {"QI-7016", "QL-7117"}
"""Made for vehicles before the change of polarity, and named beside what is for those after it."""


@pytest.fixture(scope="module")
def books(sqlite_demo: Engine) -> list[RuleBook]:
    return list(books_of(sqlite_demo, ()))


def _scopes(book: RuleBook) -> Iterator[Scope]:
    return (scope_for(book, vehicle) for vehicle in vehicles_that_differ(book))


def _can_sit(scope: Scope, position: str, number: str) -> bool:
    """It, or its other hand, or what a number that is no longer current stands for."""
    component = scope.book.components[number]
    return component.supply != "current" or bool({number, component.twin} & set(scope.options(position)))


def test_what_serves_instead_of_a_part_fits_somewhere_where_that_sits(books: list[RuleBook]) -> None:
    named, fits = set(), set()
    for book in books:
        for scope in _scopes(book):
            for position, number in scope.today.items():
                for each in book.substitutes:
                    if each.original == number and each.position in ("", position):
                        named.add((each.original, each.component))
                        if _can_sit(scope, position, each.component):
                            fits.add((each.original, each.component))
    assert len(named) > 100
    assert named == fits


def test_a_remedy_that_a_flaw_names_fits_on_every_variant_that_has_the_flaw(books: list[RuleBook]) -> None:
    named, fits = set(), set()
    for book in books:
        for scope in _scopes(book):
            for flaw in filter(scope.holds, book.flaws):
                for sits in scope.flawed_today(flaw):
                    for remedy in flaw.substitutes:
                        original, _, number = remedy.rpartition(">")
                        if original in ("", sits.component) and number not in POSITIVE_EARTH:
                            named.add((book.variant.name, flaw.name, number))
                            if _can_sit(scope, sits.position, number):
                                fits.add((book.variant.name, flaw.name, number))
    assert len(named) > 500
    assert named == fits


def test_no_paper_tells_of_a_part_before_it_was_made(books: list[RuleBook]) -> None:
    born: dict[str, date] = {}
    for book in books:
        for scope in _scopes(book):
            for number in filter(None, scope.today.values()):
                day = scope.vehicle.built
                if day:
                    born[number] = min(day, born.get(number, day))
    wrong = {
        (number, paper.name)
        for book in books
        for number, claim in _told(book)
        for paper in claim.evidence
        if paper.on and number in born and paper.on.year < born[number].year
    }
    assert len(born) > 100
    assert wrong == set()


def _told(book: RuleBook) -> Iterator[tuple[str, Claim]]:
    """Each part with what says where it goes or what it serves instead of."""
    yield from ((fitment.component, fitment) for fitment in book.fitments)
    yield from ((each.component, each) for each in book.substitutes)
