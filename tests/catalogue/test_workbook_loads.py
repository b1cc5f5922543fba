"""What people have is loaded as it is; mistakes are told in the sheet's own terms."""

from pathlib import Path
from typing import Any

import openpyxl
import pytest
from sqlalchemy import Engine

from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from tests.catalogue.ods import ods


@pytest.fixture
def brakes(sqlite_tern: Engine, tmp_path: Path) -> Any:
    """Loads one workbook of these sheets, each a list of rows, on trial."""

    def loaded(reading: SheetReading | None = None, **sheets: list[list[object]]) -> LoadReport:
        book = openpyxl.Workbook()
        book.remove(book.active)
        for name, rows in sheets.items():
            sheet = book.create_sheet(name.replace("__", " "))
            for row in rows:
                sheet.append(row)
        book.save(tmp_path / "brakes.xlsx")
        return load(sqlite_tern, tmp_path / "brakes.xlsx", reading=reading)

    return loaded


def told(report: LoadReport) -> list[str]:
    return [str(mistake) for mistake in report.mistakes]


SECTIONS = [["Name", "Title", "Order"], ["trim", "Trim", 7], ["glass", "Glass", "8"]]


def test_a_sheet_named_like_a_kind_needs_no_brackets(brakes: Any):
    report = brakes(section=SECTIONS, Notes=[["ask Ann"]])
    assert told(report) == []
    assert (report.records, report.changed) == ({"section": 2}, 2)
    assert report.assumed == [
        "brakes.xlsx, sheet Notes: the sheet is passed over, since its name is no kind of record"
    ]
    again = brakes(**{"Section__(2)": SECTIONS})
    assert (again.records, again.changed) == ({"section": 2}, 0)
    bracketed = brakes(
        anything=[["[section]"], *SECTIONS, [], ["[section]"], ["name", "title", "order"], ["x", "X", 9]]
    )
    assert (told(bracketed), bracketed.records["section"]) == ([], 3)


def test_mistakes_are_told_by_file_sheet_and_cell(brakes: Any):
    report = brakes(
        flaw=[
            ["name", "component", "severity", "symptom"],
            [],
            ["rattles", "TW-10", "awful", "It rattles."],
            ["squeaks", "TW-77", "minor", "It squeaks."],
        ],
        evidence=[["name", "grade", "reference", "on"], ["e1", "measured", "p. 3", "02/03/1964"]],
        component=[
            ["number", "name", "section", "origin", "price", "pack"],
            ["N-1", "a", "wheels", "modern", "€ 5", 1],
            ["N-2", "b", "wheels", "modern", "=2*5", 1],
            [23438, "c", "wheels", "modern", "1,234", "a dozen"],
        ],
    )
    assert {line.partition(": [")[0] for line in told(report)} == {
        f"brakes.xlsx, sheet {cell}"
        for cell in (
            "component, E2", "component, E3", "component, E4", "component, F4", "evidence, D2", "flaw, B4",
            "flaw, C3",
        )
    }  # fmt: skip
    by_cell = {m.place.cell: m.message for m in report.mistakes}
    assert "not in" in by_cell["E2"]
    assert "=2*5" in by_cell["E3"]
    assert "`formulas`" in by_cell["E3"]
    assert "no component 'TW-77'" in by_cell["B4"], "told when all is in, and yet with its cell"
    assert "`dates`" in by_cell["D2"]
    values = brakes(SheetReading(formulas="values"), section=[*SECTIONS, ["=A2", "T", 9], ["x", "X", "=3+4"]])
    assert [line.partition(": [")[2].partition(":")[0] for line in told(values)] == [
        "section] name",
        "section] order",
    ], "formulas that were never worked out"


def test_what_settles_it_is_an_option(brakes: Any):
    evidence = [["name", "grade", "reference", "on"], ["e1", "measured", "p. 3", "02/03/1964"]]
    report = brakes(SheetReading(dates="day-first"), evidence=evidence)
    assert report.ok
    assert report.assumed == ["brakes.xlsx, sheet evidence, D2: read as a day: '02/03/1964' is 2 March 1964"]


def test_days_and_words_that_a_spreadsheet_made_something_else_of_are_told(brakes: Any):
    import datetime

    rows = [
        ["number", "name", "section", "origin", "visible"],
        [datetime.date(2026, 2, 1), "a", "wheels", "modern", True],
    ]
    (line,) = told(brakes(component=rows))
    assert line.startswith("brakes.xlsx, sheet component, A2: [component] number: the spreadsheet made a day")
    rows = [
        ["name", "grade", "reference", "on"],
        ["e1", "measured", "p", datetime.datetime(2026, 2, 1, 9, 30)],
    ]
    (line,) = told(brakes(evidence=rows))
    assert "without a time of day" in line


def test_a_sheet_whose_name_is_nearly_a_kind_is_no_guess(brakes: Any):
    (line,) = told(brakes(flaws=[["name"], ["x"]]))
    assert line == (
        "brakes.xlsx, sheet flaws, row 1: the sheet is named like no kind of record; did you mean 'flaw'?"
    )


def test_a_workbook_without_any_record_is_a_mistake(brakes: Any):
    (line,) = told(brakes(Notes=[["ask Ann"]]))
    assert "no sheet is named like a kind of record" in line
    assert "graftbook flat" in line


def test_a_list_in_columns_of_its_own_is_shown_where_it_comes_in(sqlite_tern: Engine, tmp_path: Path):
    sheet = tmp_path / "parts.csv"
    sheet.write_text("Part No;Description;Price\nB-1;brake block;12.50\n")
    (line,) = told(load(sqlite_tern, sheet))
    assert line.startswith("parts.csv:1: a table starts with its kind in square brackets")
    assert "graftbook flat" in line


