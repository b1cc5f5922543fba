"""Workbooks with pick lists are written, and come back as they went out."""

from pathlib import Path

import openpyxl
from sqlalchemy import Engine

from graftbook.catalogue.columns import columns_of
from graftbook.catalogue.format.records import KINDS
from graftbook.catalogue.format.sheets import PICK_LISTS
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.sheets_out import WORKBOOKS, write_workbooks
from graftbook.guide.made import STARTER
from tests.catalogue.sheet import sheet


def test_every_kind_stands_in_one_workbook():
    assert sorted(word for words in WORKBOOKS.values() for word in words) == sorted(
        kind.kind_of_record for kind in KINDS
    )


NASTY = (
    "[evidence]\nname,grade,reference,on,who,note\n"
    'early,parts book,"=1+1, and quotes",1899-12-31,\'=x,"two\nlines, ümlaut _x0041_ 1,234"\n'
)


def test_what_is_written_loads_again_and_nothing_has_changed(tern: Engine, tmp_path: Path):
    assert load(tern, sheet(NASTY)).ok
    written = write_workbooks(tern, tmp_path, STARTER)
    report = load(tern, tmp_path, whole=True)
    assert [str(m) for m in report.mistakes] == []
    assert (report.changed, report.removed, report.assumed) == (0, {}, [])
    assert report.records.total() == sum(written.values()) > 60


def test_the_demo_too(sqlite_demo: Engine, tmp_path: Path):
    write_workbooks(sqlite_demo, tmp_path, STARTER)
    report = load(sqlite_demo, tmp_path, dry_run=True, whole=True)
    assert (report.mistakes, report.changed, report.removed) == ([], 0, {})


def test_every_controlled_column_has_its_pick_list_and_each_its_note(sqlite_tern: Engine, tmp_path: Path):
    write_workbooks(sqlite_tern, tmp_path, STARTER)
    picked = 0
    for name, words in WORKBOOKS.items():
        book = openpyxl.load_workbook(tmp_path / f"{name}.xlsx")
        assert book[PICK_LISTS].sheet_state == "hidden"
        for kind in (kind for kind in KINDS if kind.kind_of_record in words):
            page = book[kind.kind_of_record]
            rules = page.data_validations.dataValidation
            lists = {str(one.sqref).split(":")[0].rstrip("0123456789"): one for one in rules}
            for cell, column in zip(page[1], columns_of(kind, STARTER), strict=True):
                assert cell.value == column.name
                assert column.meaning in cell.comment.text
                assert column.example in cell.comment.text
                assert column.example, (kind, column.name)
                rule = lists.get(cell.column_letter)
                if column.words:
                    assert rule.errorStyle in (None, "stop"), "nothing else may stand there"
                    picked += 1
                elif column.names == "component":
                    first, last = rule.formula1.split("!")[1].replace("$", "").split(":")
                    values = [row[0].value for row in book[PICK_LISTS][f"{first}:{last}"]]
                    assert "TW-10" in values
                    assert len(values) == 10
                    picked += 1
    assert picked > 40


def test_empty_workbooks_hold_no_record_and_the_pick_lists(sqlite_tern: Engine, tmp_path: Path):
    assert set(write_workbooks(sqlite_tern, tmp_path, STARTER, empty=True).values()) == {0}
    report = load(sqlite_tern, tmp_path, whole=True)
    assert (report.ok, report.records.total(), report.removed) == (True, 0, {})
    book = openpyxl.load_workbook(tmp_path / "2-parts.xlsx")
    book["component"].append(["N-1", "a", "wheels", "modern", "current", 12.5])
    book.save(tmp_path / "2-parts.xlsx")
    assert load(sqlite_tern, tmp_path).records == {"component": 1}


def test_days_are_days_for_another_reader(sqlite_tern: Engine, tmp_path: Path):
    write_workbooks(sqlite_tern, tmp_path, STARTER)
    page = openpyxl.load_workbook(tmp_path / "1-vehicles.xlsx")["chassis_span"]
    first = next(page.iter_rows(min_row=2, values_only=True))
    assert first[:3] == ("T1-R", "1R-0001", "1R-1000")
    assert [day.date().isoformat() for day in first[3:]] == ["1950-01-01", "1959-12-31"]
