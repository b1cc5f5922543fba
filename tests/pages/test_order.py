"""Kept lists on their pages: names with dots, documents, a delivery that cannot be read."""

import re

import httpx
import pytest

from api.pages.order import came
from api.problems import InvalidRequest
from tests.pages.conftest import BROWSER

pytestmark = pytest.mark.anyio

DISCS = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QB-3310"}]}


@pytest.mark.parametrize("name", ["red", "red.v2", "x.pdf"])
async def test_a_list_and_its_documents_have_addresses_of_their_own(
    writer: httpx.AsyncClient, name: str
) -> None:
    made = await writer.post("/v1/order-lists", json=DISCS | {"name": name})
    assert made.status_code == 201, made.text
    page = await writer.get(f"/orders/{name}", headers=BROWSER)
    assert page.headers["content-type"].startswith("text/html")
    assert f"<h1>{name} " in page.text
    documents = re.findall(r'href="(/orders/[^"?]+/document/\w+)"', page.text)
    assert len(documents) == 3
    for address in documents:
        answer = await writer.get(address)
        assert answer.status_code == 200, address
        assert f'filename="{name}.{address.rsplit("/", 1)[1]}"' in answer.headers["content-disposition"]


def test_a_count_that_is_no_whole_number_is_said() -> None:
    assert came({"came-1": "", "came-2": "3"})[-1]["received"] == 3
    for text in ("three", "1.5", "-1", "99999999"):
        with pytest.raises(InvalidRequest, match="whole number"):
            came({"came-1": text})


async def test_a_whole_delivery_is_booked_in_at_once(writer: httpx.AsyncClient) -> None:
    await writer.post("/v1/order-lists", json=DISCS | {"name": "red"})

    async def take(step: str, **fields: str) -> httpx.Response:
        etag = (await writer.get("/v1/order-lists/red")).headers["etag"]
        return await writer.post(f"/orders/red/{step}", data={"etag": etag, **fields})

    assert (await take("send")).status_code == 303
    first = await take("receive", **{"came-1": "1"})
    assert first.status_code == 303, first.text
    assert (await writer.get("/v1/order-lists/red")).json()["state"] == "partly received"
    assert (await take("receive", do="all")).status_code == 303
    kept = (await writer.get("/v1/order-lists/red")).json()
    assert kept["state"] == "received"
    assert all(line["received"] == line["pieces"] for line in kept["lines"])