def test_a_name_twice_is_told_with_both_places(brakes: Any):
    rows = [["name", "title", "order"], ["trim", "Trim", 7], ["trim", "Trim", 8]]
    (line,) = told(brakes(section=rows))
    assert "A3" in line
    assert "stands already at brakes.xlsx, sheet section, row 2" in line


def test_an_ods_workbook_and_a_folder_of_all_sorts(sqlite_tern: Engine, tmp_path: Path):
    def row(*cells: str) -> str:
        return (
            "<t:table-row>"
            + "".join(
                f'<t:table-cell o:value-type="string"><x:p>{cell}</x:p></t:table-cell>' for cell in cells
            )
            + "</t:table-row>"
        )

    (tmp_path / "1.ods").write_bytes(ods(section=row("name", "title", "order") + row("a", "A", "1")))
    (tmp_path / "2.csv").write_bytes("[section]\nname;title;order\nb;Vordertür;2\n".encode("cp1252"))
    (tmp_path / "3.tsv").write_bytes("[section]\nname\ttitle\torder\nc\tC\t3\n".encode("utf-16"))
    book = openpyxl.Workbook()
    book.active.title = "section"
    for cells in (["name", "title", "order"], ["d", "D", 4]):
        book.active.append(cells)
    book.save(tmp_path / "4.XLSX")
    (tmp_path / "~$4.xlsx").write_bytes(b"a lock")
    (tmp_path / "notes.txt").write_text("nothing to load")
    report = load(sqlite_tern, tmp_path)
    assert (told(report), report.records) == ([], {"section": 4})
    assert report.assumed == [
        "2.csv: the text is Windows-1252",
        "2.csv: cells are separated by semicolons",
        "3.tsv: the text is UTF-16",
        "3.tsv: cells are separated by tabs",
    ]


def test_a_spreadsheet_with_decimal_commas_says_the_same_as_one_with_points(
    sqlite_tern: Engine, tmp_path: Path
):
    points = (
        "[evidence]\nname,grade,reference,on\nb1,measured,p. 3,1964-03-02\n\n"
        "[component]\nnumber,name,section,origin,price,mass\nN-1,a,wheels,modern,1234.50,1.5 kg\n\n"
        "[characteristic]\ncomponent,kind,value\n"
    )
    commas = (
        "[evidence];;;;;\r\nname;grade;reference;on;;\r\nb1;measured;p. 3;2.3.1964;;\r\n;;;;;\r\n"
        "[component];;;;;\r\nnumber;name;section;origin;price;mass\r\n"
        "N-1;a;wheels;modern;1.234,50 £;1,5 kg\r\n"
    )
    (tmp_path / "p.csv").write_text(points)
    (tmp_path / "c.csv").write_text(commas, encoding="utf-8-sig")
    assert load(sqlite_tern, tmp_path / "p.csv").changed == 2
    report = load(sqlite_tern, tmp_path / "c.csv", reading=SheetReading(currency="GBP"))
    assert (told(report), report.changed) == ([], 0)
    assert [line.partition(": ")[2].partition(":")[0] for line in report.assumed] == [
        "cells are separated by semicolons",
        "read as a day",
        "£ is GBP",
        "a comma is the decimal comma",
    ]


def test_a_title_above_the_heads_is_passed_over_and_that_is_said(brakes: Any):
    report = brakes(section=[["Our sections, as of spring"], [], *SECTIONS], Vans=[["Harnby"], ["[section]"]])
    assert (told(report), report.records["section"]) == ([], 2)
    assert report.assumed == [
        "brakes.xlsx, sheet section, row 1: passed over, since the columns are named further down: "
        "'Our sections, as of spring'",
        "brakes.xlsx, sheet Vans, row 1: passed over, since its table begins further down: 'Harnby'",
    ]


def test_a_sheet_in_which_no_row_names_the_columns_is_a_mistake(brakes: Any):
    (line,) = told(brakes(section=[["Our sections"], ["trim", "Trim", 7]]))
    assert line.startswith(
        "brakes.xlsx, sheet section, row 1: [section]: no row names the columns, which are name,"
    )


def test_a_wrong_head_hides_no_row_and_nobody_is_told_that_names_are_missing(brakes: Any):
    parts = [["number", "name", "section", "origin", "Notes"], ["N-1", "a", "wheels", "odd", "seen on 4"]]
    fitted = [["component", "position"], ["N-1", "wheel.left"]]
    report = brakes(component=parts, fitment=fitted)
    assert [(m.place.cell, m.field) for m in report.mistakes] == [("E1", "Notes"), ("D2", "origin")]
    lacking = [["name", "section", "origin"], ["a", "wheels", "modern"], ["b", "wheels", "modern"]]
    (line,) = told(brakes(component=lacking, fitment=fitted))
    assert line == (
        "brakes.xlsx, sheet component, row 1: [component] number: the column is missing: part number, as it "
        "is ordered; the rows below were not read"
    )
    for name in ("components", "anything"):
        (line,) = told(brakes(**{name: [["[components]"], *parts]}, fitment=fitted))
        assert line.endswith("did you mean 'component'?")


def test_a_word_of_a_list_is_taken_whatever_its_capitals_and_dashes(brakes: Any):
    head = ["number", "name", "section", "origin"]
    rows = [
        ["N-1", "a", "wheels", "Modern"],
        ["N-2", "b", "wheels", "Later Model"],
        ["N-3", "c", "wheels", "mod"],
    ]
    report = brakes(component=[head, *rows])
    assert [(m.place.cell, m.field) for m in report.mistakes] == [("D4", "origin")]
    assert report.assumed == [
        "brakes.xlsx, sheet component, D2 and more: capitals and dashes do not matter: "
        "'Modern' is modern, 2 times"
    ]
