"""What the Idempotency-Key header does, asked of the service in this process: quick, beside the crashes and
races of tests/soundness/test_once.py."""

from datetime import UTC, datetime, timedelta

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import select, update

from graftbook.database import writing
from graftbook.idempotency.tables import AnsweredOnceRow
from tests.conftest import client_of

pytestmark = pytest.mark.anyio

KEPT = AnsweredOnceRow.__table__
RED, BLUE = ({"name": name, "chassis": "24PL-018412"} for name in ("red", "blue"))


def under(key: str) -> dict[str, str]:
    return {"Idempotency-Key": key}


async def test_the_first_answer_comes_again_whole(writer: httpx.AsyncClient, own_app: FastAPI):
    first = await writer.post("/v1/builds", json=RED, headers=under("one"))
    again = await writer.post("/v1/builds", json=RED, headers=under("one"))
    assert (first.status_code, first.content) == (again.status_code, again.content)
    told = ("etag", "location", "content-type")
    assert [first.headers[name] for name in told] == [again.headers[name] for name in told]
    replayed = [answer.headers.get("idempotency-replayed") for answer in (first, again)]
    assert replayed == [None, "true"]
    with own_app.state.service.engine.connect() as connection:
        kept = connection.execute(select(KEPT)).one()
    assert (kept.key, kept.status, bytes(kept.body)) == ("one", 201, first.content)
    assert kept.principal, "known apart by who asks"
    assert datetime.now(UTC) - kept.at < timedelta(minutes=5)


async def test_without_a_key_each_request_is_a_new_one(writer: httpx.AsyncClient, own_app: FastAPI):
    assert (await writer.post("/v1/builds", json=RED)).status_code == 201
    assert (await writer.post("/v1/builds", json=RED)).status_code == 409
    with own_app.state.service.engine.connect() as connection:
        assert connection.execute(select(KEPT)).all() == []


@pytest.mark.parametrize("other", [BLUE, RED | {"note": "x"}])
async def test_the_key_of_another_request_is_refused(writer: httpx.AsyncClient, other: dict):
    assert (await writer.post("/v1/builds", json=RED, headers=under("one"))).status_code == 201
    refused = await writer.post("/v1/builds", json=other, headers=under("one"))
    assert (refused.status_code, refused.json()["type"]) == (422, "/problems/idempotency-key-used")
    assert (await writer.get("/v1/builds/blue")).status_code == 404


async def test_another_key_of_access_may_use_the_same_key(writer: httpx.AsyncClient, own_app: FastAPI):
    assert (await writer.post("/v1/builds", json=RED, headers=under("one"))).status_code == 201
    async with client_of(own_app, scope="edit") as colleague:
        theirs = await colleague.post("/v1/builds", json=BLUE, headers=under("one"))
    assert (theirs.status_code, theirs.json()["name"]) == (201, "blue")
    assert "idempotency-replayed" not in theirs.headers


async def test_a_day_later_the_key_is_as_good_as_new(writer: httpx.AsyncClient, own_app: FastAPI):
    engine = own_app.state.service.engine

    def age(by: timedelta) -> None:
        with writing(engine) as session:  # waits its turn: the service writes that the key was used
            connection = session.connection()
            at = connection.execute(select(KEPT.c.at)).scalar_one()
            connection.execute(update(KEPT).values(at=at - by))

    await writer.post("/v1/builds", json=RED, headers=under("one"))
    age(timedelta(hours=23, minutes=55))
    assert (await writer.post("/v1/builds", json=RED, headers=under("one"))).status_code == 201
    age(timedelta(minutes=10))
    late = await writer.post("/v1/builds", json=RED, headers=under("one"))
    assert late.status_code == 409, "the name is taken: it was a new request"
    assert (await writer.post("/v1/builds", json=BLUE, headers=under("one"))).status_code == 201
    with engine.connect() as connection:
        assert connection.execute(select(KEPT.c.status)).scalars().all() == [201]


@pytest.mark.parametrize(
    ("key", "status"), [("", 422), ("x", 201), ("x" * 255, 201), ("x" * 256, 422), ("a\tb", 422)]
)
async def test_a_key_is_1_to_255_printable_characters(writer: httpx.AsyncClient, key: str, status: int):
    answer = await writer.post("/v1/builds", json=RED, headers=[("Idempotency-Key", key.encode())])
    assert answer.status_code == status
