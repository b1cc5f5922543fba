"""What people have, as sheets of rows: XLSX and ODS workbooks, and delimited text of any common kind.

    for sheet in sheets_in(Path("brakes.xlsx")):
        for row in sheet.rows:
            print(sheet.name, row.address(0), [cell.text for cell in row.cells])

`grid` has the classes: a `Sheet` has a name and rows, a `SheetRow` has a number, cells and `address(column)`,
a `Cell` has a text, a kind (text, number, money, per cent, day, yes or no, wrong) and, where it is worked
out, its formula. What a file is, its content says, whatever it is called.
"""

import io
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO
from zipfile import BadZipFile, ZipFile
from zlib import error as ZlibError

from graftbook.catalogue.format import delimited, ods, xlsx
from graftbook.catalogue.format.grid import NotASheet, Sheet, SheetRow

LARGEST_WORKBOOK = 50_000_000
"""Bytes of a workbook as it lies on disk."""
MOST_UNPACKED = 300_000_000
"""Bytes of all its parts unpacked, as the archive declares them; no part is read beyond what it declares."""
WORKBOOK_ENDINGS = (".xlsx", ".xlsm", ".ods")
_OLD_WORKBOOK = b"\xd0\xcf\x11\xe0"
_PDF = b"%PDF"
_ZIP = b"PK\x03\x04"
_IN_MEMORY = 1_000_000


def sheets_in(source: Path | bytes | IO[bytes], *, encoding: str = "") -> Iterator[Sheet]:
    """Every sheet of a file, of bytes, or of a file that is open and can be sought in.

    `encoding` is that of delimited text (one sheet without a name), which else is found out. Rows stream:
    memory holds the texts that the cells of a workbook share, and a few rows; so a sheet's rows are read
    before the next sheet is asked for. Raises NotASheet, here and while rows are read: a damaged file, one
    with a password, more unpacked than `MOST_UNPACKED`, too many rows or columns.
    Raises OSError where the file cannot be read.
    """
    if isinstance(source, Path):
        with source.open("rb") as content:
            yield from _sheets_in(content, encoding)
    elif isinstance(source, bytes):
        yield from _sheets_in(io.BytesIO(source), encoding)
    else:
        yield from _sheets_in(source, encoding)


def is_workbook(content: IO[bytes]) -> bool:
    """Whether the content is a workbook rather than text; leaves it at its beginning."""
    content.seek(0)
    first = content.read(4)
    content.seek(0)
    return first in (_ZIP, _OLD_WORKBOOK)


def _sheets_in(content: IO[bytes], encoding: str) -> Iterator[Sheet]:
    if not content.seekable():
        with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as copy:
            shutil.copyfileobj(content, copy)
            yield from _sheets_in(copy, encoding)
        return
    content.seek(0)
    first = content.read(4)
    if first == _OLD_WORKBOOK:
        raise NotASheet("this is an old workbook (.xls) or one with a password; save it as .xlsx without one")
    if first == _PDF:
        raise NotASheet("this is a PDF; save the table that it was made from as .xlsx or CSV")
    if first == _ZIP:
        yield from _of_workbook(content)
    else:
        yield delimited.sheet_of(content, encoding)


def _of_workbook(content: IO[bytes]) -> Iterator[Sheet]:
    size = content.seek(0, io.SEEK_END)
    if size > LARGEST_WORKBOOK:
        raise NotASheet(f"a workbook has at most {LARGEST_WORKBOOK:,} bytes; save its sheets as CSV")
    content.seek(0)
    with _readable(), ZipFile(content) as archive:
        for sheet in _reader(archive)(archive):
            yield Sheet(sheet.name, _rows(sheet), sheet.assumed)


def _rows(sheet: Sheet) -> Iterator[SheetRow]:
    with _readable():
        yield from sheet.rows


def _reader(archive: ZipFile) -> Callable[[ZipFile], Iterator[Sheet]]:
    """What reads an archive that is a workbook and not too large. Raises NotASheet."""
    names = set(archive.namelist())
    if sum(part.file_size for part in archive.infolist()) > MOST_UNPACKED:
        raise NotASheet(f"unpacked, a workbook has at most {MOST_UNPACKED:,} bytes; save its sheets as CSV")
    if "xl/workbook.xml" in names:
        return xlsx.sheets_of
    if "content.xml" in names and "spreadsheet" in archive.read("mimetype")[:100].decode("ascii", "replace"):
        return ods.sheets_of
    kind = "a workbook in binary form (.xlsb)" if "xl/workbook.bin" in names else "an archive, no workbook"
    raise NotASheet(f"this is {kind}; save it as .xlsx or .ods, or unpack it")


@contextmanager
def _readable() -> Iterator[None]:
    """What a damaged or protected archive raises, as NotASheet."""
    try:
        yield
    except (BadZipFile, ZlibError, EOFError, KeyError, NotImplementedError, ValueError) as error:
        raise NotASheet(
            f"the workbook is damaged ({_first_line(error)}); open it and save it again"
        ) from error
    except RuntimeError as error:  # zipfile's way to tell of a password
        raise NotASheet("the workbook has a password; save it without one") from error


def _first_line(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:100]
