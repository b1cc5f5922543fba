"""How sheets are read: what settles that which can be read in two ways, and what was taken for granted."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, TypedDict, cast, get_args

from graftbook.catalogue.format.grid import Place, letters

DateOrder = Literal["", "day-first", "month-first"]
DecimalMark = Literal["", "point", "comma"]
Formulas = Literal["", "values"]
WORDS: Mapping[str, tuple[str, ...]] = {
    name: tuple(word for word in get_args(words) if word)
    for name, words in (("dates", DateOrder), ("decimals", DecimalMark), ("formulas", Formulas))
}
"""The options of a reading that have words of their own."""


class ReadingWords(TypedDict, total=False):
    """Those of these options that are given."""

    dates: DateOrder
    decimals: DecimalMark
    formulas: Formulas


MOST_TOLD = 100
"""So many assumptions are told; a sheet makes a handful."""


def words_known(given: Mapping[str, str]) -> ReadingWords:
    """Of what is given for these options what is one of their words."""
    return cast(ReadingWords, {name: word for name, word in given.items() if word in WORDS[name]})


@dataclass(slots=True)
class _Assumed:
    times: int
    example: str
    place: Place


@dataclass(slots=True)
class SheetReading:
    """One reading of sheets. Empty options: whatever can be read in two ways is a mistake.

    `dates`: whether 02/03/1964 begins with the day. `decimals`: whether `1,234` has a decimal comma or
    thousands. `formulas`: `values` takes what a formula last showed. `encoding`: of delimited text that is
    not UTF-8. `currency`: the catalogue's, which a sign such as £ must mean.
    """

    dates: DateOrder = ""
    decimals: DecimalMark = ""
    formulas: Formulas = ""
    encoding: str = ""
    currency: str = ""
    _assumed: dict[tuple[str, str], _Assumed] = field(default_factory=dict)
    _heads: dict[tuple[str, str], list[tuple[int, dict[str, int]]]] = field(
        default_factory=lambda: defaultdict(list)
    )

    def assume(self, what: str, place: Place, example: str = "") -> None:
        """Note what was taken for granted; of what was taken more than once, the first place is told."""
        known = self._assumed.get((place.file, what))
        if known:
            known.times += 1
        elif len(self._assumed) < MOST_TOLD:
            self._assumed[place.file, what] = _Assumed(1, example, place)

    def assumptions(self) -> list[str]:
        """Every assumption in a sentence, with its first place and how often it was made."""
        return [_assumption_sentence(what, assumed) for (_, what), assumed in self._assumed.items()]

    def note_head(self, file: str, sheet: str, row: int, columns: dict[str, int]) -> None:
        """From this row of a sheet on, its columns stand so, each counted from 0."""
        self._heads[file, sheet].append((row, columns))

    def in_cell(self, place: Place, column: str) -> Place:
        """The place in a workbook with the cell of a column, where the column is known there."""
        if not place.sheet or place.cell:
            return place
        columns: dict[str, int] = {}
        for row, head in self._heads.get((place.file, place.sheet), ()):
            if row <= place.line:
                columns = head
        at = columns.get(column.partition(".")[0])
        return (
            place if at is None else Place(place.file, place.line, place.sheet, f"{letters(at)}{place.line}")
        )


def _assumption_sentence(what: str, assumed: _Assumed) -> str:
    times = f", {assumed.times} times" if assumed.times > 1 else ""
    if not assumed.example:
        return f"{assumed.place}: {what}{times}"
    return f"{assumed.place}{' and more' if times else ''}: {what}: {assumed.example}{times}"


def long_day(day: date) -> str:
    """`2 March 1964`."""
    return f"{day.day} {day:%B %Y}"
