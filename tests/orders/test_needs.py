"""What sets need and where it is bought: no line lost, never fewer pieces than needed, sums that add up."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from graftbook.closure.answer import Because, Cause, Change, FlawNote, Loose, Solution
from graftbook.closure.criteria import Totals
from graftbook.closure.question import FitComponent
from graftbook.orders.buying.buying import InStore, Market, Order, Terms, buy
from graftbook.orders.buying.model import Offer, Supplier
from graftbook.orders.documents import order_facts
from graftbook.orders.needs import Needs, VehicleSet, needs_of
from graftbook.rulebook.model import (
    Alternative,
    Companion,
    Component,
    Effort,
    Fitment,
    Grade,
    Origin,
    Position,
    RuleBook,
    Section,
    Severity,
    Supersession,
    Variant,
)
from graftbook.rulebook.units import read_measure

TODAY = date(2026, 11, 25)
WISH = Because(Cause.wish, "wish: fit CAL-1", FitComponent("CAL-1"))
BOLTS = Companion(
    name="caliper-bolts", component="CAL-1", reason="each caliper takes two bolts", alternatives=()
)
RULE = Because(Cause.companion, "caliper-bolts", BOLTS, "brake-left", Grade.parts_book)


def part(number: str, **values: object) -> Component:
    given = {"section": "brakes", "origin": Origin.modern} | values
    return Component(number=number, name=f"part {number}", **given)


def change(position: str, component: str | None, **values: object) -> Change:
    given: dict = {
        "section": "brakes", "replaces": None, "quantity": 1, "effort": Effort.direct, "minutes": 10,
        "price": None, "visible": False, "because": WISH, "depth": 0, "grade": Grade.measured,
    }  # fmt: skip
    return Change(position=position, component=component, **(given | values))


def book(*parts: Component, **more: object) -> RuleBook:
    variant = Variant("V", "R", "Vee", "g", "b", "e", "d", "left", "home")
    return RuleBook(
        variant, 7, sections={"brakes": Section("brakes", "Brakes", 1)},
        components={p.number: p for p in parts}, **more,
    )  # fmt: skip


def solution(*changes: Change, loose: tuple[Loose, ...] = (), **more: object) -> Solution:
    return Solution(changes, loose, Totals(0, 0, len(changes), 0, 0, 0, 0), {}, {}, **more)


def needs(of: RuleBook, *sets: Solution, bench: frozenset[str] = frozenset()) -> Needs:
    return needs_of(VehicleSet(f"car {n}", of, one, bench) for n, one in enumerate(sets, 1))


def bought(found: Needs, **terms: object) -> Order:
    return buy(found, Market(TODAY), Terms(**terms))


def test_both_sides_of_a_pair_are_one_line_with_their_reason_once() -> None:
    pair = solution(change("brake-left", "CAL-1"), change("brake-right", "CAL-1"))
    found = needs(book(part("CAL-1", price=10_050)), pair)
    (line,) = bought(found).lines
    assert (line.quantity, line.pieces, line.total) == (2, 2, 20_100)
    assert line.need.section_title == "Brakes"
    assert [reason.sentence for reason in line.need.reasons] == ["You wish CAL-1 (part CAL-1)."]


def test_handed_parts_stand_apart_and_say_their_hand() -> None:
    positions = {
        f"brake.{side}": Position(f"brake.{side}", "brakes", f"brake, {side}", True, side=side, pair="brake")
        for side in ("left", "right")
    }
    parts = (part("CAL-L", twin="CAL-R"), part("CAL-R", twin="CAL-L"))
    pair = solution(change("brake.left", "CAL-L"), change("brake.right", "CAL-R"))
    found = needs(book(*parts, positions=positions), pair, pair)
    assert [(n.part.number, n.quantity, n.hand, n.pair) for n in found.lines] == [
        ("CAL-L", 2, "left", True),
        ("CAL-R", 2, "right", True),
    ]


def test_several_vehicles_share_a_line_and_keep_their_shares() -> None:
    one = solution(change("clip", "CLIP"), loose=(Loose("CLIP", 4, None, RULE),))
    (need,) = needs(book(part("CLIP")), one, one).lines
    assert need.quantity == 10
    assert [(share.vehicle, share.quantity) for share in need.shares] == [("car 1", 5), ("car 2", 5)]
    assert need.grade is Grade.parts_book, "the weakest claim counts"


def test_the_bench_of_one_vehicle_is_not_that_of_another() -> None:
    one = solution(change("a", "CAL-1"))
    found = needs_of(
        [
            VehicleSet("red", book(part("CAL-1")), one, frozenset({"CAL-1"})),
            VehicleSet("blue", book(part("CAL-1")), one),
        ]
    )
    assert [(a.vehicle, a.quantity) for a in found.at_hand] == [("red", 1)]
    assert [(n.quantity, n.shares[0].vehicle) for n in found.lines] == [(1, "blue")]


def test_fluid_is_summed_by_volume_before_it_is_rounded_up_to_bottles() -> None:
    fluid = part("FLUID", characteristics={"contents_volume": read_measure("500 ml", "volume")}, loose=True)
    rule = Companion(
        name="caliper-bolts",
        component="CAL-1",
        reason="fill it",
        alternatives=(
            Alternative(
                component="FLUID",
                loose=True,
                quantity=1,
                amount=read_measure("0.3 l", "volume"),
                amount_of="volume",
            ),
        ),
    )
    left = replace(RULE, ground=rule)
    one = solution(loose=(Loose("FLUID", 2, None, left, (replace(left, parent="brake-right"),)),))
    (need,) = needs(book(fluid, companions=(rule,)), one).lines
    assert (need.quantity, need.amount) == (2, "600 ml")
    (both,) = needs(book(fluid, companions=(rule,)), one, one).lines
    assert (both.quantity, both.amount) == (3, "1.2 l"), "four bottles rounded one by one, three together"


def test_the_chain_of_numbers_is_shown() -> None:
    chain = (
        Supersession(name="a", old="OLD", new="MID"),
        Supersession(name="b", old="MID", new="NEW"),
    )
    parts = (part("OLD"), part("MID"), part("NEW"))
    (need,) = needs(book(*parts, supersessions=chain), solution(change("a", "NEW", asked_number="OLD"))).lines
    assert need.asked_numbers == ("OLD",)
    assert need.chain == ("OLD", "MID", "NEW")


def test_the_store_comes_first_and_an_unknown_price_is_named() -> None:
    found = needs(
        book(part("A", price=100), part("B")), solution(change("a", "A", quantity=3), change("b", "B"))
    )
    order = buy(found, Market(TODAY), Terms(), [InStore("A", 2, "drawer 3")])
    assert [(f.need.part.number, f.quantity, f.place) for f in order.from_store] == [("A", 2, "drawer 3")]
    facts = order_facts(found, order, Market(TODAY), "GBP")
    assert facts["unknown_prices"] == ["B"]
    assert facts["totals"]["parts"] == "1.00"
    untouched = buy(found, Market(TODAY), Terms(use_stock=False), [InStore("A", 2)])
    assert untouched.from_store == ()


def test_a_section_without_tax_is_not_taxed_as_any_other() -> None:
    market = Market(TODAY, taxes={"": Decimal(20), "books": Decimal(0), "frames": Decimal(5)})
    assert [market.tax_on(section) for section in ("brakes", "books", "frames")] == [20, 0, 5]
    assert Market(TODAY, taxes={"books": Decimal(0)}).tax_on("brakes") is None
    found = needs(
        book(part("A", price=1000), part("M", price=1000, section="books")),
        solution(change("a", "A"), change("m", "M")),
    )
    facts = order_facts(found, buy(found, market, Terms()), market, "GBP")
    assert {line["number"]: (line["tax_rate"], line["tax"]) for line in facts["lines"]} == {
        "A": ("20.00", "2.00"),
        "M": ("0.00", "0.00"),
    }
    assert facts["totals"]["tax"] == "2.00"


def test_what_comes_off_is_kept_exchanged_or_scrapped() -> None:
    fitted = Fitment(
        name="v", component="VALVE", position="valve", effort=Effort.direct, quantity=2, from_new=True
    )
    parts = (
        part("VALVE", origin=Origin.original),
        part("DYN", origin=Origin.original),
        part("ALT", price=1_000, deposit=250),
        part("PUMP"),
        part("NEW"),
    )
    flaw = FlawNote("seizes", "PUMP", "pump", Severity.severe, "It seizes.")
    one = solution(
        change("valve", None, replaces="VALVE"),
        change("machine", "ALT", replaces="DYN"),
        change("pump", "NEW", replaces="PUMP"),
        flaws_gone=(flaw,),
    )
    found = needs(book(*parts, fitments=(fitted,)), one)
    facts = order_facts(found, bought(found), Market(TODAY), "GBP")
    told = {row["number"]: (row["what"], row["quantity"]) for row in facts["taken_off"]}
    assert told == {
        "VALVE": ("keep with the vehicle", 2),
        "DYN": ("exchange", 1),
        "PUMP": ("scrap", 1),
    }
    assert facts["totals"]["deposits"] == "2.50"


def test_what_is_cut_out_is_scrap_and_never_kept() -> None:
    """What only a welder could put back comes off in pieces, original or not; the cut of another part does
    not make scrap of what unbolts."""
    welded = Fitment(name="w", component="SILL", position="sill", effort=Effort.cutting, from_new=True)
    bolted = Fitment(name="b", component="BOX", position="box", effort=Effort.direct, from_new=True)
    cutting = Fitment(name="c", component="FIVE", position="box", effort=Effort.cutting)
    parts = [part(number, origin=Origin.original) for number in ("SILL", "BOX")]
    parts += [part("NEWSILL"), part("FIVE")]
    flaw = FlawNote("rusts", "SILL", "sill", Severity.severe, "It rusts.")
    one = solution(
        change("sill", "NEWSILL", replaces="SILL"), change("box", "FIVE", replaces="BOX"), flaws_gone=(flaw,)
    )
    found = needs(book(*parts, fitments=(welded, bolted, cutting)), one)
    taken = order_facts(found, bought(found), Market(TODAY), "GBP")["taken_off"]
    assert {row["number"]: (row["what"], row["why"]) for row in taken} == {
        "SILL": ("scrap", "It is welded in: what is cut out cannot go back."),
        "BOX": ("keep with the vehicle", "It is original and may have to go back one day."),
    }


def test_what_is_worked_on_is_neither_put_away_nor_scrapped() -> None:
    """The vehicle's own part is what becomes the new number, welded in or not; a deposit waits for it."""
    welded = Fitment(name="w", component="FRAME", position="frame", effort=Effort.cutting, from_new=True)
    parts = [part(number, origin=Origin.original) for number in ("FRAME", "DIAL", "CAM")]
    parts += [part("MENDED", reworked=True), part("DIAL2", reworked=True)]
    parts += [part("GROUND", price=16_200, deposit=7_500, reworked=True)]
    one = solution(
        change("frame", "MENDED", replaces="FRAME"),
        change("dial", "DIAL2", replaces="DIAL"),
        change("cam", "GROUND", replaces="CAM"),
    )
    found = needs(book(*parts, fitments=(welded,)), one)
    taken = order_facts(found, bought(found), Market(TODAY), "GBP")["taken_off"]
    told = {row["number"]: (row["what"], row["why"]) for row in taken}
    own = "It is the vehicle's own and is worked on: {} is what becomes of it."
    assert told == {
        "FRAME": ("rework", own.format("MENDED")),
        "DIAL": ("rework", own.format("DIAL2")),
        "CAM": ("rework", own.format("GROUND") + " Sent in late, it loses the deposit of 75.00."),
    }


