# ruff: noqa: E501  (rows of a sheet stand on one line)
"""The kinds of record about buying and about the order of the work: entry, mistakes, history, rule books."""

import io

import pytest
from sqlalchemy import Engine

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.format.exports import export, export_text
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.facts import component_facts
from graftbook.database import reading
from graftbook.editing.records import service as editing
from graftbook.editing.records.service import Author
from graftbook.rulebook.units import POUND, STANDARD_GRAVITY
from tests.catalogue.sheet import book_of, sheet, small

ANNA = Author("Anna (k1)", "")
LBF_FT = POUND * STANDARD_GRAVITY * 12 * 0.0254
"""Newton metres in a pound-force foot, by the definitions of pound and foot (yard and pound agreement, 1959)."""


def test_a_rule_book_knows_the_order_of_the_work_and_how_tight(tern: Engine) -> None:
    more = sheet("[tightening]\nname,position,fastener,torque\nlamp-nut,lamp,lamp nut,10 lbfft\n")
    assert load(tern, more).ok
    book = book_of(tern, "T2-L")
    (order,) = book.precedences
    assert (order.first, order.then, order.work) == ("wheel.left", "brake", "removing")
    assert [e.name for e in order.evidence] == ["book"]
    block, lamp, wheel = book.tightenings
    assert (block.component, block.torque.low, block.torque.high, block.angle) == ("TB-2", 8, 10, None)
    assert lamp.torque.si == pytest.approx(10 * LBF_FT, rel=1e-12)
    assert wheel.angle is not None
    assert wheel.angle.si == pytest.approx(3.141592653589793 / 3)
    assert wheel.note == "left-hand thread"
    names = [t.name for t in book_of(tern, "T1-R").tightenings]
    assert names == ["block-bolt", "wheel-nut"], "the first generation has no lamp"


def test_tools_amounts_and_what_goes_on_first_reach_the_rule_book(tern: Engine) -> None:
    more = sheet(
        "[fitment]\ncomponent,position,generations,tools\nTW-9,wheel.left,two,hub file; wheel stand\n"
        "[companion]\nname,component,reason,fit,quantity,amount,goes_on\n"
        "disc-wheel-grease,TW-9,The hub runs dry.,TG-1,2,120 g,before\ndisc-wheel-grease,,,TC-1,1,,after\n"
    )
    assert load(tern, more).ok
    book = book_of(tern, "T2-L")
    assert next(f for f in book.fitments if f.name == "TW-9@wheel.left").tools == ("hub file", "wheel stand")
    grease, clip = next(c for c in book.companions if c.name == "disc-wheel-grease").alternatives
    assert (grease.amount_of, grease.amount.written, grease.goes_on) == ("mass", "120 g", "before")
    assert grease.amount.si == pytest.approx(0.12)
    assert (clip.amount, clip.amount_of, clip.goes_on) == (None, "", "after")
    stream = io.StringIO()
    export(tern, stream)
    assert "hub file; wheel stand" in stream.getvalue()
    assert ",120 g,before," in stream.getvalue()


NOT_FITTING = {
    "supplier": "[supplier]\nname,title,carriage\nbarrow,Barrow Brothers,5.50\n",
    "offer": "[offer]\nsupplier,component,price\nbarrow,TW-10,13.00\n",
    "an offer named like a rule": "[offer]\nname,supplier,component,price\nwheels-alike,barrow,TW-9,3.00\n",
    "tax": "[tax]\nname,market,rate\nall,home,10\n",
    "exchange rate": "[exchange_rate]\ncurrency,rate,valid_from\nDEM,0.2,1975-06-01\n",
}


