"""Suppliers side by side for one line, and a line bought where the asker says."""

from datetime import date, timedelta
from typing import Any

import httpx
import pytest

from graftbook.orders.buying.buying import Market
from graftbook.orders.buying.model import Offer, Supplier
from graftbook.orders.buying.side_by_side import asked_for, chosen_from
from graftbook.problems import InvalidRequest

pytestmark = pytest.mark.anyio

TODAY = date(2026, 11, 29)
ALFA, BETA = Supplier("alfa", "Alfa"), Supplier("beta", "Beta")


def market(*offers: Offer) -> Market:
    return Market(TODAY, offers, (ALFA, BETA))


def test_each_supplier_stands_once_with_what_all_pieces_cost_there():
    found = asked_for(
        market(
            Offer("alfa", "N-1", 100, lead_days=3, deposit=50),
            Offer("alfa", "N-1", 80, pack=10, lead_days=3),
            Offer("beta", "N-1", 90, stock=2, lead_days=1),
            Offer("beta", "N-2", 1),
        ),
        "N-1",
        5,
    )
    assert [(one.supplier, one.pieces, one.total, one.deposits, one.short) for one in found] == [
        ("alfa", 5, 500, 250, 0),
        ("beta", 2, 180, 0, 3),
    ], "who has all of them first; of two ways of one supplier the cheaper, deposits counted"
    assert found[0].arrives == TODAY + timedelta(days=3)


def test_whole_packs_and_the_least_quantity_are_counted():
    (one,) = asked_for(market(Offer("alfa", "N-1", 10, pack=4, least=6)), "N-1", 1)
    assert (one.pieces, one.total, one.short) == (8, 80, 0)


def test_a_chosen_line_is_sold_by_that_supplier_alone():
    both = market(Offer("alfa", "N-1", 100), Offer("beta", "N-1", 90), Offer("alfa", "N-2", 5))
    left = chosen_from(both, {"N-1": "alfa", "not-needed": "nobody"}, ["N-1", "N-2"])
    assert [(o.component, o.supplier) for o in left.offers] == [("N-1", "alfa"), ("N-2", "alfa")]
    with pytest.raises(InvalidRequest, match="does not sell N-2 today; who does: alfa"):
        chosen_from(both, {"N-2": "beta"}, ["N-1", "N-2"])


BODY: dict[str, Any] = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}


def bought(order: dict[str, Any]) -> dict[str, str]:
    return {line["number"]: line["supplier"] for line in order["lines"]}


async def test_an_order_takes_a_line_where_it_is_told(client: httpx.AsyncClient):
    plain = (await client.post("/v1/orders", json=BODY)).json()
    number = next(iter(bought(plain)))
    offers = (await client.get(f"/v1/components/{number}")).json()["offers"]
    other = next(o["supplier"] for o in offers if o["supplier"] != bought(plain)[number])
    answer = await client.post("/v1/orders", json=BODY | {"buy_from": {number: other}})
    assert answer.status_code == 200, answer.text
    assert bought(answer.json())[number] == other
    assert float(answer.json()["totals"]["total"]) >= float(plain["totals"]["total"])
    address = answer.headers["content-location"]
    assert f"{number}%3D{other}" in address
    again = await client.get(address)
    assert again.json()["lines"] == answer.json()["lines"]
    assert again.headers["etag"] == answer.headers["etag"]


@pytest.mark.parametrize("buy_from", ["QL-7075", "=alfa", "QL-7075=", "QL-7075=no-such"])
async def test_what_no_line_can_be_bought_by_is_refused(client: httpx.AsyncClient, buy_from: str):
    asked = {"chassis": "24PL-018412", "fit": "QL-7075", "buy_from": buy_from}
    answer = await client.get("/v1/orders", params=asked)
    assert (answer.status_code, answer.json()["pointer"]) == (422, "buy_from"), answer.text
