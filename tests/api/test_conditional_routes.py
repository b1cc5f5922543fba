"""Every operation of the API, asked as its example is: reads can be asked again for nothing, and changes of
what stands name what was read (RFC 9110, 13)."""

from typing import Any

import httpx
import pytest
from fastapi import FastAPI

from graftbook.http.openapi import NOT_KEPT
from graftbook.http.responses import KEEP_NOTHING
from tests.api import examples

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]


class Walk:
    """Asks each operation, and before or after it what its conditions promise."""

    def __init__(self) -> None:
        self.read: dict[str, str] = {}
        """Operation → its ETag; empty: it said that nothing may be kept."""

    async def __call__(
        self, client: httpx.AsyncClient, app: FastAPI, name: str, method: str, path: str, *rest: Any
    ) -> httpx.Response:
        answer = await examples.asked(client, app, name, method, path, *rest)
        if method == "get":
            await self._again(client, name, answer)
        return answer

    async def _again(self, client: httpx.AsyncClient, name: str, answer: httpx.Response) -> None:
        kept = answer.headers.get("cache-control") != KEEP_NOTHING["Cache-Control"]
        self.read[name] = etag = answer.headers.get("etag", "") if kept else ""
        if not kept:
            return
        assert etag, name
        headers = {"Accept": answer.request.headers["accept"]}
        url = answer.request.url
        again = await client.get(url, headers=headers | {"If-None-Match": etag})
        assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", etag), name
        assert again.headers.get("cache-control") == answer.headers["cache-control"], name
        head = await client.head(url, headers=headers)
        assert (head.status_code, head.content, head.headers["etag"]) == (200, b"", etag), name
        assert head.headers.get("link") == answer.headers.get("link"), name
        other = await client.get(url, headers=headers | {"If-None-Match": '"another"'})
        assert other.status_code == 200, name


PIXELS = {"getPicture"}
"""No document: `tests/pictures` holds its ETag."""


async def test_every_read_of_the_api_has_an_etag_or_says_that_nothing_may_be_kept(own_app: FastAPI):
    walk = Walk()
    await examples.gathered(own_app, walk)
    reads = {name for name, method, _, _ in examples.operations(own_app) if method == "get"}
    assert set(walk.read) == reads - PIXELS
    unkept = {name for name, etag in walk.read.items() if not etag}
    assert unkept == NOT_KEPT


CHANGES_WHAT_STANDS = ("put", "patch", "delete")
FREELY = {
    "revokeKey",
    "removeWebhook",
    "takePictureAway",
    "setHouseSpecification",
    "putFlatIssue",
    "decideFlatList",
}
"""What needs no look before: what goes for good, by an id or a digest of its own; what is put in the place of
whatever stood there; answers that are kept question by question."""


async def test_every_change_of_what_stands_wants_the_etag_that_was_read(own_app: FastAPI):
    """Which they are; that each refuses without it (428) and with another (412), `test_etags` holds."""
    wanting = {
        name: any(given["name"].lower() == "if-match" for given in operation.get("parameters", ()))
        for name, method, _, operation in examples.operations(own_app)
        if method in CHANGES_WHAT_STANDS
    }
    assert {name for name, wants in wanting.items() if not wants} == FREELY
