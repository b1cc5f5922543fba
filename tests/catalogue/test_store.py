# ruff: noqa: E501  (rows of a sheet stand on one line)
"""Rule books: what is in one, that they cost a fixed number of queries, and that they are compiled once."""

import re
import threading
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import pytest
from sqlalchemy import Engine, event

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.compiling.queries import with_components
from graftbook.catalogue.loading.imports import load
from graftbook.database import reading
from graftbook.problems import UnknownVariant
from graftbook.rulebook.model import ALWAYS, Effort, Grade, RuleBook, Severity, Supply, Vehicle
from tests.catalogue.sheet import SMALL, book_of, sheet, small
from tests.catalogue.statements import counted


def test_a_book_holds_what_may_apply_to_the_variant(tern: Engine) -> None:
    book = book_of(tern, "T2-L")
    assert book.variant.name == "T2-L"
    assert book.variant.options == {"lamp", "bell"}
    assert [(s.prefix, s.first, s.last) for s in book.variant.spans] == [("2L", 1, 500), ("2L", 501, 900)]
    assert list(book.positions) == ["wheel.left", "wheel.right", "brake", "dynamo", "lamp"]
    assert {f.name for f in book.fitments} == {
        "TW-10@wheel.left",
        "TW-10@wheel.right",
        "TW-9@wheel.left",
        "TW-9@wheel.right",
        "TB-2@brake",
        "early brake",
        "TD-1@dynamo",
        "TL-1@lamp",
    }
    assert [b.name for b in book.budgets] == ["lamps"]
    assert book.revision == 1


def test_what_the_variant_alone_decides_is_settled(tern: Engine) -> None:
    book = book_of(tern, "T1-R")
    assert list(book.positions) == ["wheel.left", "wheel.right", "brake"]
    assert {f.name for f in book.fitments} == {"TW-10@wheel.left", "TW-10@wheel.right", "TB-1@brake"}
    assert book.budgets == ()
    assert book.variant.facts["wheelbase"].si == pytest.approx(1.2)
    assert next(f for f in book.fitments if f.name == "TB-1@brake").when is ALWAYS


def test_what_the_vehicle_decides_stays_to_be_asked(tern: Engine) -> None:
    fitments = {f.name: f for f in book_of(tern, "T2-L").fitments}
    early, late = fitments["early brake"], fitments["TB-2@brake"]
    for serial, first in ((500, True), (501, False)):
        vehicle = Vehicle("T2-L", "2L", serial, date(1965, 1, 1))
        assert early.when.holds(vehicle) is first
        assert late.when.holds(vehicle) is not first
    with_lamp = Vehicle("T2-L", "2L", 1, date(1960, 1, 1), frozenset({"lamp"}))
    assert fitments["TL-1@lamp"].when.holds(with_lamp)
    assert not fitments["TL-1@lamp"].when.holds(Vehicle("T2-L", "2L", 1, date(1960, 1, 1)))


def test_claims_carry_their_fields_and_their_evidence(tern: Engine) -> None:
    book = book_of(tern, "T2-L")
    wheel = next(f for f in book.fitments if f.name == "TW-9@wheel.left")
    assert (wheel.effort, wheel.minutes, wheel.note) == (Effort.machining, 30, "file the hub")
    assert [(e.name, e.grade, e.fitted) for e in wheel.evidence] == [("tried", Grade.trial_fitted, 3)]
    (flaw,) = book.flaws
    assert (flaw.severity, flaw.substitutes, flaw.add_ons) == (Severity.moderate, ("TW-10>TW-9",), ("TC-1",))
    (joint,) = book.joints
    assert joint.margin == pytest.approx(1e-4)
    (budget,) = book.budgets
    assert budget.usable == 0.9
    (conflict,) = book.conflicts
    assert conflict.one.component == "TW-9"
    assert [w.value.text for w in conflict.other.having] == ["plain"]


def test_alternatives_keep_their_order_and_their_form(tern: Engine) -> None:
    rules = {rule.name: rule for rule in book_of(tern, "T2-L").companions}
    block, having, empty = rules["disc-wheel-block"].alternatives
    assert (block.component, block.position, block.loose) == ("TB-2", "brake", False)
    assert (having.position, having.having[0].kind) == ("brake", "finish")
    assert (empty.position, empty.empty) == ("dynamo", True)
    (grease,) = rules["disc-wheel-grease"].alternatives
    assert (grease.component, grease.loose, grease.quantity) == ("TG-1", True, 2)


def test_an_empty_position_that_the_variant_lacks_asks_for_nothing(tern: Engine) -> None:
    assert {rule.name for rule in book_of(tern, "T1-R").companions} == {"disc-wheel-grease"}


