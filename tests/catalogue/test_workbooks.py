"""Workbooks and delimited text come in as rows of cells, each at its address, whoever wrote them."""

import io
import random
import tracemalloc
import zipfile
from datetime import date, datetime
from pathlib import Path

import openpyxl
import pytest
import xlsxwriter

from graftbook.catalogue.format import delimited, grid, workbooks
from graftbook.catalogue.format.grid import Cell, NotASheet, letters
from graftbook.catalogue.format.workbooks import sheets_in
from tests.catalogue.ods import ods
from tests.running import cases


def read(source: Path | bytes | io.BytesIO, **options: str) -> dict[str, list[tuple[str, list[str]]]]:
    """Sheet → (address of the first cell, texts) of each row."""
    return {
        sheet.name: [(row.address(0), [cell.text for cell in row.cells]) for row in sheet.rows]
        for sheet in sheets_in(source, **options)
    }


def cells(source: bytes) -> list[Cell]:
    """Every cell of the first row of the first sheet."""
    sheets = sheets_in(source)
    return list(next(next(sheets).rows).cells)


def xlsx(*rows: list[object], **formats: str) -> bytes:
    """A workbook with one sheet, written by another program's library."""
    book = openpyxl.Workbook()
    sheet = book.active
    for row in rows:
        sheet.append(row)
    for address, number_format in formats.items():
        sheet[address].number_format = number_format
    written = io.BytesIO()
    book.save(written)
    return written.getvalue()


def test_letters_of_columns():
    assert [letters(n) for n in (0, 25, 26, 51, 52, 701, 702)] == ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]


def test_what_another_library_wrote_is_read_with_its_types(tmp_path: Path):
    book = openpyxl.Workbook()
    first = book.active
    first.title = "flaw"
    first.append(["name", None, "price", "day", "open", "share"])
    first.append(["bush", None, 80.1, datetime(1964, 3, 2), True, 0.2])
    first["F2"].number_format = "0%"
    first["A5"] = "far below"
    book.create_sheet("second")["C3"] = "alone"
    book.save(tmp_path / "b.xlsx")
    assert read(tmp_path / "b.xlsx") == {
        "flaw": [
            ("A1", ["name", "", "price", "day", "open", "share"]),
            ("A2", ["bush", "", "80.1", "1964-03-02", "yes", "20%"]),
            ("A5", ["far below"]),
        ],
        "second": [("A3", ["", "", "alone"])],
    }


@pytest.mark.parametrize(
    ("value", "number_format", "text", "kind"),
    [
        (1234567890123, "0", "1234567890123", "number"),
        (0.1 + 0.2, "0.00", "0.3", "number"),
        (1e-7, "General", "0.0000001", "number"),
        (24, "[$€-407] #,##0.00", "€ 24", "money"),
        (24.5, '"£"#,##0.00', "£ 24.5", "money"),
        (24.5, "#,##0.00 [$SEK]", "SEK 24.5", "money"),
        (23438, "dd/mm/yyyy", "1964-03-02", "day"),
        (23438.5, "dd/mm/yyyy hh:mm", "1964-03-02, 23438.5", "day"),
        (23438, '[Red]0 "days"', "23438", "number"),
        (30, "dd/mm/yyyy", "30", "wrong"),
        (0.195, "0.0%", "19.5%", "per cent"),
        ("#N/A", "General", "#N/A", "wrong"),
    ],
)
def test_a_number_is_what_its_format_says(value: object, number_format: str, text: str, kind: str):
    found = cells(xlsx([value], A1=number_format))[0]
    assert (found.text, found.kind) == (text, kind)


def test_a_formula_is_told_with_what_it_last_showed():
    written = io.BytesIO()
    with xlsxwriter.Workbook(written) as book:
        sheet = book.add_worksheet()
        sheet.write_formula("A1", "=B1*1.2", None, 24)
        sheet.write_formula("B1", '="x"&"y"', None, "xy")
        sheet.write_formula("C1", "=1/0", None, "#DIV/0!")
    assert cells(written.getvalue()) == [
        Cell("24", "number", "=B1*1.2"),
        Cell("xy", "text", '="x"&"y"'),
        Cell("#DIV/0!", "wrong", "=1/0"),
    ]


