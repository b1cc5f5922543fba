"""Reading XLSX workbooks (ECMA-376) row by row: memory holds the texts that cells share, and one row."""

import re
from collections.abc import Iterator
from datetime import date, timedelta
from decimal import Decimal
from posixpath import join, normpath
from typing import IO
from zipfile import ZipFile

from graftbook.catalogue.format.grid import (
    LONGEST_CELL,
    Cell,
    CellKind,
    NotASheet,
    Sheet,
    SheetRow,
    SheetRows,
    parsed,
)

_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_STRICT = "http://purl.oclc.org/ooxml/spreadsheetml/main"
_RELATION_ID = re.compile(r"^http://\S+/relationships id$")
MOST_SHARED = 50_000_000
"""Characters of all texts that the cells of a workbook share; they are kept while it is read."""

_DAY_FORMATS = {*range(14, 18), 22, *range(27, 37), *range(50, 59)}
_PER_CENT_FORMATS = {9, 10}
_QUOTED = re.compile(r'"[^"]*"|\\.|_.|\[(?!\$)[^\]]*\]')
_SIGN = re.compile(r"\[\$([^\-\]]+)[^\]]*\]|([£€$¥])")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")
_COLUMN = re.compile(r"^([A-Z]{1,3})\d")
_FIRST_SURE = 61
"""The day numbers below it count a 29 February 1900 that never was."""


def sheets_of(archive: ZipFile) -> Iterator[Sheet]:
    """Every sheet with cells, in the workbook's order. Raises NotASheet."""
    book = _Book()
    with archive.open("xl/workbook.xml") as part:
        _parse_to_end(part, book)
    targets = _relations(archive)
    shared = _shared_texts(archive)
    formats = _Formats()
    if "xl/styles.xml" in archive.namelist():
        with archive.open("xl/styles.xml") as part:
            _parse_to_end(part, formats)
    for name, relation in book.sheets:
        target = targets.get(relation, "")
        if "worksheets/" in target:
            yield Sheet(name, _rows(archive, target, _Values(shared, formats, book.epoch)))


def _rows(archive: ZipFile, target: str, values: "_Values") -> Iterator[SheetRow]:
    rows = SheetRows()
    with archive.open(target) as part:
        for _ in parsed(part, _Cells(rows, values)):
            yield from rows.taken()


def _parse_to_end(part: IO[bytes], handler: "_Part") -> None:
    for _ in parsed(part, handler):
        pass


def _relations(archive: ZipFile) -> dict[str, str]:
    relations = _Relations()
    with archive.open("xl/_rels/workbook.xml.rels") as part:
        _parse_to_end(part, relations)
    return {
        name: target.lstrip("/") if target.startswith("/") else normpath(join("xl", target))
        for name, target in relations.targets.items()
    }


def _shared_texts(archive: ZipFile) -> list[str]:
    shared = _Shared()
    name = next((n for n in archive.namelist() if n.lower() == "xl/sharedstrings.xml"), "")
    if name:
        with archive.open(name) as part:
            _parse_to_end(part, shared)
    return shared.texts


class _Part:
    """A part of which some elements are read; their local names come to `begins` and `ends`."""

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        self.begins(name.rpartition(" ")[2], attributes)

    def end(self, name: str) -> None:
        """An element ends."""
        self.ends(name.rpartition(" ")[2])

    def text(self, text: str) -> None:
        """Text."""

    def begins(self, local: str, attributes: dict[str, str]) -> None:
        """For the parts to say."""

    def ends(self, local: str) -> None:
        """For the parts to say."""


class _Book(_Part):
    """Names of the sheets with their relations, and the day that dates count from."""

    def __init__(self) -> None:
        self.sheets: list[tuple[str, str]] = []
        self.epoch = date(1899, 12, 30)

    def begins(self, local: str, attributes: dict[str, str]) -> None:
        if local == "sheet":
            relation = next((v for k, v in attributes.items() if _RELATION_ID.match(k)), "")
            self.sheets.append((attributes.get("name", ""), relation))
        elif local == "workbookPr" and attributes.get("date1904") in ("1", "true"):
            self.epoch = date(1904, 1, 1)


class _Relations(_Part):
    def __init__(self) -> None:
        self.targets: dict[str, str] = {}

    def begins(self, local: str, attributes: dict[str, str]) -> None:
        if local == "Relationship" and attributes.get("TargetMode") != "External":
            self.targets[attributes.get("Id", "")] = attributes.get("Target", "")


class _Shared(_Part):
    """The texts that cells name by number; hints for pronunciation are left out."""

    def __init__(self) -> None:
        self.texts: list[str] = []
        self._pieces: list[str] = []
        self._taking = self._aside = False
        self._length = 0

    def begins(self, local: str, attributes: dict[str, str]) -> None:
        if local == "si":
            self._pieces = []
        elif local == "rPh":
            self._aside = True
        elif local == "t":
            self._taking = not self._aside

    def text(self, text: str) -> None:
        if self._taking:
            self._pieces.append(text)
            self._length += len(text)
            if self._length > MOST_SHARED:
                raise NotASheet(f"the texts of a workbook have at most {MOST_SHARED:,} characters; split it")

    def ends(self, local: str) -> None:
        if local == "t":
            self._taking = False
        elif local == "rPh":
            self._aside = False
        elif local == "si":
            self.texts.append(_unescaped("".join(self._pieces)))


def _unescaped(text: str) -> str:
    """A text of the file as it is meant: `_x000D_` stands for a character that XML cannot hold."""
    return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), text) if "_x" in text else text