def test_components_come_with_values_chains_and_whether_they_are_loose(tern: Engine) -> None:
    book = book_of(tern, "T1-R")
    components = book.components
    assert components["TB-2"].characteristics["finish"].text == "plated"
    assert components["TB-1"].supply is Supply.superseded
    assert components["TW-9"].price is None
    assert components["TW-9"].mass_kg == pytest.approx(9 * 0.45359237)
    assert components["TG-1"].loose
    assert not components["TL-1"].loose if "TL-1" in components else True
    assert [(s.old, s.new) for s in book.supersessions] == [("TB-1", "TB-2")]


def test_a_number_whose_successor_fits_somewhere_is_not_loose(engine: Engine) -> None:
    newer = "[component]\nnumber,name,section,origin\nTW-0,older wheel,wheels,original\n[supersession]\nold,new\nTW-0,TW-10\n"
    asking = "[companion]\nname,component,reason,fit\nneeds-old,TB-2,Named by its old number.,TW-0\n"
    assert load(engine, [small(), sheet(newer + asking)]).ok
    (rule,) = [r for r in book_of(engine, "T2-L").companions if r.name == "needs-old"]
    assert not rule.alternatives[0].loose
    assert not book_of(engine, "T2-L").components["TW-0"].loose


def test_a_component_that_no_record_names_can_be_added_to_a_book(tern: Engine) -> None:
    book = book_of(tern, "T1-R")
    assert "TB-7L" not in book.components
    with reading(tern) as session:
        more = with_components(session, book, ["TB-7L"])
        assert with_components(session, book, ["TW-10"]) is book
    assert {"TB-7L", "TB-7R"} <= set(more.components)
    assert more.components["TB-7L"].twin == "TB-7R"
    assert "TB-7L" not in book.components


def test_an_unknown_variant_is_told_with_names_like_it(tern: Engine) -> None:
    with pytest.raises(UnknownVariant) as problem:
        Books(tern).book("T2-R")
    assert "T2-L" in problem.value.near or "T1-R" in problem.value.near


def test_a_book_costs_the_same_number_of_queries_whatever_its_size(
    sqlite_engine: Engine, sqlite_demo: Engine
) -> None:
    load(sqlite_engine, small())
    costs = []
    for engine, variant in ((sqlite_engine, "T2-L"), (sqlite_demo, "24P-21-4R")):
        with counted(engine) as statements:
            book_of(engine, variant)
        costs.append(len(statements))
    assert costs[0] == costs[1] <= 35


def test_the_queries_of_a_book_scan_no_large_table(sqlite_demo: Engine) -> None:
    """SQLite's own plan: every table that grows with the catalogue is reached by an index."""
    large = {
        *("claim", "fitment", "component", "characteristic"),
        *("companion", "substitute", "flaw", "supersession"),
    }
    queries: list[tuple[str, tuple]] = []

    def note(_connection, _cursor, statement: str, parameters: tuple, *_rest) -> None:
        queries.append((statement, parameters))

    event.listen(sqlite_demo, "before_cursor_execute", note)
    book_of(sqlite_demo, "24P-21-4R")
    event.remove(sqlite_demo, "before_cursor_execute", note)
    reads = [query for query in queries if query[0].lstrip().upper().startswith(("SELECT", "WITH"))]
    assert len(reads) > 10
    with sqlite_demo.connect() as connection:

        def scanned(statement: str, parameters: tuple = ()) -> set[str]:
            plan = connection.exec_driver_sql(f"EXPLAIN QUERY PLAN {statement}", parameters).all()
            words = [row.detail.split() for row in plan]
            return {re.sub(r"_\d+$", "", told[1]) for told in words if told[0] == "SCAN"}

        assert scanned("SELECT name FROM component AS component_1") == {"component"}, "it sees one"
        for statement, parameters in reads:
            assert not scanned(statement, parameters) & large, statement


def test_a_book_is_compiled_once_however_many_ask(sqlite_demo: Engine) -> None:
    books = Books(sqlite_demo)
    start = threading.Barrier(12)

    def ask(_number: int) -> RuleBook:
        start.wait()
        return books.book("24P-21-4R")

    with ThreadPoolExecutor(12) as pool:
        got = list(pool.map(ask, range(12)))
    assert books.compiled == 1
    assert all(book is got[0] for book in got)