def test_dates_counted_from_1904():
    book = openpyxl.Workbook()
    book.epoch = openpyxl.utils.datetime.CALENDAR_MAC_1904
    book.active.append([date(1964, 3, 2)])
    written = io.BytesIO()
    book.save(written)
    assert cells(written.getvalue())[0] == Cell("1964-03-02", "day")


def test_an_ods_workbook_is_read_alike():
    row = (
        '<t:table-cell o:value-type="string"><x:p>two<x:s x:c="2"/>words</x:p><x:p>below</x:p></t:table-cell>'
        '<t:table-cell t:number-columns-repeated="2"/>'
        '<t:table-cell o:value-type="currency" o:currency="GBP" o:value="80.1"><x:p>80</x:p></t:table-cell>'
        '<t:table-cell o:value-type="date" o:date-value="1964-03-02"><x:p>02.03.64</x:p></t:table-cell>'
        '<t:table-cell o:value-type="boolean" o:boolean-value="true"><x:p>WAHR</x:p></t:table-cell>'
        '<t:table-cell o:value-type="percentage" o:value="0.2"><x:p>20%</x:p></t:table-cell>'
        '<t:table-cell t:formula="of:=[.B1]*2" o:value-type="float" o:value="24"><x:p>24</x:p></t:table-cell>'
        '<t:table-cell o:value-type="string"><o:annotation><x:p>ask Ann</x:p></o:annotation><x:p>seen</x:p>'
        "</t:table-cell>"
        '<t:table-cell t:number-columns-repeated="16000"/>'
    )
    written = ods(
        flaw='<t:table-row t:number-rows-repeated="3"><t:table-cell/></t:table-row>'
        f'<t:table-row>{row}</t:table-row><t:table-row t:number-rows-repeated="1048572">'
        '<t:table-cell t:number-columns-repeated="16384"/></t:table-row>',
        second='<t:table-row t:number-rows-repeated="2"><t:table-cell t:number-columns-repeated="2" '
        'o:value-type="float" o:value="7"><x:p>7</x:p></t:table-cell></t:table-row>',
    )
    sheets = {sheet.name: list(sheet.rows) for sheet in sheets_in(written)}
    assert [row.number for row in sheets["flaw"]] == [4]
    assert sheets["flaw"][0].cells == [
        Cell("two  words\nbelow"),
        grid.EMPTY,
        grid.EMPTY,
        Cell("GBP 80.1", "money"),
        Cell("1964-03-02", "day"),
        Cell("yes", "yes or no"),
        Cell("20%", "per cent"),
        Cell("24", "number", "=[.B1]*2"),
        Cell("seen"),
    ]
    assert [(row.number, [c.text for c in row.cells]) for row in sheets["second"]] == [
        (1, ["7", "7"]),
        (2, ["7", "7"]),
    ]


def test_sheets_may_be_passed_over():
    many = {
        f"s{n}": f'<t:table-row><t:table-cell o:value-type="float" o:value="{n}"/></t:table-row>'
        for n in range(5)
    }
    for source, names in ((ods(**many), list(many)), (xlsx([1]), ["Sheet"])):
        assert [sheet.name for sheet in sheets_in(source)] == names


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old workbook"),
        (b"%PDF-1.7 what", "PDF"),
        (b"PK\x03\x04 and nothing", "damaged"),
        (xlsx(["a"])[:-40], "damaged"),
    ],
)
def test_what_is_no_workbook_is_told(content: bytes, told: str):
    with pytest.raises(NotASheet, match=told):
        read(content)


def archive(**parts: str | bytes) -> bytes:
    written = io.BytesIO()
    with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name.replace("__", "/").replace("_", "."), content)
    return written.getvalue()


