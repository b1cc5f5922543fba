"""CSV that no spreadsheet runs: cells that would start a formula are made plain text."""

import csv
import io
import re
from collections.abc import Iterable, Sequence
from typing import Any

_NUMBER = re.compile(r"^-?\d+(\.\d+)?$")
_STARTS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")


def plain_cell(value: Any) -> str:
    """A cell's text; anything but a number that could start a formula gets an apostrophe in front, and so
    does what begins with such an apostrophe already, so that one can always be taken off again."""
    if value is None:
        return ""
    text = str(value).replace("\r\n", " ").replace("\n", " ").replace("\r", " ")
    if _NUMBER.match(text):
        return text
    bare = text.lstrip("'")
    starts = bare.startswith(_STARTS_A_FORMULA) or bare.lstrip().startswith(_STARTS_A_FORMULA)
    return f"'{text}" if starts else text


def as_written(cell: str) -> str:
    """A cell without the apostrophe that `plain_cell` put in front of it."""
    return cell[1:] if cell.startswith("'") and plain_cell(cell[1:]) == cell else cell


def write_rows(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    """A table as CSV (RFC 4180) with every cell plain."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    writer.writerow(header)
    writer.writerows([plain_cell(value) for value in row] for row in rows)
    return stream.getvalue()
