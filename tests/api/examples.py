"""Real answers for the OpenAPI document, asked of the demo range and cut short.

    python -m tests.api.examples

writes `api/graftbook/http/examples.json`: operation, status, media type, answer. Questions of a body are the
document's own examples of it. What differs from run to run (moments, keys, ids) gets one fixed value.
"""

import asyncio
import re
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import orjson
from fastapi import FastAPI

from graftbook.app import create_app
from graftbook.catalogue.loading.imports import load
from graftbook.commands.demo import demo_sheets
from graftbook.database import migrate
from graftbook.http import openapi
from graftbook.settings import Settings
from tests.conftest import client_of

WHERE = Path(openapi.__file__).with_name("examples.json")

LONGEST_LIST, LONGEST_TEXT = 1, 300

VALUES = {
    "chassis": "24PL-018412",
    "number": "QB-3310",
    "kind": "component",
    "name": "red-van",
    "booking": 1,
    "list": "red-van-brakes",
}
"""What stands in an address, unless the operation says otherwise."""

ADDRESSES: dict[str, str] = {
    "getClosure": "/v1/closures?chassis=24PL-018412&fit=QL-7075",
    "getOrder": "/v1/orders?chassis=24PL-018412&fit=QL-7075",
    "getCompatibility": "/v1/compatibility?component=QB-3310&chassis=24PL-018412",
    "findComponents": "/v1/components?words=disc&limit=1",
    "search": "/v1/search?text=front+discs&limit=1",
    "getSpecification": "/v1/specifications/house-standard",
    "reviseSpecification": "/v1/specifications/house-standard",
    "compareSpecification": "/v1/specifications/house-standard/comparison?from=1&to=2",
    "getSpecificationOverVariants": "/v1/specifications/house-standard/variants",
    "compareSpecificationEffects": "/v1/specifications/house-standard/comparison/effects?from=1&to=2",
    "importRecords": "/v1/imports?dry_run=true",
    "countStock": "/v1/stock?dry_run=true",
    "getRevision": "/v1/revisions/1",
    "listRevisionChanges": "/v1/revisions/1/changes?limit=1",
    "getRecord": "/v1/records/section/brakes",
    "getRecordHistory": "/v1/records/section/brakes/history",
    "putRecord": "/v1/records/section/trim",
    "patchRecord": "/v1/records/section/trim",
    "removeRecord": "/v1/records/section/trim",
    "compareRevisions": "/v1/revisions/compare?from=1&to=2",
    "takeBackRevision": "/v1/revisions/3/take-back",
}
BODIES: dict[str, Any] = {
    "makeOrder": {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]},
    "makeClosure": {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]},
    "createKey": {"label": "counter", "scope": "order"},
    "putRecord": {"rows": [{"name": "trim", "title": "Trim", "order": 90}]},
    "patchRecord": {"title": "Trim and seats"},
    "importRecords": [{"record": "section", "name": "trim", "title": "Trim", "order": 90}],
    "countStock": "number,quantity,place\nQB-9001,4,drawer 14\n",
}
FIRST = [
    "createBuild", "createSpecification", "putRecord", "putRecord", "patchRecord", "getBuild",
    "getSpecification", "replaceBuild", "reviseSpecification", "takeBackRevision", "removeRecord",
    "createOrderList", "discardOrderList", "createOrderList", "noteOrderList", "recomputeOrderList",
    "substituteInOrderList", "compareOrderList", "sendOrderList", "receiveOrderList",
    "takeBackOrderListBooking", "receiveOrderList", "closeOrderList", "putStock", "setHouseSpecification",
    "recordBuildEvents", "carryOutOrderList",
]  # fmt: skip
"""Asked in this order before all others: some answers need what another stored."""

LAST = ["deleteBuild", "revokeKey", "emptyStock"]
NEITHER = {"signIn", "signOut"}
"""They answer with a redirect and a cookie, which have no body."""

FIXED = [
    (re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|\+00:00)?"), "2026-11-25T12:00:00Z"),
    (re.compile(r"\bgraftbook_([0-9A-Za-z]{8})_[0-9A-Za-z_]+"), r"graftbook_\1_…"),
]


def operations(app: FastAPI) -> Iterator[tuple[str, str, str, dict[str, Any]]]:
    for path, item in app.openapi()["paths"].items():
        for method, operation in item.items():
            yield operation["operationId"], method, path, operation


def body_of(name: str, operation: dict[str, Any], app: FastAPI) -> Any:
    """The document's example of an operation's body; None without one."""
    if name in BODIES:
        return BODIES[name]
    content = operation.get("requestBody", {}).get("content", {}).get("application/json")
    if content is None:
        return None
    reference = content["schema"]["$ref"].rsplit("/", 1)[1]
    return app.openapi()["components"]["schemas"][reference]["examples"][0]