@pytest.mark.parametrize("edit", NOT_FITTING)
def test_an_edit_about_buying_raises_the_revision_and_touches_no_rule_book(tern: Engine, edit: str) -> None:
    books = Books(tern)
    before = books.book("T2-L")
    report = load(tern, sheet(NOT_FITTING[edit]))
    assert (report.ok, report.changed, report.revision) == (True, 1, 2), report.mistakes
    assert books.book("T2-L") is before
    assert editing.take_back(tern, 2, ANNA).revision == 3
    assert books.book("T2-L") is before


ACCESS = """[access]
name,position,component,other_position,other_component,state,opening,closing,reason
fuel-safe,brake,TB-1,dynamo,,disconnected,"earth first, then live",earth last,"One spark, and it burns."
wheel-off,brake,,wheel.left,TW-9,off,,,In the way.
[tightening]
name,position,fastener,torque,again_after
axle-nut,wheel.left,axle nut,20 Nm,50 mile
[companion]
name,component,reason,fit,goes_in
grease,TB-1,It runs dry.,TG-1,dynamo
"""


def test_access_goes_in_and_again_after_come_back_as_they_were_written(tern: Engine) -> None:
    report = load(tern, sheet(ACCESS))
    assert report.ok, report.mistakes
    book = Books(tern).book("T2-L")
    safe, off = book.accesses
    assert (safe.name, safe.component, safe.other_position) == ("fuel-safe", "TB-1", "dynamo")
    assert (safe.state, safe.opening, safe.closing) == (
        "disconnected",
        "earth first, then live",
        "earth last",
    )
    assert (off.state, off.component, off.other_component) == ("off", "", "TW-9")
    (nut,) = [t for t in book.tightenings if t.name == "axle-nut"]
    assert nut.again_after is not None
    assert round(nut.again_after.si or 0) == 80_467
    (rule,) = [r for r in book.companions if r.name == "grease"]
    assert rule.alternatives[0].goes_in == "dynamo"
    written = "".join(export_text(tern))
    assert '"earth first, then live",earth last' in written
    again = load(tern, sheet(written))
    assert (again.ok, again.changed) == (True, 0), again.mistakes


MISTAKES = {
    "[supplier]\nname,title\nx,\n": "title",
    "[offer]\nsupplier,component,price\nnobody,TW-10,1\n": "there is no supplier 'nobody'",
    "[offer]\nsupplier,component,price\nbarow,TW-10,1\n": "did you mean 'barrow'?",
    "[offer]\nsupplier,component,price\nbarrow,TW-99,1\n": "there is no component 'TW-99'",
    "[offer]\nsupplier,component,price\nbarrow,TW-9,0\n": "price",
    "[offer]\nsupplier,component,price,currency\nbarrow,TW-9,1,pounds\n": "currency",
    "[offer]\nsupplier,component,price,pack,stock\nbarrow,TW-9,1,10,4\n": "at least 10 must be taken",
    "[offer]\nsupplier,component,price,valid_from,valid_to\nbarrow,TW-9,1,1975-02-01,1975-01-01\n": "the last day is before the first",
    "[tax]\nname,market,rate\nx,home,101\n": "rate",
    "[tax]\nname,market,section,rate\nx,home,sails,10\n": "there is no section 'sails'",
    "[exchange_rate]\ncurrency,rate,valid_from\nDEM,0,1975-01-01\n": "rate",
    "[precedence]\nname,first,then,reason\nx,brake,brake,No.\n": "does not come before itself",
    "[precedence]\nname,first,then,reason\nx,brake,mast,No.\n": "there is no position 'mast'",
    "[tightening]\nname,position,fastener,torque\nx,brake,bolt,10 kg\n": "not a unit of torque",
    "[tightening]\nname,position,fastener,torque\nx,brake,bolt,0 Nm\n": "nothing is tightened",
    "[tightening]\nname,position,fastener,torque,angle\nx,brake,bolt,10 Nm,1 turn\n": "not a unit of angle",
    "[tightening]\nname,position,fastener,torque,again_after\nx,brake,bolt,10 Nm,50 Nm\n": "not a unit of length",
    "[access]\nname,position,other_position,reason\nx,brake,brake,No.\n": "nothing is off to reach itself",
    "[access]\nname,position,other_position,reason\nx,brake,mast,No.\n": "there is no position 'mast'",
    "[access]\nname,position,other_position,state,reason\nx,brake,dynamo,away,No.\n": "state",
    "[companion]\nname,component,reason,fit,goes_in\nx,TW-9,No.,TG-1,mast\n": "there is no position 'mast'",
    "[companion]\nname,component,reason,at,having,goes_in\nx,TW-9,No.,brake,finish equal plain,brake\n": "in whose step",
    "[companion]\nname,component,reason,fit,amount\nx,TW-9,No.,TG-1,2 hours\n": "no volume, mass or length",
    "[companion]\nname,component,reason,fit,amount\nx,TW-9,No.,TG-1,0 g\n": "one number above zero",
    "[companion]\nname,component,reason,at,having,amount\nx,TW-9,No.,brake,finish equal plain,1 l\n": "a loose component",
    "[companion]\nname,component,reason,at,empty,goes_on\nx,TW-9,No.,dynamo,yes,after\n": "left empty",
}


