"""Names like one that is not known, and names that are another one with a slip in it."""

import re
from collections.abc import Iterable

from rapidfuzz import fuzz, process, utils
from rapidfuzz.distance import OSA
from sqlalchemy import Column, ColumnElement, Connection, select

from graftbook.catalogue.format.names import END, as_typed

_CANDIDATES = 2000
_ALIKE = 70.0


def names_near(connection: Connection, column: "Column[str]", word: str) -> list[str]:
    """Up to three names of a key column that look like `word`, most alike first.

    A small table is compared whole; of a large one, the names that begin alike.
    """
    found = _some(connection, column, "")
    if len(found) == _CANDIDATES:
        starts = (word[:length] for length in range(min(len(word), 8), 0, -1))
        found = next((some for start in starts if (some := _some(connection, column, start))), found)
    return likest(word, found)


def components_near(
    connection: Connection, column: "Column[str]", typed: "Column[str]", number: str
) -> list[str]:
    """Up to three component numbers like one that nobody has, found by how they begin."""
    number = _WORDS_BEHIND.sub("", number) or number
    wanted = as_typed(number)
    for length in range(min(len(wanted), 8), 1, -1):
        query = select(column).where(starting(typed, wanted[:length]))
        found = list(connection.execute(query.order_by(typed).limit(_CANDIDATES)).scalars())
        if near := likest(number, found):
            return near
    return names_near(connection, column, number)


_WORDS_BEHIND = re.compile(r"(\s+[^\s\d]+)+\s*$")
"""Words without a figure, behind a number."""


def likest(word: str, names: list[str], limit: int = 3) -> list[str]:
    """Those of some names that look like a word, most alike first."""
    matches = process.extract(
        word, names, scorer=fuzz.ratio, processor=utils.default_process, limit=limit, score_cutoff=_ALIKE
    )
    return [name for name, _score, _index in matches]


SHORTEST_WORD = 5
"""Letters of a word in which one wrong letter is a slip; of shorter ones it makes another word."""
_LONG_WORD = 8
_BETWEEN_WORDS = re.compile(r"[ ._:/>@+-]+")


def slip_of(name: str, known: Iterable[str]) -> str:
    """The known name that `name` is with a letter or two mistyped; empty when there is none.

    What differs in a number, in a code of capitals or in a word as short as `left` is another name.
    """
    return next((other for other in sorted(known) if other != name and _is_slip(name, other)), "")


def _is_slip(name: str, other: str) -> bool:
    if name.casefold() == other.casefold():
        return True
    if re.findall(r"\d+", name) != re.findall(r"\d+", other):
        return False
    words, others = _BETWEEN_WORDS.split(name), _BETWEEN_WORDS.split(other)
    if len(words) == len(others):
        unlike = [pair for pair in zip(words, others, strict=True) if pair[0] != pair[1]]
        return not unlike or (len(unlike) == 1 and _a_slip_apart(*unlike[0]))
    return _a_slip_apart("".join(words), "".join(others))


def _a_slip_apart(word: str, other: str) -> bool:
    shorter = min(len(word), len(other))
    if shorter < SHORTEST_WORD or word.isupper() or other.isupper():
        return False
    return OSA.distance(word.casefold(), other.casefold()) <= (2 if shorter >= _LONG_WORD else 1)


def hint(names: list[str]) -> str:
    """A hint "did you mean …?"; empty when nothing is near."""
    return f"; did you mean '{names[0]}'?" if names else ""


def _some(connection: Connection, column: "Column[str]", start: str) -> list[str]:
    query = select(column).order_by(column).limit(_CANDIDATES)
    if start:
        query = query.where(starting(column, start))
    return list(connection.execute(query).scalars())


def starting(column: "ColumnElement[str]", start: str) -> ColumnElement[bool]:
    """That a column begins so, as a range of its index."""
    return column.between(start, start + END)
