"""Reading delimited text (CSV) as spreadsheets write it: its encoding, and what stands between cells."""

import codecs
import csv
import io
from collections.abc import Iterable, Iterator
from typing import IO, TextIO

from graftbook.catalogue.format.grid import EMPTY, LONGEST_CELL, LONGEST_ROW, Cell, NotASheet, Sheet, SheetRow

csv.field_size_limit(LONGEST_CELL)
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs"}
_PIECE = 1 << 20
_LOOKED_AT = 1 << 16
"""Characters in which the separator is looked for."""
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_NAMES = {"cp1252": "Windows-1252", "utf-16": "UTF-16", "utf-16-le": "UTF-16", "utf-16-be": "UTF-16"}


def sheet_of(content: IO[bytes], encoding: str) -> Sheet:
    """Delimited text as a sheet without a name; `content` can be sought in, and stays open until it is read.

    Without `encoding`: UTF-8, UTF-16 where its marks or its zeros say so, else Windows-1252. Raises
    NotASheet for an encoding that there is not, and while reading.
    """
    content.seek(0)
    known = encoding or _encoding_of(content)
    assumed = (f"the text is {_NAMES[known]}",) if not encoding and known in _NAMES else ()
    content.seek(0)
    try:
        stream = _Text(content, encoding=known, newline="")
    except LookupError:
        raise NotASheet(f"there is no encoding '{encoding[:40]}'") from None
    sheet = sheet_of_text(stream)
    return Sheet("", sheet.rows, (*assumed, *sheet.assumed))


def sheet_of_text(stream: TextIO) -> Sheet:
    """The same of text that is open already, such as pasted text. Raises NotASheet.

    Its separator is what stands most often in the first row that names columns.
    """
    beginning = _beginning(stream)
    between = separator_of(beginning)
    assumed = (f"cells are separated by {SEPARATORS[between]}",) if between != "," else ()
    return Sheet("", rows_of(stream, between, beginning), assumed)


def text_of(content: bytes) -> str:
    """The whole text of a small file, its encoding found out as `sheet_of` does. Raises NotASheet."""
    encoding = _encoding_of(io.BytesIO(content))
    try:
        return content.decode(encoding).removeprefix("\ufeff")
    except UnicodeError as error:
        raise NotASheet("this is no text that can be read; save the sheet as CSV in UTF-8") from error


class _Text(io.TextIOWrapper):
    """Text whose content is closed by whoever opened it."""

    def close(self) -> None:
        """Nothing: the content may be read again."""


def _encoding_of(content: IO[bytes]) -> str:
    first = content.read(4096)
    for mark, name in _MARKS:
        if first.startswith(mark):
            return name
    if zeros := first.count(0):
        odd = first[1::2].count(0)
        if len(first) > 3 and max(odd, zeros - odd) > len(first) // 4:
            return "utf-16-le" if odd > zeros - odd else "utf-16-be"
        return "utf-8"  # reading will tell of the zeros
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        piece = first
        while piece:
            decoder.decode(piece)
            piece = content.read(_PIECE)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _beginning(stream: TextIO) -> list[str]:
    """The first lines, to the one that says what stands between cells."""
    lines: list[str] = []
    length = 0
    try:
        while length < _LOOKED_AT and (line := stream.readline(LONGEST_ROW + 1)):
            lines.append(line)
            length += len(line)
            if _says(line):
                break
    except UnicodeError as error:
        raise _not_text(stream, error, len(lines) + 1) from error
    return lines


def _says(line: str) -> str:
    """What stands between the cells of a row; empty for a comment, a kind in brackets, a single cell."""
    bare = line.lstrip("\ufeff \"'")
    if bare.startswith(("#", "[")):
        return ""
    between = max(SEPARATORS, key=line.count)
    return between if between in line else ""


def separator_of(lines: Iterable[str]) -> str:
    """What stands between the cells of a text that begins so: the first row with any says it."""
    return next(filter(None, map(_says, lines)), ",")


class _Lines:
    """A text's lines, none longer than a row may be; `begin_row` before each row. Raises NotASheet."""

    def __init__(self, stream: TextIO, beginning: Iterable[str]) -> None:
        self._stream = stream
        self._ahead = iter(beginning)
        self._left = LONGEST_ROW

    def begin_row(self) -> None:
        self._left = LONGEST_ROW

    def __iter__(self) -> "_Lines":
        return self

    def __next__(self) -> str:
        line = next(self._ahead, "") or self._stream.readline(self._left + 1)
        self._left -= len(line)
        if not line:
            raise StopIteration
        if self._left < 0:
            raise NotASheet(f"a row has at most {LONGEST_ROW} characters; is a quote left open?")
        if "\0" in line:
            raise NotASheet("the text holds NUL characters; save the sheet as UTF-8 CSV")
        return line


def rows_of(stream: TextIO, separator: str, beginning: Iterable[str]) -> Iterator[SheetRow]:
    """The rows in which something stands, each with the number of its last line. Raises NotASheet.

    `beginning`: lines that were read from the stream already.
    """
    lines = _Lines(stream, beginning)
    rows = csv.reader(lines, delimiter=separator, strict=True)
    while True:
        lines.begin_row()
        try:
            row = next(rows)
        except StopIteration:
            return
        except csv.Error as error:
            message = f"this is no CSV: {error}; mend the row and load again"
            raise NotASheet(message, rows.line_num) from error
        except NotASheet as error:
            raise NotASheet(str(error), rows.line_num + 1) from error
        except UnicodeError as error:
            raise _not_text(stream, error, rows.line_num + 1) from error
        if "".join(row).strip():
            yield SheetRow(rows.line_num, [Cell(text) if text else EMPTY for text in row])


def _not_text(stream: TextIO, error: UnicodeError, line: int) -> NotASheet:
    encoding = getattr(error, "encoding", stream.encoding)
    name = _NAMES.get({"charmap": "cp1252"}.get(encoding, encoding), encoding.upper())
    return NotASheet(
        f"this is not {name} text; save it as UTF-8 CSV, or name its encoding with the option `encoding`",
        line,
    )