class _Formats(_Part):
    """What the styles say that a number is: the kind and the currency's sign by number of the style."""

    def __init__(self) -> None:
        self.of_style: list[tuple[CellKind, str]] = []
        self._codes: dict[int, str] = {}
        self._inside = False

    def begins(self, local: str, attributes: dict[str, str]) -> None:
        if local == "numFmt":
            self._codes[int(attributes.get("numFmtId", 0))] = attributes.get("formatCode", "")
        elif local == "cellXfs":
            self._inside = True
        elif local == "xf" and self._inside:
            self.of_style.append(self._kind(int(attributes.get("numFmtId", 0))))

    def ends(self, local: str) -> None:
        if local == "cellXfs":
            self._inside = False

    def _kind(self, number: int) -> tuple[CellKind, str]:
        code = self._codes.get(number, "").split(";")[0]
        plain = _QUOTED.sub("", code)
        if number in _DAY_FORMATS or (re.search("[yd]", plain, re.I) and "$" not in plain):
            return "day", ""
        if number in _PER_CENT_FORMATS or "%" in plain:
            return "per cent", ""
        sign = _SIGN.search(code)
        return ("money", sign[1] or sign[2]) if sign else ("number", "")


class _Values:
    """What a cell of a type and a style says, as text."""

    def __init__(self, shared: list[str], formats: _Formats, epoch: date) -> None:
        self._shared, self._styles, self._epoch = shared, formats.of_style, epoch

    def cell(self, kind: str, style: int, value: str, formula: str) -> Cell:
        """The cell. Raises NotASheet where the workbook contradicts itself."""
        if kind == "s":
            try:
                return Cell(self._shared[int(value)], "text", formula) if value else Cell("", "text", formula)
            except (ValueError, IndexError):
                raise NotASheet("the workbook is damaged (a text is missing); open it and save it") from None
        if kind == "b":
            return Cell("yes" if value == "1" else "no" if value else "", "yes or no", formula)
        if kind == "e":
            return Cell(value, "wrong", formula)
        if kind == "d":
            return Cell(value.removesuffix("T00:00:00"), "day", formula)
        if kind in ("str", "inlineStr") or not value:
            return Cell(_unescaped(value), "text", formula)
        return self._number(style, value, formula)

    def _number(self, style: int, value: str, formula: str) -> Cell:
        kind, sign = self._styles[style] if 0 <= style < len(self._styles) else ("number", "")
        try:
            number = float(value)
            plain = plain_number(number)
        except (ValueError, OverflowError, ArithmeticError):
            return Cell(value, "wrong", formula)
        if kind == "day":
            return self._day(number, plain, formula)
        if kind == "per cent":
            return Cell(f"{plain_number(float(Decimal(plain) * 100))}%", kind, formula)
        return Cell(f"{sign} {plain}" if sign else plain, kind, formula)

    def _day(self, number: float, plain: str, formula: str) -> Cell:
        if self._epoch.year < 1900 and number < _FIRST_SURE:
            return Cell(plain, "wrong", formula)
        try:
            day = self._epoch + timedelta(days=int(number))
        except OverflowError:
            return Cell(plain, "wrong", formula)
        return Cell(day.isoformat() if number == int(number) else f"{day}, {plain}", "day", formula)


def plain_number(number: float) -> str:
    """A number of a workbook as it shows: in the 15 digits that it keeps, without an exponent."""
    return format(Decimal(int(number)) if number == int(number) else Decimal(f"{number:.15g}"), "f")


class _Cells:
    """The cells of one sheet."""

    def __init__(self, rows: SheetRows, values: _Values) -> None:
        self._rows, self._values = rows, values
        self._row = self._column = 0
        self._kind, self._style = "", 0
        self._value: list[str] = []
        self._formula: list[str] = []
        self._has_formula, self._length = False, 0
        self._into: list[str] | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins."""
        namespace, _, local = name.rpartition(" ")
        if namespace not in (_MAIN, _STRICT):
            return
        if local == "row":
            self._row = int(attributes.get("r", self._row + 1))
            self._column = -1
        elif local == "c":
            match = _COLUMN.match(attributes.get("r", ""))
            self._column = column_of(match[1]) if match else self._column + 1
            self._kind, self._style = attributes.get("t", "n"), int(attributes.get("s", 0))
            self._value, self._formula, self._has_formula, self._length = [], [], False, 0
        elif local in ("v", "t"):
            self._into = self._value
        elif local == "f":
            self._into, self._has_formula = self._formula, True
        elif local == "rPh":
            self._into = None

    def text(self, text: str) -> None:
        """Text."""
        if self._into is not None:
            self._into.append(text)
            self._length += len(text)
            if self._length > 2 * LONGEST_CELL:
                raise NotASheet(f"a cell of row {self._row} has more than {LONGEST_CELL:,} characters")

    def end(self, name: str) -> None:
        """An element ends."""
        local = name.rpartition(" ")[2]
        if local in ("v", "t", "f"):
            self._into = None
        elif local == "c":
            formula = f"={''.join(self._formula)}" if self._has_formula else ""
            value = "".join(self._value)
            self._rows.put(self._column, self._values.cell(self._kind, self._style, value, formula))
        elif local == "row":
            self._rows.end_row(self._row)


def column_of(name: str) -> int:
    """`A` is column 0."""
    column = 0
    for letter in name:
        column = column * 26 + ord(letter) - ord("A") + 1
    return column - 1
