"""A list of numbers as somebody typed, pasted or saved it: one entry a line, or several with commas."""

import csv
import re
from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO

from graftbook.catalogue.format.names import as_typed, plain_text
from graftbook.http.fields import LONGEST_WORD

MOST_ENTRIES = 200
"""As many wishes as one question takes, so that whatever can be checked can be completed."""
MOST_OF_ONE = 100

NOTHING = ("nothing", "empty", "none")
"""What stands before the `@` of a position that is left empty."""

_COUNT_FIRST = re.compile(
    r"(\d{1,3})\s*(?:[x×*]|off)\s+(?=\S)(.+)|(\d{1,3})\s*[×*](.+)|(\d{1,2})\s+([a-z].*\d.*)", re.IGNORECASE
)
_COUNT_LAST = re.compile(
    r"(.+?)\s+(?:[x×*]\s*(\d{1,3})|(\d{1,3})\s*off)|(.+?)[×*]\s*(\d{1,3})", re.IGNORECASE
)
_COUNT_ALONE = re.compile(r"\d{1,3}")
_BETWEEN = re.compile(r"[,;\t]")
_HEADS = {
    "number": ("number", "part", "partnumber", "partno", "component"),
    "count": ("quantity", "qty", "count", "pieces", "off"),
    "position": ("position", "place", "at"),
}
_UNSEEN = re.compile(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]")


@dataclass(frozen=True, slots=True)
class ListEntry:
    """One number of the list. `line` counts from 1; an empty number leaves the position empty."""

    line: int
    number: str
    count: int = 1
    position: str = ""

    @property
    def text(self) -> str:
        """The entry as it could be typed."""
        words = f"{self.count} x {self.number}" if self.count > 1 else self.number or NOTHING[0]
        return f"{words} @ {self.position}" if self.position else words


@dataclass(frozen=True, slots=True)
class Unread:
    """A line that cannot be read, and why."""

    line: int
    text: str
    why: str


def read_list(text: str) -> tuple[tuple[ListEntry, ...], tuple[Unread, ...]]:
    """The entries of a list, and what cannot be read. Blank lines, and lines after `#`, say nothing.

    `2 x QB-3310`, `2 QB-3310`, `QB-3310 x 2`, `QB-3310; 2` are two; `QB-3310 @ position` says where it goes;
    `nothing @ position` leaves one empty. A first line with heads (number, quantity, position) makes it
    a table.
    """
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    table = columns_of(lines)
    found = list(_rows(lines, table) if table else _lines(lines))
    entries = [one for one in found if isinstance(one, ListEntry)]
    unread = [one for one in found if isinstance(one, Unread)]
    for beyond in entries[MOST_ENTRIES : MOST_ENTRIES + 1]:
        unread.append(Unread(beyond.line, beyond.text, f"a list has at most {MOST_ENTRIES} numbers"))
    return tuple(entries[:MOST_ENTRIES]), tuple(unread)


def _lines(lines: list[str]) -> Iterator[ListEntry | Unread]:
    for place, line in enumerate(lines, start=1):
        plain = _UNSEEN.sub(" ", plain_text(line)).partition("#")[0]
        waiting: ListEntry | Unread | None = None
        for part in filter(None, (part.strip(" \"'") for part in _BETWEEN.split(plain))):
            if _COUNT_ALONE.fullmatch(part) and isinstance(waiting, ListEntry):
                waiting = _entry(place, waiting.number, part, waiting.position)
                continue
            if waiting:
                yield waiting
            waiting = _entry_in(place, part)
        if waiting:
            yield waiting


def _entry_in(line: int, part: str) -> ListEntry | Unread:
    if len(part) > 3 * LONGEST_WORD:
        return Unread(line, part[:LONGEST_WORD], "this is too long for a number")
    words, _, position = part.partition("@")
    words, count = words.strip(), "1"
    if first := _COUNT_FIRST.fullmatch(words):
        count, words = filter(None, first.groups())
    elif last := _COUNT_LAST.fullmatch(words):
        words, count = last[1] or last[4], last[2] or last[3] or last[5]
    return _entry(line, words, count, position)


def _entry(line: int, number: str, count: str, position: str) -> ListEntry | Unread:
    number, position = number.strip(), position.strip()
    typed = f"{number} @ {position}" if position else number
    if position and number.casefold() in NOTHING:
        return ListEntry(line, "", 1, position)
    if not as_typed(number):
        return Unread(line, typed[:LONGEST_WORD], "a number has letters or digits")
    if max(len(number), len(position)) > LONGEST_WORD:
        return Unread(line, typed[:LONGEST_WORD], f"a number has at most {LONGEST_WORD} letters and digits")
    if not (count.isdecimal() and 1 <= int(count) <= MOST_OF_ONE):
        return Unread(line, typed, f"how many is a whole number from 1 to {MOST_OF_ONE}")
    if position and int(count) > 1:
        return Unread(line, typed, "at one position sits one; give each its own line")
    return ListEntry(line, number, int(count), position)


def columns_of(lines: list[str]) -> tuple[str, dict[str, int]] | None:
    """The separator and the columns of a table, when the first line that says something has heads."""
    first = next((line for line in lines if line.strip()), "").lstrip("\ufeff")
    between = max(",;\t", key=first.count)
    heads = [as_typed(head.strip(' "')).casefold() for head in first.split(between)]
    found = {
        name: next(i for i, head in enumerate(heads) if head in words)
        for name, words in _HEADS.items()
        if any(head in words for head in heads)
    }
    return (between, found) if "number" in found else None


def _rows(lines: list[str], table: tuple[str, dict[str, int]]) -> Iterator[ListEntry | Unread]:
    between, columns = table
    reader = csv.reader(StringIO("\n".join(lines)), delimiter=between)
    headed = False
    for row in reader:
        cells = {
            name: _UNSEEN.sub(" ", plain_text(row[i])).strip() for name, i in columns.items() if i < len(row)
        }
        if not any(cells.values()):
            continue
        if headed:
            number, _, place = cells.get("number", "").partition("@")
            yield _entry(
                reader.line_num, number, cells.get("count") or "1", cells.get("position", "") or place
            )
        headed = True
