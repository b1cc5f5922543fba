"""An order list buys what a set needs: no line lost, never fewer pieces than needed, sums that add up."""

import csv
import io
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from api.closure.answer import Because, Cause, Change, Loose, Solution, Totals
from api.orders.documents import COLUMNS, order_csv, order_document
from api.orders.lists import order_list
from api.rulebook.model import Component, Effort, Fitment, Grade, Origin, RuleBook, Section, Variant

WISH = Because(Cause.wish, "wish: fit CAL-1", "you wished it")
RULE = Because(
    Cause.companion, "caliper-bolts", "each caliper takes two bolts", "brake-left", Grade.parts_book
)


def part(number: str, **values: object) -> Component:
    return Component(number=number, name=f"part {number}", section="brakes", origin=Origin.modern, **values)


def change(position: str, component: str | None, **values: object) -> Change:
    given: dict = {
        "section": "brakes", "replaces": None, "quantity": 1, "effort": Effort.direct, "minutes": 10,
        "price": None, "visible": False, "because": WISH, "depth": 0, "grade": Grade.measured,
    }  # fmt: skip
    return Change(position=position, component=component, **(given | values))


def book(*parts: Component, fitments: tuple[Fitment, ...] = ()) -> RuleBook:
    variant = Variant("V", "R", "Vee", "g", "b", "e", "d", "left", "home")
    return RuleBook(
        variant, 7, sections={"brakes": Section("brakes", "Brakes", 1)},
        components={p.number: p for p in parts}, fitments=fitments,
    )  # fmt: skip


def solution(*changes: Change, loose: tuple[Loose, ...] = ()) -> Solution:
    return Solution(changes, loose, Totals(0, 0, len(changes), 0, 0, 0, 0), {}, {})


def test_both_sides_of_a_pair_are_one_line_with_their_reason_once():
    pair = solution(change("brake-left", "CAL-1"), change("brake-right", "CAL-1"))
    (line,) = order_list(book(part("CAL-1", price=10_050)), pair).lines
    assert (line.quantity, line.pieces, line.total) == (2, 2, 20_100)
    assert line.positions == ("brake-left", "brake-right")
    assert line.reasons == (WISH,)


def test_packs_are_rounded_up_and_the_surplus_is_shown():
    needs = solution(loose=(Loose("BOLT", 13, None, RULE),))
    (line,) = order_list(book(part("BOLT", price=20, pack=5)), needs).lines
    assert (line.packs, line.pieces, line.surplus, line.total) == (3, 15, 2, 300)


def test_a_number_used_at_a_position_and_loose_is_summed():
    needs = solution(change("clip", "CLIP"), loose=(Loose("CLIP", 4, None, RULE),))
    (line,) = order_list(book(part("CLIP", price=5)), needs).lines
    assert line.quantity == 5
    assert line.reasons == (WISH, RULE)
    assert line.grade is Grade.parts_book, "the weakest claim counts"


def test_what_is_on_the_bench_is_not_bought_but_not_forgotten():
    order = order_list(book(part("CAL-1", price=1)), solution(change("brake-left", "CAL-1")), ["CAL-1"])
    assert order.lines == ()
    assert [(a.number, a.quantity) for a in order.at_hand] == [("CAL-1", 1)]


def test_an_unknown_price_is_named_and_never_counted_as_nothing():
    order = order_list(book(part("A", price=100), part("B")), solution(change("a", "A"), change("b", "B")))
    assert order.parts == 100
    assert order.unknown_prices == ("B",)
    assert order_document(order)["totals"]["unknown_prices"] == ["B"]
    assert "price unknown, not in the total: B" in order_csv(order)


def test_what_comes_off_is_kept_with_its_quantity_also_where_nothing_goes_on():
    fitted = Fitment(
        name="VALVE@valve",
        component="VALVE",
        position="valve",
        effort=Effort.direct,
        quantity=2,
        from_new=True,
    )
    order = order_list(
        book(part("VALVE"), fitments=(fitted,)), solution(change("valve", None, replaces="VALVE"))
    )
    assert [(t.number, t.quantity, t.replaced_by) for t in order.taken_off] == [("VALVE", 2, None)]
    assert order_document(order)["taken_off"][0]["what_to_do"] == "keep with the vehicle"


def test_deposits_are_totalled_over_all_pieces_and_kept_apart_from_the_parts():
    order = order_list(
        book(part("DYN", price=1_000, deposit=250)), solution(change("a", "DYN"), change("b", "DYN"))
    )
    assert (order.parts, order.deposits, order.total) == (2_000, 500, 2_500)


def test_the_old_number_that_was_asked_for_stays_on_the_line():
    (line,) = order_list(book(part("NEW")), solution(change("a", "NEW", asked_number="OLD"))).lines
    assert line.asked_numbers == ("OLD",)


def test_hazard_and_the_cautions_of_the_section_stand_on_the_line():
    bag = part("FLUID", hazard="eats paint")
    order = order_list(
        book(bag),
        solution(loose=(Loose("FLUID", 1, None, RULE),)),
        cautions={"brakes": ("brakes hold lives",)},
    )
    assert (order.lines[0].hazard, order.lines[0].cautions) == ("eats paint", ("brakes hold lives",))
    assert "eats paint / brakes hold lives" in order_csv(order)


NEEDS = st.lists(
    st.tuples(st.integers(1, 40), st.integers(1, 12), st.none() | st.integers(0, 100_000)),
    min_size=1,
    max_size=12,
)


@given(NEEDS)
def test_no_line_is_lost_and_never_fewer_than_needed(needs: list[tuple[int, int, int | None]]):
    parts = [part(f"P{i}", pack=pack, price=price) for i, (_, pack, price) in enumerate(needs)]
    loose = tuple(Loose(f"P{i}", quantity, None, RULE) for i, (quantity, _, _) in enumerate(needs))
    order = order_list(book(*parts), solution(loose=loose))
    assert sorted(line.number for line in order.lines) == sorted(p.number for p in parts)
    for line in order.lines:
        wanted, pack, _ = needs[int(line.number[1:])]
        assert line.quantity == wanted
        assert line.pieces % pack == 0
        assert 0 <= line.pieces - wanted < pack
    known = [line.total for line in order.lines if line.total is not None]
    assert order.parts == sum(known)
    rows = list(csv.DictReader(io.StringIO(order_csv(order))))
    assert tuple(rows[0]) == COLUMNS
    cells = sum((Decimal(row["total"]) for row in rows[:-1] if row["total"]), Decimal(0))
    assert cells == Decimal(rows[-1]["total"]) == Decimal(order.parts) / 100
