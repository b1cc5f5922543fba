"""Programs in a browser elsewhere: only from origins that the house names, and never with a cookie."""

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager

import httpx
import pytest
from pydantic import ValidationError

from graftbook.http.middleware import EXPOSED
from graftbook.settings import Settings
from tests.conftest import application, client_of

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

SHOP, OTHER = "https://shop.example", "https://other.example"
FIRST = {
    "Access-Control-Request-Method": "PATCH",
    "Access-Control-Request-Headers": "authorization, if-match",
}
Asking = Callable[[str], AbstractAsyncContextManager[httpx.AsyncClient]]


@pytest.fixture
def asking(sqlite_demo_url: str) -> Asking:
    @asynccontextmanager
    async def open_to(origins: str) -> AsyncIterator[httpx.AsyncClient]:
        with application(sqlite_demo_url, cors_origins=origins) as app:
            async with client_of(app) as client:
                yield client

    return open_to


def of_cors(answer: httpx.Response) -> dict[str, str]:
    return {name: value for name, value in answer.headers.items() if name.startswith("access-control-")}


async def test_nobody_elsewhere_unless_the_house_says_so(asking: Asking):
    async with asking("") as client:
        answer = await client.get("/v1/ranges", headers={"Origin": SHOP})
        assert (answer.status_code, of_cors(answer)) == (200, {})
        before = await client.options("/v1/ranges", headers={"Origin": SHOP, **FIRST})
        assert of_cors(before) == {}


async def test_an_origin_that_is_named_may_read_what_it_needs_of_the_answer(asking: Asking):
    async with asking(f"{SHOP}, http://127.0.0.1:5173") as client:
        for address, status in (
            ("/v1/ranges?limit=1", 200), ("/v1/nothing", 404), ("/v1/ranges?x=1", 422), ("/v1/keys", 401),
            ("/openapi.json", 200),
        ):  # fmt: skip
            answer = await client.get(address, headers={"Origin": SHOP})
            told = of_cors(answer)
            assert (answer.status_code, told["access-control-allow-origin"]) == (status, SHOP), address
            exposed = set(told["access-control-expose-headers"].split(", "))
            assert exposed == set(EXPOSED) >= {"ETag", "Link", "Location", "Retry-After"}
            assert "Origin" in answer.headers["vary"]
            refused = await client.get(address, headers={"Origin": OTHER})
            assert "access-control-allow-origin" not in of_cors(refused)


async def test_a_browser_that_asks_first_is_told_what_it_may_send(asking: Asking):
    async with asking(SHOP) as client:
        before = await client.options("/v1/records/component/QB-3310", headers={"Origin": SHOP, **FIRST})
        told = of_cors(before)
        assert before.status_code == 200
        assert told["access-control-allow-origin"] == SHOP
        assert "PATCH" in told["access-control-allow-methods"]
        assert {"authorization", "if-match", "idempotency-key"} <= {
            name.strip().lower() for name in told["access-control-allow-headers"].split(",")
        }
        other = await client.options("/v1/records/component/QB-3310", headers={"Origin": OTHER, **FIRST})
        assert (other.status_code, "access-control-allow-origin" in of_cors(other)) == (400, False)


@pytest.mark.parametrize("origins", [SHOP, "*"])
async def test_no_cookie_is_ever_taken_and_pages_stay_our_own(asking: Asking, origins: str):
    async with asking(origins) as client:
        for request in (
            client.build_request("GET", "/v1/ranges", headers={"Origin": SHOP, "Cookie": "a=b"}),
            client.build_request("OPTIONS", "/v1/ranges", headers={"Origin": SHOP, **FIRST}),
        ):
            told = of_cors(await client.send(request))
            assert told["access-control-allow-origin"] in (origins, SHOP)
            assert "access-control-allow-credentials" not in told
        page = await client.get("/", headers={"Origin": SHOP, "Accept": "text/html"})
        assert (page.status_code, of_cors(page)) == (200, {})


@pytest.mark.parametrize(
    "wrong", ["shop.example", "https://shop.example/", "null", "https://*.example", "ftp://x"]
)
def test_what_is_no_origin_is_refused(wrong: str):
    with pytest.raises(ValidationError, match="is no origin"):
        Settings(cors_origins=f"{SHOP},{wrong}")