SUPPLIERS = (
    Supplier("near", "Near", carriage=500, carriage_free_from=20_000),
    Supplier("far", "Far", carriage=1_200, least_order=1_000),
)
NEEDED = st.lists(
    st.tuples(
        st.integers(1, 40),
        st.lists(
            st.tuples(st.sampled_from(["near", "far"]), st.integers(1, 50_000), st.integers(1, 12)),
            max_size=3,
        ),
    ),
    min_size=1,
    max_size=7,
)


@settings(deadline=None)
@given(NEEDED, st.sampled_from([Decimal("0"), Decimal("12.5"), Decimal("20")]))
def test_no_line_is_lost_and_every_sum_is_that_of_its_lines(wanted: list, rate: Decimal) -> None:
    parts = [part(f"P{i}", price=7) for i in range(len(wanted))]
    loose = tuple(Loose(f"P{i}", quantity, None, RULE) for i, (quantity, _) in enumerate(wanted))
    offers = tuple(
        Offer(supplier, f"P{i}", price, pack=pack)
        for i, (_, some) in enumerate(wanted)
        for supplier, price, pack in {(s, k): (s, p, k) for s, p, k in some}.values()
    )
    market = Market(TODAY, offers, SUPPLIERS, {"": rate})
    found = needs(book(*parts), solution(loose=loose))
    order = buy(found, market, Terms(seconds=2))
    facts = order_facts(found, order, market, "GBP")
    told = {line["number"] for line in facts["lines"]} | {row["number"] for row in facts["not_supplied"]}
    assert told == {p.number for p in parts}
    for i, (quantity, _) in enumerate(wanted):
        lines = [line for line in facts["lines"] if line["number"] == f"P{i}"]
        if lines:
            assert sum(line["quantity"] for line in lines) == quantity
            assert sum(line["pieces"] for line in lines) >= quantity
            assert all(line["pieces"] == line["packs"] * line["pack"] for line in lines)
    sums = {key: Decimal(value) for key, value in facts["totals"].items()}
    assert sums["parts"] == sum(Decimal(line["total"]) for line in facts["lines"])
    assert sums["tax"] == sum(Decimal(line["tax"]) for line in facts["lines"])
    assert sums["total"] == sum(sums[key] for key in ("parts", "carriage", "tax", "deposits"))
    assert sums["total"] == sum(Decimal(supplier["total"]) for supplier in facts["suppliers"])
