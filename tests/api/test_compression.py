"""Documents above a kilobyte come in the coding that the asker takes, each coding under its own ETag."""

import gzip
import json
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from starlette.responses import Response, StreamingResponse

from graftbook.app import create_app
from graftbook.http import compression
from graftbook.http.compression import ZSTD, chosen, held, tagged, untagged, zstd
from graftbook.settings import Settings
from tests.conftest import client_of

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

CLOSURE = "/v1/closures?chassis=24PL-018412&fit=QL-7075"
PLAIN = {"Accept-Encoding": "identity"}
UNPACKED = {"gzip": gzip.decompress, "zstd": zstd.decompress}


@pytest.fixture
async def proved(client: httpx.AsyncClient) -> None:
    """The closure that is asked for is a ready answer, however busy the machine is."""
    asked = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}], "deadline_seconds": 30.0}
    assert (await client.post("/v1/closures", json=asked)).headers["etag"]


async def raw(client: httpx.AsyncClient, address: str, **headers: str) -> tuple[httpx.Response, bytes]:
    """An answer and its body as it was sent."""
    async with client.stream("GET", address, headers=headers) as answer:
        return answer, b"".join([piece async for piece in answer.aiter_raw()])


@pytest.mark.parametrize(
    ("accept", "coding"),
    [("", ""), ("gzip", "gzip"), ("br, gzip", "gzip"), ("gzip, deflate, zstd", "zstd"), ("identity", ""),
     ("zstd;q=0.5, gzip", "gzip"), ("zstd;q=0, gzip;q=0.1", "gzip"), ("gzip;q=0", ""), ("gzip;q=0.000", ""),
     ("*", "zstd"), ("*;q=0", ""), ("*;q=0, gzip", "gzip"), ("GZIP", "gzip"), ("gzip ; q=1.0", "gzip"),
     ("identity, gzip;q=0.5", ""), ("gzip;q=high", ""), ("x-gzip", ""), (", ,gzip,", "gzip")],
)  # fmt: skip
def test_the_coding_is_what_the_asker_takes_and_weighs_most(accept: str, coding: str) -> None:
    assert chosen(accept.encode()) == coding


def test_an_etag_comes_back_to_its_state_from_every_coding() -> None:
    assert tagged(b'"a1"', ZSTD) == b'"a1-zstd"'
    assert tagged(b'W/"a1"', ZSTD) == b'W/"a1"', "a weak one does not name bytes"
    assert untagged(b'"a1-zstd", W/"b-gzip", "gzip", *') == b'"a1", W/"b", "gzip", *'
    assert held(b'"a1"', b'"b", W/"a1-gzip"') == b'"a1-gzip"'
    assert held(b'"a1"', b'"a1-br", "a12", a1') is None


@pytest.mark.usefixtures("proved")
@pytest.mark.parametrize("coding", UNPACKED)
@pytest.mark.parametrize(
    "address",
    [CLOSURE, "/v1/components/QB-3310", "/v1/components?words=brake", "/openapi.json", "/v1/exports",
     "/v1/imports/schema", "/look-up", "/guide"],
)  # fmt: skip
async def test_what_was_compressed_says_the_same_under_an_etag_of_its_own(
    client: httpx.AsyncClient, address: str, coding: str
) -> None:
    plain, body = await raw(client, address, **PLAIN)
    for time in ("anew", "again"):
        packed, shorter = await raw(client, address, **{"Accept-Encoding": coding})
        assert packed.headers["content-encoding"] == coding, time
        assert len(shorter) < len(body) / 2
        assert UNPACKED[coding](shorter) == body
        assert int(packed.headers.get("content-length", len(shorter))) == len(shorter)
    assert "content-encoding" not in plain.headers
    assert all("Accept-Encoding" in answer.headers["vary"] for answer in (plain, packed))
    if etag := plain.headers.get("etag"):
        assert packed.headers["etag"] == f'{etag[:-1]}-{coding}"', "a strong ETag is of the bytes"