def cut(value: Any) -> Any:
    """Long lists and texts are cut: an example shows the form, not the catalogue."""
    if isinstance(value, dict):
        return {key: cut(item) for key, item in value.items()}
    if isinstance(value, list):
        return [cut(item) for item in value[:LONGEST_LIST]]
    if isinstance(value, str):
        for pattern, fixed in FIXED:
            value = pattern.sub(fixed, value)
        return value if len(value) <= LONGEST_TEXT else value[:LONGEST_TEXT].rsplit("\n", 1)[0] + "\n"
    return value


async def gathered(app: FastAPI) -> dict[str, Any]:
    """Operation → status → media type → answer."""
    known = {name: (method, path, operation) for name, method, path, operation in operations(app)}
    rest = [name for name in known if name not in {*FIRST, *LAST, *NEITHER}]
    found: dict[str, Any] = {}
    async with client_of(app, scope="administer") as client:
        for name in [*FIRST, *rest, *(name for name in LAST if name in known)]:
            if name not in known:
                continue
            for wanted in _media(known[name][2]):
                answer = await _asked(client, app, name, *known[name], wanted)
                if answer.content:
                    media = answer.headers["content-type"].split(";")[0]
                    shown = cut(answer.json() if media.endswith("json") else answer.text)
                    if name == "importSchema":
                        shown = {key: item for key, item in shown.items() if isinstance(item, str)}
                    found.setdefault(name, {}).setdefault(str(answer.status_code), {})[media] = shown
        keys = [key["id"] for key in (await client.get("/v1/keys")).json()["items"]]
    told = orjson.dumps(found).decode()
    for id, fixed in zip(keys, ("K1exampl", "K2exampl"), strict=True):
        told = told.replace(id, fixed)
    return orjson.loads(told)


def _media(operation: dict[str, Any]) -> list[str]:
    """The forms that an answer comes in; `*/*` for an answer without content."""
    answers = operation["responses"]
    return [
        media
        for status in answers
        if status.startswith("2")
        for media, content in answers[status].get("content", {"*/*": {}}).items()
        if content.get("schema", {}).get("format") != "binary"
    ][: None if len({*answers} & {"200", "201"}) < 2 else 1]


async def _asked(
    client: httpx.AsyncClient,
    app: FastAPI,
    name: str,
    method: str,
    path: str,
    operation: dict[str, Any],
    accept: str,
) -> httpx.Response:
    if name == "revokeKey":
        keys = (await client.get("/v1/keys")).json()["items"]
        address = f"/v1/keys/{next(key['id'] for key in keys if key['label'] == 'counter')}"
    else:
        values = VALUES | {"id": ""}
        if path.startswith("/v1/order-lists"):
            values["name"] = "red-van-brakes"
        address = ADDRESSES.get(name, path.format(**values))
    headers = {"Accept": accept}
    if any(given["name"].lower() == "if-match" for given in operation.get("parameters", ())):
        step = method == "post" or address.endswith("/note")
        what = address.split("/bookings/")[0] if "/bookings/" in address else address.rsplit("/", 1)[0]
        read = await client.get(what if step else address)
        etag = read.headers.get("etag")
        headers |= {"If-Match": etag} if etag else {"If-None-Match": "*"}
    if method == "patch":
        headers["Content-Type"] = "application/merge-patch+json"
    body = body_of(name, operation, app)
    if name == "substituteInOrderList":
        lines = read.json()["lines"]
        body = {
            "line": next(line["line"] for line in lines if line["number"] == "QB-2090"),
            "number": "QB-7090",
        }
    sheet = isinstance(body, str)
    sent = {} if body is None else {"content": body if sheet else orjson.dumps(body)}
    headers = {"Content-Type": "text/csv" if sheet else "application/json"} | headers if sent else headers
    answer = await client.request(method.upper(), address, headers=headers, **sent)
    assert answer.status_code < 300, f"{name} {address}: {answer.text}"
    return answer


def make() -> dict[str, Any]:
    """The examples, asked of a demo range of their own."""
    with tempfile.TemporaryDirectory() as folder:
        app = create_app(Settings(database_url=f"sqlite:///{Path(folder) / 'demo.sqlite3'}"))
        engine = app.state.service.engine
        migrate(engine)
        assert load(engine, demo_sheets(), who="house", why="the demo range").ok
        try:
            return asyncio.run(gathered(app))
        finally:
            engine.dispose()


if __name__ == "__main__":
    lines = [
        f"{orjson.dumps(name).decode()}: {orjson.dumps(shown).decode()}" for name, shown in make().items()
    ]
    WHERE.write_text("{\n" + ",\n".join(sorted(lines)) + "\n}\n", encoding="utf-8")
    print(f"{WHERE.name}: {WHERE.stat().st_size} bytes")