@pytest.mark.parametrize("text", MISTAKES)
def test_mistakes_are_told_and_nothing_is_kept(sqlite_tern: Engine, text: str) -> None:
    report = load(sqlite_tern, sheet(text))
    assert not report.ok
    assert any(MISTAKES[text] in str(mistake) for mistake in report.mistakes), list(map(str, report.mistakes))


@pytest.mark.parametrize(
    "record",
    [
        {"record": "fitment", "component": "TW-9", "position": "wheel.left", "tools": ["file; stand"]},
        {"record": "conflict", "name": "x", "component": "TW-9", "reason": "No.", "other_position": "brake",
         "other_having": ["finish equal plain; painted"]},
    ],
)  # fmt: skip
def test_an_item_of_a_list_holds_no_sign_that_stands_between_items(
    sqlite_engine: Engine, record: dict[str, object]
) -> None:
    """It would come back from a sheet as two."""
    assert load(sqlite_engine, small()).ok
    report = load(sqlite_engine, [record])
    assert ["an item of a list holds no `;`" in str(mistake) for mistake in report.mistakes] == [True]


def test_a_supplier_or_a_component_that_an_offer_names_cannot_be_removed(tern: Engine) -> None:
    for kind, name, by in (
        ("supplier", "barrow", "offer 'barrow:TC-1@1975-01-01' still names the supplier 'barrow'"),
        ("component", "TC-1", "offer 'barrow:TC-1@1975-01-01' still names the component 'TC-1'"),
    ):
        etag = editing.record_state(tern, kind, name).etag
        report = editing.remove_record(tern, kind, name, etag, ANNA)
        assert any(by in str(mistake) for mistake in report.mistakes), list(map(str, report.mistakes))


def test_money_and_rates_come_back_to_the_penny(tern: Engine) -> None:
    (offer,) = editing.record_state(tern, "offer", "a second lot").rows
    assert (offer["price"], offer["currency"], offer["stock"]) == ("50.00", "DEM", 2)
    (rate,) = editing.record_state(tern, "exchange_rate", "DEM@1975-01-01").rows
    assert rate["rate"] == "0.175"
    (tax,) = editing.record_state(tern, "tax", "wheels").rows
    assert (tax["rate"], tax["valid_to"]) == ("12.5", "1979-06-17")
    assert editing.record_state(tern, "tax", "all").rows[0]["rate"] == "8"


def test_a_components_page_shows_who_sells_it(tern: Engine) -> None:
    with reading(tern) as session:
        offers = component_facts(session, "tw10").offers
        assert component_facts(session, "TB-7L").offers == []
    assert [(o.supplier, str(o.price)) for o in offers] == [("overseas", "50.00"), ("barrow", "12.00")]