@pytest.mark.usefixtures("proved")
@pytest.mark.parametrize("address", [CLOSURE, "/v1/components/QB-3310", "/v1/vehicles/24PL-018412"])
async def test_whoever_has_it_in_any_coding_has_it(client: httpx.AsyncClient, address: str) -> None:
    for coding in ("gzip", "zstd", "identity"):
        has, _ = await raw(client, address, **{"Accept-Encoding": coding})
        for takes in ("gzip", "zstd", "identity"):
            sent = {"Accept-Encoding": takes, "If-None-Match": f'"other", W/{has.headers["etag"]}'}
            answer, body = await raw(client, address, **sent)
            assert (answer.status_code, body) == (304, b"")
            assert answer.headers["etag"] == has.headers["etag"], "that which he holds"
            assert "Accept-Encoding" in answer.headers["vary"]
            assert not answer.headers.keys() & {"content-encoding", "content-type"}


@pytest.mark.usefixtures("proved")
async def test_head_tells_of_the_coded_answer_what_get_would(client: httpx.AsyncClient) -> None:
    sent = {"Accept-Encoding": "gzip"}
    get, _ = await raw(client, CLOSURE, **sent)
    head = await client.head(CLOSURE, headers=sent)
    for name in ("etag", "content-encoding", "content-length", "vary"):
        assert head.headers[name] == get.headers[name], name


async def test_what_was_read_in_a_coding_may_be_changed(writer: httpx.AsyncClient) -> None:
    address = "/v1/records/component/QB-3310"
    read = await writer.get(address, headers={"Accept-Encoding": "gzip"})
    coded = read.headers["etag"]
    assert coded.endswith('-gzip"') == (read.headers.get("content-encoding") == "gzip")
    coded = coded if coded.endswith('-gzip"') else f'{coded[:-1]}-gzip"'
    changed = await writer.patch(address, json={"price": "611.00"}, headers={"If-Match": coded})
    assert changed.is_success, changed.text
    late = await writer.patch(address, json={"price": "612.00"}, headers={"If-Match": coded})
    assert late.status_code == 412


async def test_an_answer_that_stands_is_compressed_once(
    client: httpx.AsyncClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = compression._WHOLE[ZSTD]
    times: list[int] = []

    def counted(body: bytes) -> bytes:
        times.append(1)
        return whole(body)

    monkeypatch.setitem(compression._WHOLE, ZSTD, counted)
    bodies = set()
    for built in ("1968-03-01", "1968-03-01"):
        for method in ("POST", "GET", "POST"):
            asked: dict[str, Any] = {"headers": {"Accept-Encoding": "zstd"}}
            address = "/v1/closures"
            if method == "POST":
                vehicle = {"chassis": "24PL-018412", "built": built}
                asked["json"] = {"vehicle": vehicle, "wishes": [{"fit": "QL-7075"}]}
            else:
                address = f"{CLOSURE}&built={built}"
            bodies.add((await client.request(method, address, **asked)).content)
    assert (len(bodies), len(times)) == (1, 1)


async def test_small_things_events_and_bytes_stay_as_they_are(sqlite_demo_url: str) -> None:
    app = create_app(Settings(database_url=sqlite_demo_url))
    _add(app)
    packs = {"Accept-Encoding": "gzip, zstd"}
    async with client_of(app) as client:
        small, body = await raw(client, "/livez", **packs)
        assert "content-encoding" not in small.headers, body
        events, body = await raw(client, "/events", **packs)
        assert ("content-encoding" in events.headers, body) == (False, b"data: 1\n\n" * 1_000)
        picture, body = await raw(client, "/a-drawing", **packs)
        assert ("content-encoding" in picture.headers, len(body)) == (False, 5_000)
        edge, body = await raw(client, "/bytes/999", **packs)
        assert ("content-encoding" in edge.headers, len(body)) == (False, 999)
        edge, body = await raw(client, "/bytes/1000", **packs)
        assert (edge.headers["content-encoding"], json.loads(zstd.decompress(body))) == ("zstd", "x" * 998)
    app.state.service.close()


def _add(app: FastAPI) -> None:
    @app.get("/events")
    async def events() -> Response:
        return StreamingResponse((b"data: 1\n\n" for _ in range(1_000)), media_type="text/event-stream")

    @app.get("/a-drawing")
    async def picture() -> Response:
        return Response(b"x" * 5_000, media_type="image/png")

    @app.get("/bytes/{size}")
    async def sized(size: int) -> Response:
        return Response(json.dumps("x" * (size - 2)), media_type="application/json")
