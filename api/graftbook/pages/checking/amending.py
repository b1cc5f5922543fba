"""What a button changes in a typed list: entries that come in, and entries that go."""

import csv
from collections.abc import Iterable, Sequence
from io import StringIO

from graftbook.pages.checking.typed_list import MOST_OF_ONE, ListEntry, columns_of, read_list

IN, OUT = "+", "-"


def change_of(gone: Iterable[ListEntry] = (), come: Iterable[ListEntry] = ()) -> str:
    """What a button sends: a line an entry, `- LINE ENTRY` for one that goes, `+ ENTRY` for one that comes.

    Empty where an entry could not be read back from a list: then there is no such button.
    """
    lines = [f"{OUT} {entry.line} {entry.text}" for entry in gone]
    coming = [_as_typed(entry) for entry in come]
    return "\n".join([*lines, *(f"{IN} {typed}" for typed in coming)]) if all(coming) else ""


def amended(text: str, change: str) -> str:
    """The list after a button's change. What it names and is not there (any more) is left as it is."""
    lines = change.replace("\r\n", "\n").split("\n")
    gone = {line[2:] for line in lines if line.startswith(f"{OUT} ")}
    come = read_list("\n".join(line[2:] for line in lines if line.startswith(f"{IN} ")))[0]
    kept = _without(text, gone) if gone else text
    return _with(kept, come) if come else kept


def some_of(number: str, count: int) -> list[ListEntry]:
    """So many pieces of one number, as entries that a list may have."""
    whole, rest = divmod(count, MOST_OF_ONE)
    return [ListEntry(0, number, pieces) for pieces in [MOST_OF_ONE] * whole + [rest] if pieces]


def _as_typed(entry: ListEntry) -> str:
    """The entry in words that are read as it; empty where no words are."""
    for words in (entry.text, f"1 x {entry.text}"):
        (read, unread) = read_list(words)
        if [(one.number, one.count, one.position) for one in read] == [
            (entry.number, entry.count, entry.position)
        ] and not unread:
            return words
    return ""


def _without(text: str, gone: set[str]) -> str:
    entries, unread = read_list(text)
    lines: list[str | None] = list(text.split("\n"))
    for number in {entry.line for entry in entries if f"{entry.line} {entry.text}" in gone}:
        stays = [e.text for e in entries if e.line == number and f"{number} {e.text}" not in gone]
        stays += [one.text for one in unread if one.line == number]
        parts = (lines[number - 1] or "").partition("#")
        left = "  ".join(filter(None, (", ".join(stays), parts[1] + parts[2])))
        lines[number - 1] = left if stays else None
    return "\n".join(line for line in lines if line is not None)


def _with(text: str, come: Sequence[ListEntry]) -> str:
    kept = text.rstrip("\n")
    table = columns_of(text.split("\n"))
    added = _rows(come, *table) if table else "\n".join(map(_as_typed, come))
    return f"{kept}\n{added}" if kept else added


def _rows(come: Sequence[ListEntry], between: str, columns: dict[str, int]) -> str:
    """The entries as rows of the list's own table; what has no column stands beside the number, or again."""
    written = StringIO()
    writer = csv.writer(written, delimiter=between, lineterminator="\n")
    for entry in come:
        alone = ListEntry(0, entry.number, 1, "" if "position" in columns else entry.position)
        cells = {
            "number": alone.text,
            "count": str(entry.count),
            "position": entry.position,
        }
        row = [""] * (max(columns.values()) + 1)
        for name, place in columns.items():
            row[place] = cells[name]
        writer.writerows([row] * (1 if "count" in columns else entry.count))
    return written.getvalue().rstrip("\n")
