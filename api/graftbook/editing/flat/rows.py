"""A file of a flat list, text or workbook, as rows of text, bounded."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass

from graftbook.catalogue.format.cells import as_written
from graftbook.catalogue.format.grid import Cell, NotASheet
from graftbook.catalogue.format.workbooks import is_workbook, sheets_in
from graftbook.problems import InvalidRequest, TooLarge

LARGEST = 16_000_000
"""Bytes of a file."""
MOST_ROWS = 20_000
MOST_COLUMNS = 200
LONGEST_CELL = 2_000
_BETWEEN = ";\t,|"
_ENCODINGS = ("utf-8-sig", "cp1252")

Rows = list[list[str]]
"""Row by row from line 1; rows and cells behind the last filled one are left out."""


@dataclass(frozen=True, slots=True)
class IssueRows:
    """The rows of one issue of a list, and what was assumed to read them."""

    rows: Rows
    assumed: tuple[str, ...] = ()


def rows_of(name: str, content: bytes) -> IssueRows:
    """The rows of a file, whatever it is written in. Raises TooLarge, InvalidRequest."""
    if len(content) > LARGEST:
        raise TooLarge(f"A flat list has at most {LARGEST:,} bytes; this one has {len(content):,}")
    if is_workbook(io.BytesIO(content)):
        return _workbook_table(name, content)
    if b"\0" in content[:4096]:
        raise InvalidRequest("This is no text and no workbook. Save the list as CSV or XLSX, then send that.")
    return _text_table(content)


def _workbook_table(name: str, content: bytes) -> IssueRows:
    """The first sheet of a workbook that has rows, each under the number that it has there."""
    rows: Rows = []
    formulas = 0
    try:
        for sheet in sheets_in(content):
            for row in sheet.rows:
                rows += [[]] * (row.number - 1 - len(rows))
                rows += _checked_rows(iter([[_shown(cell) for cell in row.cells]]), row.number - 1)
                formulas += sum(bool(cell.formula) and _shown(cell) == cell.text for cell in row.cells)
            if rows:
                assumed = [f"Of the workbook its sheet {sheet.name} was read.", *sheet.assumed]
                if formulas:
                    assumed.append(f"Of {formulas:,} cells with a formula what they last showed was read.")
                return IssueRows(rows, tuple(assumed))
    except NotASheet as wrong:
        raise InvalidRequest(f"{name} cannot be read: {wrong}") from wrong
    raise InvalidRequest("The workbook has no rows.")


def _shown(cell: Cell) -> str:
    """What a cell shows; the formula itself where it shows nothing or an error, so that it is asked about."""
    return cell.formula if cell.formula and (cell.kind == "wrong" or not cell.text) else cell.text


def _text_table(content: bytes) -> IssueRows:
    text, encoding = _decode(content)
    between = _separator(text)
    rows = list(_checked_rows(csv.reader(io.StringIO(text, newline=""), delimiter=between)))
    while rows and not any(rows[-1]):
        rows.pop()
    if not rows:
        raise InvalidRequest("The list is empty.")
    assumed = [f"Cells are parted by {_SAID[between]}."]
    if encoding != "utf-8-sig":
        assumed.append("It is not UTF-8, so it was read as Windows-1252: look at letters with accents.")
    return IssueRows(rows, tuple(assumed))


_SAID = {";": "semicolons", "\t": "tabs", ",": "commas", "|": "upright strokes"}


def _decode(content: bytes) -> tuple[str, str]:
    for encoding in _ENCODINGS:
        try:
            return content.decode(encoding), encoding
        except UnicodeDecodeError:
            continue
    raise InvalidRequest("The file is neither UTF-8 nor Windows-1252 text. Save the list as CSV in UTF-8.")


def _separator(text: str) -> str:
    """What parts the cells of most of the first lines: the sign that stands equally often in each."""
    lines = [line for line in text[:20_000].splitlines()[:20] if line.strip()]
    even = {sign: [line.count(sign) for line in lines] for sign in _BETWEEN}
    return max(_BETWEEN, key=lambda sign: (max(map(even[sign].count, set(even[sign]) - {0}), default=0),
                                           sum(even[sign])))  # fmt: skip


def _checked_rows(reader: Iterator[list[str]], line: int = 0) -> Iterator[list[str]]:
    """The rows behind a line, each checked before the next is read. Raises InvalidRequest, TooLarge."""
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise InvalidRequest(f"Behind line {line} this is no CSV: {error}") from error
        line += 1
        if line > MOST_ROWS:
            raise TooLarge(f"A flat list has at most {MOST_ROWS:,} rows; send it in parts")
        if len(cells) > MOST_COLUMNS:
            raise TooLarge(f"Line {line} has {len(cells):,} cells; a list has at most {MOST_COLUMNS} columns")
        yield [_cell(text, line) for text in cells]


def _cell(text: str, line: int) -> str:
    if len(text) > LONGEST_CELL:
        raise TooLarge(
            f"A cell in line {line} has more than {LONGEST_CELL:,} characters: is a quotation mark left open?"
        )
    return as_written(text.strip(" \t\u00a0"))


def heads_of(rows: Rows, head_line: int) -> list[str]:
    """The heads of the columns, each its own text: a blank one is `column C`, a second one `Price (2)`."""
    width = max((len(row) for row in rows), default=0)
    written = rows[head_line - 1] if head_line <= len(rows) else []
    heads: list[str] = []
    for at in range(width):
        head = " ".join(written[at].split())[:150] if at < len(written) else ""
        head = head or f"column {_letters(at)}"
        same = sum(other == head or other.startswith(f"{head} (") for other in heads)
        heads.append(f"{head} ({same + 1})" if same else head)
    return heads


def _letters(at: int) -> str:
    """A column as a spreadsheet calls it: A, B, … Z, AA."""
    before, letter = divmod(at, 26)
    return (_letters(before - 1) if before else "") + chr(ord("A") + letter)
