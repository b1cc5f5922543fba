"""Names as people type them, found in a rule book, or in an outline: what the records of a variant are
called, without the records, which is enough to settle names, and quick.
"""

import weakref
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Self

from rapidfuzz import fuzz, process, utils
from sqlalchemy import Select, select
from sqlmodel import Session

from graftbook.catalogue.finding.of_book import OfBook
from graftbook.catalogue.format.names import as_called, as_typed
from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.tables import table
from graftbook.problems import (
    Unknown,
    UnknownFlaw,
    UnknownOption,
    UnknownPosition,
    UnknownSection,
    UnknownUpgrade,
)
from graftbook.rulebook.model import RuleBook, Upgrade


@dataclass(frozen=True, slots=True)
class BookOutline:
    """The names of a variant's positions, sections, known flaws and options, as its rule book has them."""

    variant: str
    positions: tuple[str, ...]
    sections: tuple[str, ...]
    flaws: tuple[str, ...]
    options: tuple[str, ...]


def outline_of(session: Session, variant: str) -> BookOutline:
    """The outline of a variant that there is."""

    def names(query: Select[str]) -> tuple[str, ...]:
        return tuple(session.connection().execute(query).scalars())

    own, section = table("variant").c, table("section").c
    position, claim, spelt = table("position").c, table("claim").c, table("condition_variant").c
    here = spelt.variant == variant
    return BookOutline(
        variant,
        names(
            select(position.name)
            .join(table("condition_variant"), spelt.condition_id == position.condition_id)
            .join(table("section"), section.name == position.section)
            .where(here)
            .order_by(section.order, section.name, position.order, position.name)
        ),
        names(select(section.name).order_by(section.order, section.name)),
        names(
            select(claim.name)
            .join(table("condition_variant"), spelt.condition_id == claim.condition_id)
            .where(here, claim.kind == "flaw")
            .order_by(claim.name)
        ),
        tuple(split(names(select(own.options).where(own.name == variant))[0])),
    )


_ALIKE = 60.0


def near_names(word: str, known: Iterable[str]) -> list[str]:
    """Up to three known names that look like a word, most alike first."""
    found = process.extract(
        word,
        list(known),
        scorer=fuzz.WRatio,
        processor=utils.default_process,
        limit=3,
        score_cutoff=_ALIKE,
    )
    return [name for name, _score, _index in found]


def names_of(book: RuleBook) -> "BookNames":
    """The book's names, indexed at their first use and kept with it."""
    found: BookNames | None = book.__dict__.get("_names")
    if found is None:
        found = BookNames(book)
        object.__setattr__(book, "_names", found)
    return found


class BookNames:
    """One rule book's names, indexed by how people may type them."""

    def __init__(self, book: RuleBook) -> None:
        flaws = (flaw.name for flaw in book.flaws)
        self._index(book.components, book.positions, book.sections, flaws, book.variant.options)
        self._upgrades = {as_called(upgrade.name): upgrade for upgrade in book.upgrades}
        self._book: Callable[[], RuleBook | None] = weakref.ref(book)  # which holds this

    @classmethod
    def of_outline(cls, outline: BookOutline) -> Self:
        """Those of a variant without the numbers that its records name."""
        made = cls.__new__(cls)
        made._index((), outline.positions, outline.sections, outline.flaws, outline.options)
        made._upgrades = {}
        made._book = lambda: None
        return made

    def _index(
        self,
        numbers: Iterable[str],
        positions: Iterable[str],
        sections: Iterable[str],
        flaws: Iterable[str],
        options: Iterable[str],
    ) -> None:
        self._numbers = frozenset(numbers)
        self._components = {as_typed(number): number for number in numbers}
        self._positions = {as_called(name): name for name in positions}
        self._sections = {as_called(name): name for name in sections}
        self._flaws = {as_called(name): name for name in flaws}
        self._options = {as_called(name): name for name in options}

    @cached_property
    def findable(self) -> OfBook | None:
        """What a search finds in the book; None of an outline."""
        book = self._book()
        return OfBook(book) if book else None

    def component(self, word: str) -> str | None:
        """The number as the catalogue writes it; None if no record of the book names it."""
        return word if word in self._numbers else self._components.get(as_typed(word))

    def position(self, word: str, pointer: str) -> str:
        """The position's name. Raises UnknownPosition."""
        return _find(word, self._positions, pointer, UnknownPosition, Unknown.OF_VARIANT)

    def section(self, word: str, pointer: str) -> str:
        """The section's name. Raises UnknownSection."""
        return _find(word, self._sections, pointer, UnknownSection)

    def flaw(self, word: str, pointer: str) -> str:
        """The known flaw's name. Raises UnknownFlaw."""
        return _find(word, self._flaws, pointer, UnknownFlaw)

    def upgrade(self, word: str, pointer: str) -> Upgrade:
        """The named upgrade. Raises UnknownUpgrade."""
        names = {plain: upgrade.name for plain, upgrade in self._upgrades.items()}
        return self._upgrades[as_called(_find(word, names, pointer, UnknownUpgrade, Unknown.OF_VARIANT))]

    def option(self, word: str, pointer: str) -> str:
        """The option's name. Raises UnknownOption."""
        return _find(word, self._options, pointer, UnknownOption, Unknown.OF_VARIANT)


def _find(word: str, known: Mapping[str, str], pointer: str, problem: type[Unknown], among: str = "") -> str:
    if (found := known.get(as_called(word))) is not None:
        return found
    raise problem(word, near_names(word, known.values()), pointer=pointer, among=among)
