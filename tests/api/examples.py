"""Real answers for the OpenAPI document, asked of the demo range and cut short.

    python -m tests.api.examples

writes `api/graftbook/http/examples.json`: operation, status, media type, answer; and under `members` a value
of every member that some answer shows. Questions of a body are the document's own examples of it. What
differs from run to run (moments, keys, ids) gets one fixed value.
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
from tests.pictures.drawn import sketch

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
    "listRecords": "/v1/records/fitment?component=QB-3310&fields=component,position,minutes&limit=1",
    "getRecord": "/v1/records/section/brakes",
    "getRecordHistory": "/v1/records/section/brakes/history",
    "putRecord": "/v1/records/section/trim",
    "patchRecord": "/v1/records/section/trim",
    "removeRecord": "/v1/records/section/trim",
    "compareRevisions": "/v1/revisions/compare?from=1&to=2",
    "takeBackRevision": "/v1/revisions/3/take-back",
    "getProposal": "/v1/proposals/4",
    "getProposalEffect": "/v1/proposals/4/effect",
    "withdrawProposal": "/v1/proposals/3/withdraw",
    "listPictures": "/v1/pictures/of/component/QB-3302",
    "attachPicture": "/v1/pictures/of/component/QB-3302?caption=seen+from+behind",
    "takeFlatIssue": "/v1/flat-lists/red-van/take?dry_run=true",
}
BODIES: dict[str, Any] = {
    "attachPicture": sketch(),
    "makeOrder": {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]},
    "makeClosure": {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]},
    "createKey": {"label": "counter", "scope": "order"},
    "putRecord": {"rows": [{"name": "trim", "title": "Trim", "order": 90}]},
    "patchRecord": {"title": "Trim and seats"},
    "importRecords": [{"record": "section", "name": "trim", "title": "Trim", "order": 90}],
    "proposeChange": {
        "why": "the fittings of last year were looked through",
        "records": [
            {"record": "evidence", "name": "our-bench", "grade": "measured", "reference": "bench sheet 12"}
        ],
    },
    "acceptProposals": {"proposals": [1], "reason": "seen on the vehicle"},
    "refuseProposals": {"proposals": [2], "reason": "it is there already"},
    "countStock": "number,quantity,place\nQB-9001,4,drawer 14\n",
    "putFlatIssue": "Part No;Description;Model;Price;Formerly\nFL-1;battery;24 van;4.50;\n"
    "FL-2;battery;24 vnn;1,250;\n",
}
FIRST = [
    "createBuild", "createSpecification", "putRecord", "putRecord", "patchRecord", "getBuild",
    "getSpecification", "replaceBuild", "reviseSpecification", "takeBackRevision", "removeRecord",
    "createOrderList", "discardOrderList", "createOrderList", "noteOrderList", "recomputeOrderList",
    "substituteInOrderList", "compareOrderList", "sendOrderList", "receiveOrderList",
    "takeBackOrderListBooking", "receiveOrderList", "closeOrderList", "putStock", "createWebhook",
    "setHouseSpecification", "recordBuildEvents", "carryOutOrderList",
    "putFlatList", "putFlatList", "putFlatIssue", "getFlatIssue",
    "attachPicture", "attachPicture",
    *["proposeChange"] * 4, "acceptProposals", "refuseProposals", "withdrawProposal",
]  # fmt: skip
"""Asked in this order before all others: some answers need what another stored."""

LAST = ["deleteBuild", "revokeKey", "emptyStock", "removeWebhook", "removeFlatList"]
NEITHER = {"signIn", "signOut", "takePictureAway"}
"""Their answers have no body."""

_VAN, _DISCS, _SET = {"chassis": "24PL-018412"}, [{"fit": "QB-3310"}], ["QB-3310", "QE-1100"]
FURTHER: list[tuple[str, str, str, Any]] = [
    ("post", "/v1/closures", "/v1/closures", {"vehicle": _VAN, "wishes": _DISCS, "alternatives": 3}),
    ("post", "/v1/closures", "/v1/closures?view=summary", {"vehicle": _VAN, "wishes": _DISCS}),
    ("post", "/v1/closures", "/v1/closures", {"vehicle": _VAN, "wishes": [{"remedy_all": "severe"}]}),
    (
        "post", "/v1/closures", "/v1/closures",
        {"vehicle": _VAN, "wishes": _DISCS, "limits": {"keep_sections": ["wheels"]}},
    ),
    (
        "post", "/v1/closures", "/v1/closures?view=summary",
        {"vehicle": _VAN, "wishes": _DISCS, "limits": {"keep_sections": ["wheels"]}},
    ),
    ("post", "/v1/checks", "/v1/checks", {"vehicle": _VAN, "components": _SET}),
    ("post", "/v1/checks", "/v1/checks?view=summary", {"vehicle": _VAN, "components": _SET}),
    (
        "post", "/v1/closures/why-not", "/v1/closures/why-not?view=summary",
        {"vehicle": _VAN, "wishes": _DISCS, "component": "QB-7050"},
    ),
    ("post", "/v1/orders", "/v1/orders", {"vehicle": _VAN, "wishes": [{"upgrade": "front-discs"}]}),
    (
        "post", "/v1/orders", "/v1/orders",
        {"vehicle": _VAN, "wishes": [{"upgrade": "front-discs"}], "at_most_suppliers": 1},
    ),
    (
        "post", "/v1/orders", "/v1/orders?view=summary",
        {"vehicle": _VAN, "wishes": [{"upgrade": "front-discs"}], "at_most_suppliers": 1},
    ),
    (
        "post", "/v1/fitting-sequences", "/v1/fitting-sequences",
        {"vehicle": _VAN, "wishes": [{"upgrade": "front-discs"}], "hands": 2},
    ),
    (
        "post", "/v1/fitting-sequences", "/v1/fitting-sequences?view=summary",
        {"vehicle": _VAN, "wishes": [{"upgrade": "front-discs"}]},
    ),
    (
        "post", "/v1/compatibility", "/v1/compatibility",
        {"questions": [{"component": "QB-3310", "chassis": "24PL-018412"}], "proof": True},
    ),
    ("get", "/v1/components/{number}", "/v1/components/QB-3310", None),
    ("get", "/v1/components", "/v1/components?limit=2", None),
    ("get", "/v1/flaws", "/v1/flaws?limit=100", None),
    ("get", "/v1/variants", "/v1/variants", None),
    ("get", "/v1/positions", "/v1/positions?limit=300", None),
    ("get", "/v1/vehicles/{chassis}", "/v1/vehicles/24PL-018412", None),
    ("get", "/v1/search", "/v1/search?text=brakse&chassis=24PL-018412", None),
    ("get", "/v1/components/{number}", "/v1/components/QB-331O", None),
    ("post", "/v1/closures", "/v1/closures", {"vehicle": {}, "wishes": _DISCS}),
]  # fmt: skip
"""Questions whose answers show what the examples of the operations do not: method, path, address, body."""

FIXED = [
    (re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|\+00:00)?"), "2026-11-25T12:00:00Z"),
    (re.compile(r"\bgraftbook_([0-9A-Za-z]{8})_[0-9A-Za-z_]+"), r"graftbook_\1_…"),
    (re.compile(r"\b[0-9a-f]{64}\b"), "0123456789abcdef" * 4),
    (re.compile(r"\bwhsec_[0-9A-Za-z+/=]+"), "whsec_…"),
    (re.compile(r"\bwh_[0-9a-f]{16}\b"), "wh_0f3c9a5be2d17846"),
    (re.compile(r"\bevt_[0-9a-f]{32}\b"), "evt_5d0be3a1c1f24a4e9a7c8b1f60d2e394"),
    (re.compile(r"\A[0-9a-f]{12}-(\d+)\Z"), r"4f1c09ab77d2-\1"),
    (re.compile(r"\A[0-9a-f]{16}\Z"), "ac6007571024e1b6"),
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


Seen = dict[str, dict[str, Any]]
LONGEST_SHOWN = 300
"""Characters of a value that stands beside a member."""


def forms_of(document: dict[str, Any], schema: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """What a value may be, each with the name of its schema; empty for one that has none."""
    name = schema.get("$ref", "").rpartition("/")[2]
    schema = document["components"]["schemas"][name] if name else schema
    alternatives = schema.get("anyOf") or schema.get("oneOf")
    if alternatives and "properties" not in schema:
        for one in alternatives:
            yield from forms_of(document, one)
    else:
        yield name, schema


def watch(document: dict[str, Any], schema: dict[str, Any], value: Any, seen: Seen) -> None:
    """Note the first value of each member that says something, wherever in a document."""
    for name, form in forms_of(document, schema):
        if isinstance(value, list) and "items" in form:
            for item in value:
                watch(document, form["items"], item, seen)
        elif isinstance(value, dict):
            known = form.get("properties", {})
            if known and not set(form.get("required", ())) <= set(value) <= set(known):
                continue
            further = form.get("additionalProperties")
            for member, inner in value.items():
                if member in known:
                    if name and _says_something(inner):
                        seen.setdefault(name, {}).setdefault(member, cut(inner))
                    watch(document, known[member], inner, seen)
                elif isinstance(further, dict):
                    watch(document, further, inner, seen)


def _says_something(value: Any) -> bool:
    plain = value[:LONGEST_LIST] if isinstance(value, list) else [value]
    return bool(plain) and all(
        item not in ("", None) and not isinstance(item, dict | list) and len(str(item)) <= LONGEST_SHOWN
        for item in plain
    )


async def watched(app: FastAPI, client: httpx.AsyncClient, seen: Seen) -> None:
    """Further answers, which show members that no other does."""
    document = app.openapi()
    for method, path, address, body in FURTHER:
        answer = await client.request(method, address, json=body)
        content = document["paths"][path][method]["responses"][str(answer.status_code)]
        if "$ref" in content:
            content = document["components"]["responses"][content["$ref"].rpartition("/")[2]]
        schema = next(iter(content["content"].values()))["schema"]
        watch(document, schema, answer.json(), seen)
    for name, schema in document["components"]["schemas"].items():
        for example in schema.get("examples", ()):
            watch(document, {"$ref": f"#/components/schemas/{name}"}, example, seen)


async def gathered(app: FastAPI, ask: Any = None) -> dict[str, Any]:
    """Operation → status → media type → answer; `members`: schema → member → value. `ask` asks in the place
    of `asked`."""
    known = {name: (method, path, operation) for name, method, path, operation in operations(app)}
    rest = [name for name in known if name not in {*FIRST, *LAST, *NEITHER}]
    found: dict[str, Any] = {}
    seen: Seen = {}
    async with client_of(app, scope="administer") as client:
        for name in [*FIRST, *rest, *(name for name in LAST if name in known)]:
            if name not in known:
                continue
            for wanted in _media(known[name][2]):
                answer = await (ask or asked)(client, app, name, *known[name], wanted)
                if answer.content:
                    media = answer.headers["content-type"].split(";")[0]
                    whole = answer.json() if media.endswith("json") else answer.text
                    content = known[name][2]["responses"][str(answer.status_code)]["content"][media]
                    watch(app.openapi(), content["schema"], whole, seen)
                    shown = cut(whole)
                    if name == "importSchema":
                        shown = {key: item for key, item in shown.items() if isinstance(item, str)}
                    found.setdefault(name, {}).setdefault(str(answer.status_code), {})[media] = shown
        await watched(app, client, seen)
        found["members"] = {name: seen[name] for name in sorted(seen)}
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
        if content.get("schema", {}).get("format") != "binary" and media != "text/event-stream"
    ][: None if len({*answers} & {"200", "201"}) < 2 else 1]


async def asked(
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
        if path.startswith("/v1/webhooks/"):
            values["id"] = (await client.get("/v1/webhooks")).json()["items"][0]["id"]
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
    media = {str: "text/csv", bytes: "image/png"}.get(type(body), "application/json")
    sent = {} if body is None else {"content": orjson.dumps(body) if "json" in media else body}
    headers = {"Content-Type": media} | headers if sent else headers
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
