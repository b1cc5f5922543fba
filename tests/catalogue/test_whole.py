"""A whole load takes away what the sheets no longer have; any other says how much of that there is."""

from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.builds.stored.tables import BuildBenchRow, BuildRow
from graftbook.catalogue.loading.imports import SMALL, load
from graftbook.database import writing
from graftbook.editing.records.service import Author, take_back
from graftbook.orders.tables import ShopStockRow
from tests.catalogue.sheet import SMALL as TERN
from tests.catalogue.sheet import exported, sheet, small


def without(*lines: str) -> Any:
    return small(*((f"{line}\n", "") for line in lines))


GREASE = "disc-wheel-grease,TW-9,,The hub runs dry.,TG-1,,2,,,tried"


def test_a_load_says_how_many_of_its_kinds_it_does_not_bring(tern: Engine):
    assert load(tern, small(), whole=False).left == {}
    some = (
        "[section]\nname,title,order\nbrakes,Brakes,2\n\n"
        "[tightening]\nname,position,fastener,torque\nx,brake,bolt,9 Nm\n"
    )
    report = load(tern, sheet(some), whole=False, dry_run=True)
    assert report.left == {"section": 1, "tightening": 2}
    assert load(tern, sheet(some), dry_run=True).left == {}, "nobody asked"


def test_what_is_gone_from_the_sheets_is_shown_then_taken_away_in_one_edit(tern: Engine):
    before = exported(tern)
    shown = load(tern, without(GREASE), whole=True, dry_run=True)
    assert (shown.removed, shown.changed, exported(tern)) == ({"companion": ["disc-wheel-grease"]}, 1, before)
    report = load(tern, without(GREASE), whole=True, who="Ann", why="tidied")
    assert (report.removed, report.changed, report.revision) == (shown.removed, 1, 2)
    assert "disc-wheel-grease" not in exported(tern)
    taken_back = take_back(tern, 2, Author("Ann"))
    assert (taken_back.revision, exported(tern)) == (3, before)


def test_kinds_that_are_not_brought_stay(tern: Engine):
    only = "[tightening]\nname,position,fastener,torque\nblock-bolt,brake,block bolt,9 Nm\n"
    report = load(tern, sheet(only), whole=True)
    assert report.removed == {"tightening": ["wheel-nut"]}
    assert report.changed == 2


def test_what_another_record_needs_is_refused_with_who_needs_it(tern: Engine):
    only = TERN[TERN.index("[component]") : TERN.index("[characteristic]\n")].replace("TC-1,", "TC-2,")
    report = load(tern, sheet(only), whole=True)
    assert (
        "removed: [component] component: flaw 'spokes-loosen' still names the component 'TC-1'; "
        "change that first"
    ) in map(str, report.mistakes)
    assert report.revision is None


def test_what_the_house_needs_is_refused_with_who_needs_it(tern: Engine):
    with writing(tern) as session:
        session.add(ShopStockRow(component="TC-1", quantity=4))
        session.add(BuildRow(name="Ann's cart", variant="T1-R"))
        session.flush()
        session.add(BuildBenchRow(build="Ann's cart", component="TC-1"))
    gone = small(
        ("TC-1,bell clip,brakes,original,current,0.50,,,10,no,,\n", ""),
        ("TW-10>TW-9,TC-1,tried", "TW-10>TW-9,,tried"),
    )
    report = load(tern, gone, whole=True)
    told = {m.message for m in report.mistakes}
    assert told >= {
        f"{who} still names the component 'TC-1'; change that first"
        for who in ("build 'Ann's cart'", "the store")
    }
    assert report.revision is None


def test_a_row_with_a_mistake_is_not_gone(tern: Engine):
    report = load(
        tern,
        small(('TB-7L,"caliper, left",brakes,modern', 'TB-7L,"caliper, left",brakes,antique')),
        whole=True,
    )
    assert report.removed == {}
    assert [m.field for m in report.mistakes] == ["origin"]


def test_chassis_spans_of_a_variant_that_is_gone_go(tern: Engine):
    only = (
        "[chassis_span]\nvariant,first,last,built_from,built_to\nT1-R,1R-0001,1R-1000,1950-01-01,1959-12-31\n"
    )
    report = load(tern, sheet(only), whole=True, dry_run=True)
    assert report.removed == {"chassis_span": ["T2-L"]}


def test_an_empty_sheet_takes_nothing_away(tern: Engine):
    before = exported(tern)
    report = load(tern, sheet("[tightening]\nname,position,fastener,torque\n"), whole=True)
    assert (report.ok, report.removed, exported(tern)) == (True, {}, before)


@pytest.mark.one_engine
def test_a_large_load_counts_too_and_takes_away_too(tern: Engine):
    many = "[section]\nname,title,order\n" + "".join(f"s{n},S,1\n" for n in range(SMALL + 1))
    assert load(tern, sheet(many), whole=False).left == {"section": 2}
    kept = "[section]\nname,title,order\nwheels,Wheels,1\nbrakes,Brakes,2\ns7,S,1\n"
    report = load(tern, sheet(kept), whole=True)
    assert (len(report.removed["section"]), report.changed) == (SMALL, SMALL)