def test_an_edit_of_another_range_leaves_a_book_valid(tern: Engine) -> None:
    books = Books(tern)
    before = books.book("T2-L")
    other = SMALL[SMALL.index("[range]") : SMALL.index("[section]")].replace(
        "tern,Tern handcarts", "gull,Gull barrows"
    )
    variant = (
        "[variant]\nname,range,title,generation,body,engine,drive,steering,market\n"
        "G1,gull,Gull,one,flat,none,rear,left,home\n"
        "[component]\nnumber,name,section,origin\nTX-1,axle,wheels,original\n"
        "[position]\nrange,name,section,title\ngull,axle,wheels,axle\n"
        "[fitment]\nrange,component,position,from_new\ngull,TX-1,axle,yes\n"
    )
    assert load(tern, sheet(other + variant)).ok
    assert books.book("T2-L") is before
    assert books.book("G1").revision == 2
    changed = load(tern, sheet("[component]\nnumber,name,section,origin\nTX-1,stub axle,wheels,original\n"))
    assert changed.ok
    assert books.book("T2-L") is before
    assert books.book("G1").components["TX-1"].name == "stub axle"


EDITS = {
    "a component it names": "[component]\nnumber,name,section,origin\nTG-1,graphite,brakes,modern\n",
    "a value of a component": "[characteristic]\ncomponent,kind,value\nTD-1,supply_a,0.6 A\n",
    "a number tied by a chain": "[component]\nnumber,name,section,origin\nTB-3,new block,brakes,modern\n[supersession]\nold,new\nTB-2,TB-3\n",
    "a piece of evidence": "[evidence]\nname,grade,reference\ntried,measured,again\n",
    "a kind": "[characteristic_kind]\nname,title,quantity\nbore,hub bore,length\n",
    "a fact of the variant": "[characteristic]\nvariant,kind,value\nT2-L,wheelbase,1.3 m\n",
    "a rule": "[companion]\nname,component,reason,fit\nnew-rule,TL-1,Because.,TG-1\n",
    "a rule that no longer holds for it": "[joint]\nvariants,name,position,characteristic,comparator,other_position,reason\nT1-R,wheels-alike,wheel.left,bore,equal,wheel.right,One axle.\n",
    "a span": "[chassis_span]\nvariant,first,last,built_from,built_to\nT2-L,2L-0001,2L-0950,1960-01-01,1969-12-31\n",
    "a position": '[position]\ngenerations,name,section,title,essential,circuit\ntwo,lamp,brakes,"lamp, front",no,lamps\n',
    "the order of the work": "[precedence]\nname,first,then,reason\nwheel-last,brake,wheel.left,Then the wheel.\n",
    "how tight": "[tightening]\nname,position,fastener,torque\nwheel-nut,wheel.left,axle nut,20 Nm\n",
    "what is in the way": "[access]\nname,position,other_position,reason\nwheel-off,brake,wheel.left,In the way.\n",
    "the component of a tightening": "[component]\nnumber,name,section,origin\nTB-2,hard block,brakes,modern\n",
}


@pytest.mark.parametrize("edit", EDITS)
def test_an_edit_of_what_a_book_holds_makes_a_new_book(tern: Engine, edit: str) -> None:
    books = Books(tern)
    before = books.book("T2-L")
    report = load(tern, sheet(EDITS[edit]))
    assert report.ok, report.mistakes
    after = books.book("T2-L")
    assert after.revision == report.revision > before.revision
    assert after != before


def test_the_cache_is_bounded_and_lets_old_revisions_go(sqlite_demo: Engine, tern: Engine) -> None:
    books = Books(sqlite_demo, kept=2)
    for variant in ("24P-21-4R", "24P-21-4L", "24E-21-R", "24P-21-4R"):
        books.book(variant)
    assert books.compiled == 4
    assert len(books._books) == 2
    again = Books(tern)
    again.book("T2-L")
    load(tern, sheet(EDITS["a rule"]))
    again.book("T2-L")
    assert len(again._books) == 1


def test_a_book_is_the_same_on_both_engines(demo: Engine, sqlite_demo: Engine) -> None:
    assert book_of(demo, "24P-21-4R") == book_of(sqlite_demo, "24P-21-4R")


WORKED = """[component]
number,name,section,origin,supply,price,pack,effort,minutes
TC-1,bell clip,brakes,original,current,0.50,10,cutting,25
"""


def test_a_loose_part_brings_its_work_into_the_book(tern: Engine) -> None:
    clip = book_of(tern, "T2-L").components["TC-1"]
    assert (clip.loose, clip.effort, clip.minutes) == (True, Effort.direct, 0)
    assert load(tern, sheet(WORKED)).ok
    clip = book_of(tern, "T2-L").components["TC-1"]
    assert (clip.effort, clip.minutes) == (Effort.cutting, 25)


@pytest.mark.parametrize(("old", "new"), [("cutting,25", "hammering,25"), ("cutting,25", "cutting,-1")])
def test_work_that_is_none_is_refused(tern: Engine, old: str, new: str) -> None:
    report = load(tern, sheet(WORKED.replace(old, new)))
    assert [mistake.field for mistake in report.mistakes] == ["effort" if "hammering" in new else "minutes"]
