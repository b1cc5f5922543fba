"""Lint of records side by side: each kind of mistake is seeded and found, with its records; none else is."""

import re
from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.lint.claims import claim_findings
from graftbook.catalogue.lint.finding import LintFinding, LintSeverity, Wrong
from graftbook.catalogue.loading.imports import load
from graftbook.database import reading
from graftbook.editing.linting.service import findings
from graftbook.process.service import make_service
from graftbook.settings import Settings
from tests.catalogue.sheet import sheet
from tests.catalogue.statements import counted
from tests.soundness.databases import opened

FIT = "[fitment]\nname,component,position,effort,quantity,from_new,generations,chassis_from,evidence\n"
REPORT = "[report]\noutcome,workshop,on,chassis,component,position\n"

SEEDED: dict[str, tuple[str, Wrong, tuple[str, ...], LintSeverity]] = {
    "a span that no vehicle of the variant is in": (
        f"{FIT}late,TW-9,brake,direct,1,no,two,2L-0950,book\n",
        Wrong.never_holds,
        ("late",),
        LintSeverity.serious,
    ),
    "days before any was built": (
        "[fitment]\nname,component,position,effort,built_to,evidence\nearly,TW-9,brake,direct,1949-01-01,book\n",
        Wrong.never_holds,
        ("early",),
        LintSeverity.serious,
    ),
    "numbers between two spans": (
        "[chassis_span]\nvariant,first,last,built_from,built_to\nT1-R,1R-0001,1R-1000,1950-01-01,1959-12-31\n"
        "T2-L,2L-0001,2L-0500,1960-01-01,1964-12-31\nT2-L,2L-0511,2L-0900,1965-01-01,1969-12-31\n",
        Wrong.gap,
        ("T2-L", "2L-0501"),
        LintSeverity.doubtful,
    ),
    "work that two records differ on": (
        f"{FIT}other view,TW-9,wheel.left,direct,1,no,two,,tried\n",
        Wrong.says_otherwise,
        ("TW-9@wheel.left", "other view"),
        LintSeverity.serious,
    ),
    "two substitutes that go different ways": (
        "[substitute]\nname,original,component,both_ways,evidence\nback too,TW-10,TW-9,yes,tried\n",
        Wrong.says_otherwise,
        ("TW-10>TW-9", "back too"),
        LintSeverity.serious,
    ),
    "the same said twice": (
        f"{FIT}again,TW-9,wheel.left,machining,1,no,two,,tried\n",
        Wrong.said_twice,
        ("TW-9@wheel.left", "again"),
        LintSeverity.untidy,
    ),
    "numbers that differ in a dash": (
        "[component]\nnumber,name,section,origin\nTW9,disc wheel,wheels,modern\n",
        Wrong.alike_numbers,
        ("TW-9", "TW9"),
        LintSeverity.doubtful,
    ),
    "one hand without the other": (
        "[component]\nnumber,name,section,origin\nTW-11,left wheel,wheels,modern\n"
        f"{FIT},TW-11,wheel.left,direct,1,no,two,,tried\n",
        Wrong.no_twin,
        ("TW-11",),
        LintSeverity.doubtful,
    ),
    "a claim that a workshop found otherwise": (
        f"{REPORT}did not fit,North,2026-01-01,2L-0100,TW-9,wheel.left\n",
        Wrong.in_doubt,
        ("TW-9@wheel.left",),
        LintSeverity.doubtful,
    ),
    "failures on one side of a number": (
        REPORT
        + "".join(f"did not fit,early {n},2026-01-01,2L-00{n}0,TW-9,wheel.left\n" for n in range(10, 15))
        + "".join(f"fitted,late {n},2026-01-01,2L-08{n}0,TW-9,wheel.left\n" for n in range(1, 7)),
        Wrong.likely_break,
        ("TW-9@wheel.left",),
        LintSeverity.doubtful,
    ),
    "a claim without a source": (
        f"{FIT}unsaid,TL-1,brake,direct,1,no,two,,\n",
        Wrong.no_evidence,
        ("fitment", "unsaid"),
        LintSeverity.untidy,
    ),
}


def found_in(engine: Engine) -> list[LintFinding]:
    with engine.connect() as connection:
        return list(claim_findings(connection))


def test_the_small_catalogue_has_rules_without_a_source_and_nothing_else(sqlite_tern: Engine) -> None:
    assert {one.wrong for one in found_in(sqlite_tern)} == {Wrong.no_evidence}


@pytest.mark.parametrize("case", SEEDED)
def test_a_seeded_mistake_is_found_and_nothing_else(tern: Engine, case: str) -> None:
    more, wrong, records, severity = SEEDED[case]
    before = {(one.wrong, one.records) for one in found_in(tern)}
    report = load(tern, sheet(more))
    assert report.ok, [str(mistake) for mistake in report.mistakes]
    new = [one for one in found_in(tern) if (one.wrong, one.records) not in before]
    assert {one.wrong for one in new} == {wrong}
    assert all(one.severity is severity for one in new)
    assert records in [one.records for one in new]
    assert all(one.sentence and one.fix for one in new)


def test_records_of_other_vehicles_or_options_say_nothing_otherwise(sqlite_tern: Engine) -> None:
    lamp = "[fitment]\nname,component,position,effort,variants,options,evidence\n"
    others = f"{lamp}with bell,TW-9,wheel.left,direct,T2-L,bell,tried\n"
    others += "for one,TW-9,wheel.left,direct,T1-R,,tried\n"
    assert load(sqlite_tern, sheet(others)).ok
    assert {one.wrong for one in found_in(sqlite_tern)} == {Wrong.no_evidence}


def test_on_the_demo_range_only_what_rests_on_nothing_is_found(sqlite_demo: Engine) -> None:
    assert {one.wrong for one in found_in(sqlite_demo)} == {Wrong.no_evidence}


def test_what_only_shows_on_vehicles_is_found_when_it_is_asked_for(sqlite_tern: Engine) -> None:
    early = "early brake,TB-1,brake,direct,2,10,yes,two,2L-0499,book"
    head = "[fitment]\nname,component,position,effort,quantity,minutes,from_new,generations,"
    report = load(sqlite_tern, sheet(f"{head}chassis_to,evidence\n{early}\n"))
    assert report.ok, report.mistakes
    service = make_service(Settings(database_url=str(sqlite_tern.url)))
    quick, whole = findings(service), findings(service, vehicles=True)
    service.close()
    (bare,) = [one for one in whole if one["kind"] == "nothing from new"]
    assert bare["mend"] == [{"kind": "position", "name": "brake"}]
    assert bare not in quick
    assert all(one in whole for one in quick)


@pytest.mark.postgres
def test_records_are_compared_by_what_can_be_looked_up(postgres_databases: Any) -> None:
    """By `=`, where a column is never empty: by the other comparison PostgreSQL tries each with each."""
    tried: list[tuple[str, str]] = []
    with (
        opened(postgres_databases.new()) as engine,
        counted(engine) as statements,
        reading(engine) as session,
    ):
        list(claim_findings(session.connection()))
    for statement in statements:
        (kind,) = re.findall(r"FROM (\w+) AS one ", statement) or [""]
        tried.extend((kind, column) for column in re.findall(r"IS NOT DISTINCT FROM other\.(\w+)", statement))
    assert tried == [("substitute", "position")]
