"""From the answers' parts to the order's parts: whatever is bought or not to be had, it adds up."""

from decimal import Decimal
from types import SimpleNamespace
from typing import Any

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graftbook.closure.answer import Because, Loose
from graftbook.closure.answer import Cause as Demand
from graftbook.closure.question import FitComponent
from graftbook.orders.buying.buying import InStore, Market, Terms, buy
from graftbook.orders.buying.reconciling import DifferenceCause, reconcile
from graftbook.orders.needs import Need, NeededBy, Needs, Share
from graftbook.rulebook.model import Component, Grade, Origin
from tests.orders.split_worlds import TODAY, World, small_worlds
from tests.running import cases

pytestmark = pytest.mark.one_engine

CHASSIS = "24PL-018412"
WISH = Because(Demand.wish, "wish: fit it", FitComponent("it"))
WISHED = NeededBy(Demand.wish, "wish: fit it", "You wish it.")


def need_of(number: str, pieces: int, price: int | None) -> Need:
    part = Component(number, number, "brakes", Origin.modern, price=price)
    return Need(part, pieces, (Share("one", (), pieces),), (WISHED,), Grade.measured)


@settings(max_examples=cases(25), deadline=None)
@given(small_worlds(), st.data())
def test_it_always_adds_up(world: World, data: st.DataObject) -> None:
    """Prices unknown or not, amounts that several rules ask for, the store, packs, dates, few suppliers."""
    prices = {number: data.draw(st.sampled_from([None, 0, 3, 7])) for number in world.needs}
    needs = Needs(tuple(need_of(n, pieces, prices[n]) for n, pieces in world.needs.items()), (), ())
    counted = {n: pieces + data.draw(st.integers(0, 2)) for n, pieces in world.needs.items()}
    loose = [
        Loose(n, pieces, None if prices[n] is None else prices[n] * pieces, WISH)
        for n, pieces in counted.items()
    ]
    store = [InStore(n, data.draw(st.integers(0, 3))) for n in world.needs]
    suppliers = world.suppliers if data.draw(st.integers(0, 5)) else ()
    market = Market(TODAY, world.offers, suppliers)
    by = data.draw(st.sampled_from([None, TODAY.replace(day=5)]))
    order = buy(needs, market, Terms(by, data.draw(st.sampled_from([None, 1])), seconds=4.0), store)
    way = reconcile([SimpleNamespace(changes=(), loose=tuple(loose))], needs, order)
    assert way.answer == sum(part.price or 0 for part in loose)
    assert way.order == sum(line.total or 0 for line in order.lines)
    assert way.answer + sum(one.amount for one in way.differences) == way.order
    for one in way.differences:
        assert one.numbers
        assert (one.amount >= 0) == (
            one.cause in (DifferenceCause.dearer, DifferenceCause.packs, DifferenceCause.no_price)
        ) or (one.cause is DifferenceCause.amounts)


async def of(counter: httpx.AsyncClient, **asked: Any) -> tuple[dict[str, Any], list[str]]:
    """An order, and the parts that the answers of its vehicles name."""
    body = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3302"}]} | asked
    order = await counter.post("/v1/orders", json=body, headers={"Accept": "application/json"})
    assert order.status_code == 200, order.text
    vehicles = [{name: body[name] for name in ("vehicle", "wishes")}, *body.get("also", [])]
    answers = [
        await counter.post("/v1/closures", json={k: v for k, v in one.items() if k != "label"})
        for one in vehicles
    ]
    return order.json(), [answer.json()["set"]["totals"]["price"] for answer in answers]


ORDERS: dict[str, dict[str, Any]] = {
    "plain": {},
    "few suppliers": {"at_most_suppliers": 2},
    "two vehicles": {"also": [{"vehicle": {"chassis": "24PR-012000"}, "wishes": [{"fit": "QB-3310"}]}]},
    "on the bench": {"vehicle": {"chassis": CHASSIS, "on_the_bench": ["QB-2066", "QW-3055"]}},
    "nobody sells it": {"wishes": [{"fit": "QB-3310"}, {"fit": "QB-7098"}]},
    "injection": {"wishes": [{"fit": "QF-7000"}]},
}


@pytest.mark.parametrize("asked", ORDERS.values(), ids=ORDERS)
async def test_the_orders_of_the_demo_add_up(counter: httpx.AsyncClient, asked: dict[str, Any]) -> None:
    put = await counter.put("/v1/stock/QB-9001", json={"quantity": 1, "place": "shelf 2"})
    assert put.status_code == 200
    found, answers = await of(counter, **asked)
    way = found["reconciliation"]
    assert Decimal(way["answer_parts"]) == sum(map(Decimal, answers))
    assert way["order_parts"] == found["totals"]["parts"]
    told = sum(Decimal(one["amount"]) for one in way["differences"])
    assert Decimal(way["answer_parts"]) + told == Decimal(way["order_parts"])
    assert way["differences"]
    lost = {number for one in way["differences"] if one["cause"] == "not bought" for number in one["numbers"]}
    assert lost <= {line["number"] for line in found["not_supplied"]}
    assert bool(lost) >= (asked == ORDERS["few suppliers"])


async def test_the_papers_tell_it_line_by_line(counter: httpx.AsyncClient) -> None:
    sent = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3302"}], "at_most_suppliers": 2}
    sheet = await counter.post("/v1/orders", json=sent, headers={"Accept": "text/csv"})
    found, _ = await of(counter, at_most_suppliers=2)
    rows = [line for line in sheet.text.splitlines() if line.startswith("difference,")]
    assert len(rows) == len(found["reconciliation"]["differences"])
    for row, one in zip(rows, found["reconciliation"]["differences"], strict=True):
        assert one["amount"] in row.split(",")


async def test_a_part_without_a_price_that_is_not_bought_is_named(counter: httpx.AsyncClient) -> None:
    """It counts for nothing in either sum; the lines not bought are then more than those with an amount."""
    order, _ = await of(counter, wishes=[{"fit": "QB-3310"}, {"fit": "QB-7098"}], at_most_suppliers=2)
    assert "QB-7098" in {line["number"] for line in order["not_supplied"]}
    way = order["reconciliation"]
    (row,) = [one for one in way["differences"] if one["cause"] == "not bought"]
    assert len(row["numbers"]) < order["not_bought"]
    assert "Neither counts QB-7098" in way["sentence"]
    plain, _ = await of(counter, at_most_suppliers=2)
    assert "Neither counts" not in plain["reconciliation"]["sentence"]
