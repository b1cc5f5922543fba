"""Names as people type them, found in a rule book."""

from collections.abc import Iterable, Mapping
from typing import Self

from rapidfuzz import fuzz, process, utils

from graftbook.catalogue.compiling.outline import Outline
from graftbook.catalogue.format.names import as_typed, plain_text
from graftbook.problems import (
    Unknown,
    UnknownFlaw,
    UnknownOption,
    UnknownPosition,
    UnknownSection,
    UnknownUpgrade,
)
from graftbook.rulebook.model import RuleBook, Upgrade

_ALIKE = 60.0


def near_names(word: str, known: Iterable[str], limit: int = 3) -> list[str]:
    """Up to `limit` known names that look like a word, most alike first."""
    found = process.extract(
        word,
        list(known),
        scorer=fuzz.WRatio,
        processor=utils.default_process,
        limit=limit,
        score_cutoff=_ALIKE,
    )
    return [name for name, _score, _index in found]


class BookNames:
    """One rule book's names, indexed by how people may type them."""

    def __init__(self, book: RuleBook) -> None:
        flaws = (flaw.name for flaw in book.flaws)
        self._index(book.components, book.positions, book.sections, flaws, book.variant.options)
        self._upgrades = {_plain(upgrade.name): upgrade for upgrade in book.upgrades}

    @classmethod
    def of_outline(cls, outline: Outline) -> Self:
        """Those of a variant without the numbers that its records name."""
        made = cls.__new__(cls)
        made._index((), outline.positions, outline.sections, outline.flaws, outline.options)
        made._upgrades = {}
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
        self._positions = {_plain(name): name for name in positions}
        self._sections = {_plain(name): name for name in sections}
        self._flaws = {_plain(name): name for name in flaws}
        self._options = {_plain(name): name for name in options}

    def component(self, word: str) -> str | None:
        """The number as the catalogue writes it; None if no record of the book names it."""
        return word if word in self._numbers else self._components.get(as_typed(word))

    def position(self, word: str, pointer: str) -> str:
        """The position's name. Raises UnknownPosition."""
        return _find(word, self._positions, pointer, UnknownPosition)

    def section(self, word: str, pointer: str) -> str:
        """The section's name. Raises UnknownSection."""
        return _find(word, self._sections, pointer, UnknownSection)

    def flaw(self, word: str, pointer: str) -> str:
        """The known flaw's name. Raises UnknownFlaw."""
        return _find(word, self._flaws, pointer, UnknownFlaw)

    def upgrade(self, word: str, pointer: str) -> Upgrade:
        """The named upgrade. Raises UnknownUpgrade."""
        names = {plain: upgrade.name for plain, upgrade in self._upgrades.items()}
        return self._upgrades[_plain(_find(word, names, pointer, UnknownUpgrade))]

    def option(self, word: str, pointer: str) -> str:
        """The option's name. Raises UnknownOption."""
        return _find(word, self._options, pointer, UnknownOption)


def _plain(name: str) -> str:
    return " ".join(plain_text(name).replace("_", " ").replace("-", " ").lower().split())


def _find(word: str, known: Mapping[str, str], pointer: str, problem: type[Unknown]) -> str:
    if (found := known.get(_plain(word))) is not None:
        return found
    raise problem(word, near_names(word, known.values()), pointer=pointer)
