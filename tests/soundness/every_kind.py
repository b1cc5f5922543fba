"""One request of every kind, to be sent while something is wrong and again when it is mended."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import httpx
from sqlalchemy import text

from graftbook.database import make_engine

CHASSIS = "24PL-018412"
QUESTION = {"vehicle": {"chassis": CHASSIS}, "wishes": [{"fit": "QB-3310"}]}
SECTION = "[section]\nname,title,order\nfaulty,Faulty,97\n"

READS = (
    f"/v1/closures?chassis={CHASSIS}&fit=QB-3310",
    f"/v1/orders?chassis={CHASSIS}&fit=QB-3310",
    f"/v1/compatibility?component=QB-3310&chassis={CHASSIS}",
    f"/v1/vehicles/{CHASSIS}",
    "/v1/components/QB-3310",
    "/v1/components?words=brake",
    "/v1/variants",
    "/v1/flaws",
    "/v1/builds",
    "/v1/specifications",
    "/v1/records/component/QB-3310",
    "/v1/records/component/QB-3310/history",
    "/v1/revisions",
    "/v1/exports",
    "/readyz",
)
PAGES = ("/", f"/ask?chassis={CHASSIS}", f"/answer?chassis={CHASSIS}&fit=QB-3310", "/signin")
UNTOUCHED = ("/livez", "/openapi.json", "/v1/imports/schema")
"""These need no database; a key would have to be looked up in it."""

POSTED = ("/v1/closures", "/v1/orders")

Sent = tuple[str, str, dict[str, Any]]


def changes(number: int) -> list[Sent]:
    """A change of every kind, under names of its own."""
    build = {"name": f"build-{number}", "chassis": CHASSIS}
    record = {"rows": [{"name": f"faulty-{number}", "title": "Faulty", "order": 97}]}
    return [
        ("POST", "/v1/builds", {"json": build}),
        ("POST", "/v1/builds", {"json": build, "headers": {"Idempotency-Key": f"key {number}"}}),
        ("POST", "/v1/specifications", {"json": {"name": f"house-{number}", "title": "House"}}),
        (
            "POST",
            "/v1/imports",
            {
                "content": SECTION.replace("faulty", f"sheet-{number}"),
                "headers": {"Content-Type": "text/csv"},
            },
        ),
        ("PUT", f"/v1/records/section/faulty-{number}", {"json": record}),
    ]


async def all_are_unavailable(client: httpx.AsyncClient, *, reads: bool, writes: bool) -> None:
    """Whatever needs what is broken answers 503 with Retry-After, and nothing ever answers 500."""
    for path in UNTOUCHED:
        assert (await client.get(path, headers={"Authorization": ""})).status_code == 200, path
    for path in READS:
        await _judge(await client.get(path), unavailable=reads)
    for path in POSTED:
        await _judge(await client.post(path, json=QUESTION), unavailable=reads)
    for path in PAGES:
        answer = await client.get(path, headers={"Accept": "text/html"})
        assert answer.status_code in (200, 303, 503), (path, answer.status_code)
    for method, path, sent in changes(1):
        await _judge(await client.request(method, path, **sent), unavailable=writes)


async def _judge(answer: httpx.Response, *, unavailable: bool) -> None:
    what = (answer.request.method, str(answer.request.url), answer.status_code, answer.text[:300])
    if not unavailable:
        assert answer.status_code in (200, 201), what
        return
    assert answer.status_code == 503, what
    assert int(answer.headers["retry-after"]) > 0
    assert answer.json()["type"] == "/problems/unavailable", what
    for secret in ("SELECT", "INSERT", "sqlite3", "psycopg", "Traceback", "/"):
        assert secret not in answer.json()["detail"], what


async def all_are_well(client: httpx.AsyncClient) -> None:
    """The first request of every kind after the mending is answered as if nothing had been."""
    for path in READS:
        await _judge(await client.get(path), unavailable=False)
    for path in POSTED:
        answer = await client.post(path, json=QUESTION)
        await _judge(answer, unavailable=False)
    for method, path, sent in changes(1)[1:]:
        await _judge(await client.request(method, path, **sent), unavailable=False)


@contextmanager
def changes_fail(url: str, sqlstate: str) -> Iterator[None]:
    """Every change fails on the PostgreSQL server itself with an error of this code."""
    engine = make_engine(url)
    tables = ("build", "specification", "revision")
    with engine.begin() as connection:
        connection.execute(
            text(
                "CREATE FUNCTION fail() RETURNS trigger LANGUAGE plpgsql AS"
                f" $$ BEGIN RAISE EXCEPTION 'it fails' USING ERRCODE = '{sqlstate}'; END $$"
            )
        )
        for table in tables:
            connection.execute(text(f"CREATE TRIGGER fails BEFORE INSERT ON {table} EXECUTE FUNCTION fail()"))
    try:
        yield
    finally:
        with engine.begin() as connection:
            for table in tables:
                connection.execute(text(f"DROP TRIGGER fails ON {table}"))
            connection.execute(text("DROP FUNCTION fail()"))
        engine.dispose()