def test_an_archive_that_is_no_workbook():
    with pytest.raises(NotASheet, match="archive, no workbook"):
        read(archive(readme_txt="hello"))


def repacked(content: bytes, name: str, made: bytes) -> bytes:
    """A workbook with one part exchanged."""
    written = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as old,
        zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for part in old.namelist():
            new.writestr(part, made if part == name else old.read(part))
    return written.getvalue()


SHEET = (
    b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    b"<sheetData>%s</sheetData></worksheet>"
)


def with_sheet(rows: bytes) -> bytes:
    return repacked(xlsx(["a"]), "xl/worksheets/sheet1.xml", SHEET % rows)


def test_a_bomb_is_refused_before_it_is_unpacked(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(workbooks, "MOST_UNPACKED", 5_000_000)
    bomb = with_sheet(b" " * 6_000_000)
    assert len(bomb) < 20_000
    tracemalloc.start()
    with pytest.raises(NotASheet, match="unpacked"):
        read(bomb)
    assert tracemalloc.get_traced_memory()[1] < 2_000_000
    tracemalloc.stop()


def test_entities_and_damage_and_giants_are_refused():
    doctype = b'<!DOCTYPE x [<!ENTITY a "aaaa">]>' + SHEET % b"<row><c><v>1</v></c></row>"
    with pytest.raises(NotASheet, match="document type"):
        read(repacked(xlsx(["a"]), "xl/worksheets/sheet1.xml", doctype))
    with pytest.raises(NotASheet, match="damaged"):
        read(with_sheet(b"<row><c>"))
    with pytest.raises(NotASheet, match="damaged"):
        read(with_sheet(b'<row r="x"><c><v>1</v></c></row>'))
    with pytest.raises(NotASheet, match="a text is missing"):
        read(with_sheet(b'<row r="1"><c t="s"><v>77</v></c></row>'))
    with pytest.raises(NotASheet, match="characters"):
        read(with_sheet(b'<row><c t="str"><v>' + b"x" * 70_000 + b"</v></c></row>"))
    with pytest.raises(NotASheet, match="columns"):
        read(with_sheet(b'<row><c r="ZZ1"><v>1</v></c></row>'))
    seven = 'o:value-type="float" o:value="7"'
    with pytest.raises(NotASheet, match="columns"):
        read(ods(s=f'<t:table-row><t:table-cell t:number-columns-repeated="16384" {seven}/></t:table-row>'))
    with pytest.raises(NotASheet, match="rows"):
        read(ods(s=f'<t:table-row t:number-rows-repeated="1048576"><t:table-cell {seven}/></t:table-row>'))


def test_a_huge_sheet_is_read_in_little_memory():
    rows = 15_000
    written = io.BytesIO()
    with xlsxwriter.Workbook(written, {"constant_memory": True}) as book:
        sheet = book.add_worksheet()
        for number in range(rows):
            sheet.write_row(number, 0, [f"number {number}", number, "x" * 50])
    tracemalloc.start()
    count = sum(1 for sheet in sheets_in(written.getvalue()) for _ in sheet.rows)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert count == rows
    assert peak < 2_000_000, peak


TEXT = "name;title\nbrücke;80,00 €\n"


@pytest.mark.parametrize(
    ("content", "assumed"),
    [
        (TEXT.encode(), ["semicolons"]),
        (TEXT.encode("utf-8-sig"), ["semicolons"]),
        (TEXT.encode("utf-16"), ["UTF-16", "semicolons"]),
        (TEXT.encode("utf-16-be"), ["UTF-16", "semicolons"]),
        (TEXT.encode("cp1252"), ["Windows-1252", "semicolons"]),
        (TEXT.replace(";", "\t").encode(), ["tabs"]),
        (TEXT.replace("80,00 €", '"80,00 €"').replace(";", ",").encode(), []),
        (TEXT.replace("\n", "\r").encode(), ["semicolons"]),
        (b"# a, b, c, d\n\n[section];;\n" + TEXT.encode(), ["semicolons"]),
    ],
)
def test_delimited_text_is_read_whatever_its_encoding(content: bytes, assumed: list[str]):
    (sheet,) = sheets_in(content)
    rows = [[cell.text for cell in row.cells] for row in sheet.rows]
    assert rows[-2:] == [["name", "title"], ["brücke", "80,00 €"]]
    assert len(sheet.assumed) == len(assumed)
    assert all(word in told for word, told in zip(assumed, sheet.assumed, strict=True))


def test_an_encoding_far_down_is_noticed_and_one_may_be_named():
    content = b"name,title\n" + b"a,b\n" * 300_000 + "ü,Łódź".encode("iso8859-2")
    (sheet,) = sheets_in(content)
    assert sheet.assumed == ("the text is Windows-1252",)
    named = [row.cells[0].text for row in next(sheets_in(content, encoding="iso8859-2")).rows]
    assert named[-1] == "ü"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16", "cp1252"])
def test_what_is_not_of_its_encoding_is_told_with_the_line(encoding: str):
    bad = {
        "utf-8": b"a,b\n\xe9,c\n",
        "utf-16": "a,b\n".encode("utf-16") + b"\x00\xd8",
        "cp1252": b"\x81,\xe9\n",
    }
    with pytest.raises(NotASheet, match="option `encoding`"):
        read(bad[encoding], encoding="utf-8" if encoding == "utf-8" else "")
    with pytest.raises(NotASheet, match="no encoding"):
        read(b"a", encoding="klingon")


def test_a_content_is_left_open_and_read_again():
    content = io.BytesIO(TEXT.encode())
    assert read(content) == read(content)
    assert not content.closed


def test_a_pipe_is_read_too(tmp_path: Path):
    class Pipe(io.BytesIO):
        def seekable(self) -> bool:
            return False

        def seek(self, *_: int) -> int:
            raise OSError("Illegal seek")

    assert read(Pipe(TEXT.encode()))[""][1][1] == ["brücke", "80,00 €"]


def test_a_long_text_is_read_in_pieces_whatever_ends_its_lines(monkeypatch: pytest.MonkeyPatch):
    for text in ('a,1\r\n"b\r\nb",2\r\nc,3', "a\rb\rc\r", "a\n\nb\n"):
        found = []
        for length in range(1, len(text) + 2):
            monkeypatch.setattr(delimited, "_LOOKED_AT", length)
            (sheet,) = sheets_in(text.encode())
            found.append([f"{row.number} {row.cells[0].text}" for row in sheet.rows])
        assert all(rows == found[-1] for rows in found), text


def hurt(content: bytes, chance: random.Random) -> bytes:
    """A workbook with something wrong somewhere: in its bytes, or in the text of one of its parts."""
    if chance.random() < 0.4:
        at = chance.randrange(len(content))
        return content[:at] + chance.randbytes(chance.randrange(4)) + content[at + chance.randrange(9) :]
    with zipfile.ZipFile(io.BytesIO(content)) as packed:
        name = chance.choice([one for one in packed.namelist() if one.endswith((".xml", ".rels"))])
        part = packed.read(name)
    at = chance.randrange(len(part))
    word = chance.choice(
        [b"", b"<", b'"', b"&", b"9999999999", b"-1", b"x", b"\x00", b"</row>", b"<c>", b"e9"]
    )
    return repacked(content, name, part[:at] + word + part[at + chance.randrange(12) :])


def test_a_hurt_workbook_is_read_or_told_and_nothing_else_happens():
    sound = ods(s='<t:table-row><t:table-cell o:value-type="date" o:date-value="1964-03-02"/></t:table-row>')
    rows = xlsx(["a", 1.5, True, date(1964, 3, 2)], ["b", "=A1", None, 0.2], D2="0%")
    chance, told = random.Random(5), 0
    for _ in range(cases(300)):
        try:
            read(hurt(chance.choice((sound, rows)), chance))
        except NotASheet:
            told += 1
    assert told > 50
