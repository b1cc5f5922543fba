"""Orders over the demo range: a scenario for each thing that a counter asks of a list."""

from decimal import Decimal
from typing import Any

import httpx
import pytest

from tests.orders.unsold import sold_by_nobody

pytestmark = pytest.mark.one_engine

CHASSIS = "24PL-018412"
DISCS: dict[str, Any] = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}


async def ordered(counter: httpx.AsyncClient, **more: Any) -> dict[str, Any]:
    answer = await counter.post("/v1/orders", json=DISCS | more)
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


async def test_everything_is_bought_where_it_costs_least(counter: httpx.AsyncClient) -> None:
    found = await ordered(counter)
    assert found["split"]["proved"], found["split"]
    assert len(found["suppliers"]) > 1
    assert {line["number"] for line in found["lines"]} >= {"QB-3310", "QB-3311", "QB-9001"}
    hands = {line["number"]: line["hand"] for line in found["lines"]}
    assert (hands["QB-3310"], hands["QB-3311"]) == ("left", "right")
    fluid = next(line for line in found["lines"] if line["number"] == "QB-9001")
    assert fluid["amount"].endswith("l")
    assert fluid["pieces"] >= fluid["quantity"]
    assert any("licensed" in caution for caution in found["cautions"])
    assert Decimal(found["totals"]["deposits"]) > 0
    assert {part["what"] for part in found["taken_off"]} >= {"exchange", "keep with the vehicle"}
    days = [Decimal(row["total"]) for row in found["price_of_days"]]
    assert days == sorted(days, reverse=True)
    assert len(days) > 1, "a day gained costs something here"


async def test_fewer_suppliers_and_earlier_days_cost_more(counter: httpx.AsyncClient) -> None:
    free = await ordered(counter)
    few = await ordered(counter, at_most_suppliers=2)
    assert len(few["suppliers"]) <= 2
    bought = {line["number"] for line in few["lines"]}
    lacking = {part["number"] for part in few["not_supplied"]}
    assert bought | lacking == {line["number"] for line in free["lines"]}
    if not lacking:
        assert Decimal(few["totals"]["total"]) >= Decimal(free["totals"]["total"])
    else:
        assert few["instead"]
        assert all("are bought" in way["sentence"] for way in few["instead"])
    first = free["price_of_days"][0]
    fast = await ordered(counter, fastest=True)
    assert max(supplier["arrives"] for supplier in fast["suppliers"]) == first["by"]
    by = await ordered(counter, by=free["price_of_days"][0]["by"])
    assert max(line["arrives"] for line in by["lines"]) <= first["by"]


async def test_two_vehicles_are_one_order(counter: httpx.AsyncClient) -> None:
    alone = await ordered(counter)
    twice = await ordered(
        counter,
        also=[{"vehicle": {"chassis": "24PL-018500"}, "wishes": [{"fit": "QB-3310"}], "label": "blue"}],
    )
    assert [v["label"] for v in twice["vehicles"]] == [CHASSIS, "blue"]
    pieces = {line["number"]: line["quantity"] for line in alone["lines"]}
    both: dict[str, int] = {}
    for line in twice["lines"]:
        both[line["number"]] = both.get(line["number"], 0) + line["quantity"]
    assert both["QB-3310"] == 2 * pieces["QB-3310"]
    caliper = next(line for line in twice["lines"] if line["number"] == "QB-3310")
    assert {share["vehicle"] for share in caliper["for"]} == {CHASSIS, "blue"}


async def test_what_lies_on_the_bench_or_in_the_store_is_not_bought(counter: httpx.AsyncClient) -> None:
    put = await counter.put("/v1/stock/QB-9001", json={"quantity": 1, "place": "shelf 2"})
    assert put.status_code == 200
    vehicle = {"chassis": CHASSIS, "on_the_bench": ["QB-2066"]}
    found = await ordered(counter, vehicle=vehicle)
    assert [part["number"] for part in found["at_hand"]] == ["QB-2066"]
    assert found["from_stock"] == [
        {
            "number": "QB-9001",
            "name": "brake fluid, glycol, one-litre can",
            "quantity": 1,
            "place": "shelf 2",
            "for": [{"vehicle": CHASSIS, "positions": [], "quantity": 2}],
        }
    ]
    assert "QB-2066" not in {line["number"] for line in found["lines"]}
    whole = await ordered(counter, vehicle=vehicle, use_stock=False)
    assert whole["from_stock"] == []


