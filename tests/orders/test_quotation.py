"""Quotations: every sum is the sum of what is shown, and payments add up to the penny."""

from datetime import date
from decimal import Decimal

import httpx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from graftbook.orders.quotation.quotation import Item, labour, months_after, payments, quote

pytestmark = pytest.mark.one_engine

RATES = st.sampled_from([None, Decimal("0"), Decimal("5"), Decimal("12.5"), Decimal("20"), Decimal("21")])
ITEMS = st.lists(st.builds(Item, st.just("x"), st.integers(0, 10**9), RATES), max_size=12)


@settings(deadline=None)
@given(ITEMS, st.integers(0, 10**7), st.decimals(0, 100, places=2), st.integers(0, 60))
def test_everything_adds_up(items: list[Item], deposits: int, first: Decimal, months: int) -> None:
    made = quote(items, deposits, date(2026, 1, 31), first, months)
    assert made.net == sum(item.amount for item in items)
    assert sum(payment.amount for payment in made.payments) == made.total == made.net + made.tax + deposits
    assert sum(tax.base for tax in made.taxes) == sum(i.amount for i in items if i.rate is not None)
    stages = [p.amount for p in made.payments if p.what.startswith("stage")]
    assert not stages or max(stages) - min(stages) <= 1
    assert [p.on for p in made.payments] == sorted(p.on for p in made.payments)


def test_labour_is_rounded_half_up() -> None:
    # 50 min at 58.00 an hour is 48.333…; 1 min at 0.30 is half a penny.
    assert labour(50, 5800) == 4833
    assert labour(1, 30) == 1


def test_months_end_where_the_month_does() -> None:
    assert months_after(date(2027, 1, 31), 1) == date(2027, 2, 28)
    assert months_after(date(2027, 1, 31), 13) == date(2028, 2, 29)
    assert months_after(date(2027, 11, 15), 2) == date(2028, 1, 15)


def test_the_first_stages_take_what_is_left_over() -> None:
    due = payments(10_000, date(2026, 11, 25), Decimal(30), 3)
    assert [p.amount for p in due] == [3000, 2334, 2333, 2333]
    assert [p.on.isoformat() for p in due] == ["2026-11-25", "2026-12-25", "2027-01-25", "2027-02-25"]


@pytest.mark.parametrize(("first_part", "months"), [("30", -1), ("-1", 3), ("100.01", 3), ("-1", -1)])
def test_neither_months_below_zero_nor_more_than_the_whole_at_first(first_part: str, months: int) -> None:
    with pytest.raises(ValueError, match="months"):
        payments(10_000, date(2026, 11, 25), Decimal(first_part), months)


async def test_the_demos_discs_are_quoted(counter: httpx.AsyncClient) -> None:
    body = {
        "vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}],
        "labour_rate": "58.00", "allowance": "10", "first_part": "30", "months": 6,
    }  # fmt: skip
    answer = await counter.post("/v1/quotations", json=body)
    assert answer.status_code == 200, answer.text
    found = answer.json()
    items = {item["what"]: Decimal(item["amount"]) for item in found["items"]}
    assert abs(items["labour"] - Decimal("58.00") * found["labour_minutes"] / 60) <= Decimal("0.005")
    rest = sum(items.values()) - items["allowance for what comes to light"]
    assert abs(items["allowance for what comes to light"] - rest / 10) <= Decimal("0.01")
    assert sum(Decimal(p["amount"]) for p in found["payments"]) == Decimal(found["total"])
    assert len(found["payments"]) == 7
    assert "licensed" in found["defers"]
    wrong = await counter.post("/v1/quotations", json=body | {"allowance": "101"})
    assert wrong.status_code == 422


async def test_what_comes_from_the_shops_own_store_is_paid_for(counter: httpx.AsyncClient) -> None:
    body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}], "labour_rate": "58.00"}
    price = Decimal((await counter.get("/v1/components/QB-2090")).json()["component"]["price"])
    before = (await counter.post("/v1/quotations", json=body)).json()
    stored = await counter.put("/v1/stock/QB-2090", json={"quantity": 3}, headers={"If-None-Match": "*"})
    assert stored.status_code == 200, stored.text
    after = (await counter.post("/v1/quotations", json=body)).json()
    items = {item["what"]: Decimal(item["amount"]) for item in after["items"]}
    assert items["parts from the shop's own store"] == price
    old = {item["what"]: Decimal(item["amount"]) for item in before["items"]}
    assert items["parts"] < old["parts"], "it is not bought as well"
    assert Decimal(after["net"]) == sum(items.values())


async def test_a_quotation_names_what_its_sum_does_not_know(counter: httpx.AsyncClient) -> None:
    body = {"vehicle": {"chassis": "24FL-012000"}, "wishes": [{"fit": "QA-7352"}], "labour_rate": "58.00"}
    stored = await counter.put("/v1/stock/QA-7352", json={"quantity": 1}, headers={"If-None-Match": "*"})
    assert stored.status_code == 200, stored.text
    found = (await counter.post("/v1/quotations", json=body)).json()
    assert found["sentence"].endswith(" To that comes what QA-7352 costs, which is not known.")
    assert "QA-7352: its price is not known." in found["not_in_it"]