async def test_each_vehicle_has_the_cautions_of_what_it_gets(counter: httpx.AsyncClient) -> None:
    """Wherever it comes from: the second vehicle's alternator lies on its bench."""
    second = {"chassis": "24PR-012000", "on_the_bench": ["QL-7075"]}
    also = [{"vehicle": second, "wishes": [{"fit": "QL-7075"}]}]
    found = await ordered(counter, also=also)
    brakes, electric = (vehicle["cautions"] for vehicle in found["vehicles"])
    assert any("Brakes hold lives" in caution for caution in brakes)
    assert any("battery" in caution for caution in electric)
    assert not any("Brakes hold lives" in caution for caution in electric)
    assert set(brakes) | set(electric) == set(found["cautions"])
    assert brakes == [caution for caution in found["cautions"] if caution in brakes]


async def test_a_caution_stays_when_the_part_is_in_the_house(counter: httpx.AsyncClient) -> None:
    bought = await ordered(counter)
    hub = next(line["cautions"] for line in bought["lines"] if line["number"] == "QA-3102")
    assert hub
    assert {"QB-9001: harmful; attacks paint and skin", *hub} <= set(bought["cautions"])
    everything = {line["number"]: line["pieces"] for line in bought["lines"]}
    bench = await ordered(counter, vehicle={"chassis": CHASSIS, "on_the_bench": list(everything)})
    assert not bench["lines"]
    assert set(bench["cautions"]) == set(bought["cautions"])
    for number, pieces in everything.items():
        assert (await counter.put(f"/v1/stock/{number}", json={"quantity": pieces})).status_code == 200
    store = await ordered(counter)
    assert not store["lines"]
    assert store["cautions"] == bought["cautions"]


async def test_what_nobody_supplies_is_named_with_a_substitute_that_the_closure_accepts(
    counter: httpx.AsyncClient,
) -> None:
    wished = {"wishes": [{"fit": "QB-3310"}, {"fit": "QB-7098"}]}
    found = await ordered(counter, **wished)
    (lacking,) = found["not_supplied"]
    assert lacking["number"] == "QB-7098"
    assert lacking["why"] == "Nobody offers it today."
    assert lacking["substitute"] is None, "it was wished for by its number: nothing else is that"
    sheet = "[offer]\nsupplier,component,price,currency\ncloverdown,QB-7098,40,XTS\n"
    loaded = await counter.post("/v1/imports", content=sheet, headers={"Content-Type": "text/csv"})
    assert loaded.status_code == 200, loaded.text
    (lacking,) = (await ordered(counter, **wished))["not_supplied"]
    assert lacking["why"] == "It is offered in XTS only, for which no exchange rate is recorded today."


async def test_a_chosen_part_that_nobody_offers_gets_a_substitute(counter: httpx.AsyncClient) -> None:
    await sold_by_nobody(counter, "QB-2090")
    found = await ordered(counter)
    (lacking,) = [part for part in found["not_supplied"] if part["number"] == "QB-2090"]
    assert lacking["substitute"]["number"] == "QB-7090"
    assert "Your wishes are fulfilled with it too." in lacking["substitute"]["sentence"]


async def test_an_old_number_is_ordered_under_todays(counter: httpx.AsyncClient) -> None:
    found = await ordered(counter, wishes=[{"fit": "QB-9000"}])
    (line,) = [line for line in found["lines"] if line["number"] == "QB-9001"]
    assert line["asked_numbers"] == ["QB-9000"]
    assert line["chain"] == ["QB-9000", "QB-9001"]


@pytest.mark.parametrize(("part", "only"), [("supplier", "suppliers"), ("vehicle", "vehicles")])
async def test_documents_of_a_part_hold_that_part_only(
    counter: httpx.AsyncClient, part: str, only: str
) -> None:
    found = await ordered(counter)
    one = found[only][0]["name" if part == "supplier" else "label"]
    address = {"chassis": CHASSIS, "fit": "QB-3310", "part": f"{part}:{one}"}
    sheet = await counter.get("/v1/orders", params=address, headers={"Accept": "text/csv"})
    assert sheet.status_code == 200, sheet.text
    mine = {line["number"] for line in found["lines"] if part == "vehicle" or line["supplier"] == one}
    written = {row.split(",")[2] for row in sheet.text.splitlines()[1:] if row.startswith("line,")}
    assert written == mine
    unknown = await counter.get(
        "/v1/orders", params=address | {"part": f"{part}:nobody"}, headers={"Accept": "text/csv"}
    )
    assert unknown.status_code == 404
