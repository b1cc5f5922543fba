"""Whoever reads the OpenAPI document alone can write a client: nothing is untyped, unsaid or said twice."""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from jsonschema import Draft202012Validator, FormatChecker

from graftbook.http.contract.members import MEMBERS
from graftbook.http.openapi import answers_shown

pytestmark = pytest.mark.anyio

Schema = dict[str, Any]

FREE = {
    "paths/v1/imports/schema/get/responses/200": "it is a JSON Schema, which may hold whatever one may hold",
    "components/schemas/OrderEventOut/properties/detail": "an entry of a log: what it holds depends on "
    "`what`, and old entries stay as they were written",
    "components/schemas/BuildEventOut/properties/detail": "an entry of a log, likewise",
}
"""Objects without a form of their own, each with why."""

ON_EVERY_ANSWER = {
    "cache-control", "content-encoding", "content-length", "content-security-policy", "content-type",
    "cross-origin-opener-policy", "cross-origin-resource-policy", "permissions-policy", "referrer-policy",
    "vary", "x-content-type-options", "x-frame-options", "x-request-id",
}  # fmt: skip
"""Headers that the document's own words tell of, or that are for browsers and caches alone."""


@pytest.fixture(scope="session")
def document(app: FastAPI) -> Schema:
    return app.openapi()


def schemas(document: Schema) -> Iterator[tuple[str, Schema]]:
    yield from document["components"]["schemas"].items()


def properties(document: Schema) -> Iterator[tuple[str, Schema]]:
    for name, schema in schemas(document):
        for member, described in schema.get("properties", {}).items():
            yield f"{name}.{member}", described


def followed(document: Schema, node: Any) -> Any:
    while isinstance(node, dict) and "$ref" in node:
        at: Any = document
        for part in node["$ref"].removeprefix("#/").split("/"):
            at = at[part]
        node = at
    return node


def variants(document: Schema, schema: Schema) -> Iterator[Schema]:
    """What a value may be: each of the alternatives, references followed."""
    schema = followed(document, schema)
    alternatives = schema.get("anyOf") or schema.get("oneOf")
    if alternatives and "properties" not in schema:
        for one in alternatives:
            yield from variants(document, one)
    else:
        yield schema


def holds_values(document: Schema, schema: Schema) -> bool:
    """Whether it is a plain value, or a list of them: members of objects have examples themselves."""
    for one in variants(document, schema):
        if one.get("type") == "object" or "properties" in one:
            return False
        if one.get("type") == "array" and not holds_values(document, one["items"]):
            return False
    return True


def operations(document: Schema) -> Iterator[tuple[str, str, Schema]]:
    for path, item in document["paths"].items():
        for method, operation in item.items():
            yield path, method, operation


def test_the_words_for_members_are_each_of_some_schema(document: Schema) -> None:
    told = {(name.split(".")[1], shown.get("description")) for name, shown in properties(document)}
    assert set(MEMBERS.items()) - told == set()


def test_every_member_has_a_sentence(document: Schema):
    lacking = [name for name, described in properties(document) if len(described.get("description", "")) < 5]
    assert lacking == [], "say it where it is written, or in http/contract/members.py"


def test_every_schema_has_a_sentence(document: Schema):
    lacking = [name for name, s in schemas(document) if "properties" in s and not s.get("description")]
    assert lacking == []


def test_every_plain_member_has_an_example_that_is_one(document: Schema):
    lacking, wrong = [], []
    for name, described in properties(document):
        examples = described.get("examples", [])
        if not examples and "const" not in described and holds_values(document, described):
            lacking.append(name)
        for example in examples:
            whole = described | {"components": document["components"]}
            if not Draft202012Validator(whole, format_checker=FormatChecker()).is_valid(example):
                wrong.append((name, example))
    assert (lacking, wrong) == ([], []), "python -m tests.api.examples, or http/contract/members.py"


def untyped(node: Any, at: str) -> Iterator[str]:
    if isinstance(node, list):
        for number, item in enumerate(node):
            yield from untyped(item, f"{at}/{number}")
    if not isinstance(node, dict):
        return
    if node.get("type") == "object" and "$ref" not in node:
        further = node.get("additionalProperties")
        if "properties" not in node and not (isinstance(further, dict) and further):
            yield at
    for key, value in node.items():
        if key in ("example", "examples", "default", "security"):
            continue
        if value == {} and key in ("items", "schema", "additionalProperties"):
            yield f"{at}/{key}"
        if key in ("anyOf", "oneOf") and {} in value:
            yield f"{at}/{key}"
        yield from untyped(value, f"{at}/{key}".replace("//", "/"))


def test_no_object_is_untyped(document: Schema):
    found = [at for at in untyped({k: document[k] for k in ("paths", "components")}, "") if at]
    kept = {name for name in FREE if any(at.strip("/").startswith(name) for at in found)}
    assert kept == {*FREE}, "a reason that nothing needs"
    assert [at for at in found if not at.strip("/").startswith(tuple(FREE))] == []


def test_titles_name_one_schema_each(document: Schema):
    titles = Counter(s["title"] for _, s in schemas(document) if "title" in s)
    assert [title for title, times in titles.items() if times > 1] == []
    assert [name for name, s in schemas(document) if s.get("title", name) != name] == []
    assert [name for name, described in properties(document) if "title" in described] == []
    assert [name for name, _ in schemas(document) if "__" in name] == [], "two classes of one name"


def test_no_alternatives_hide_the_members_of_an_object(document: Schema):
    """Generators take them for what the object is, and make nothing of its members."""
    hidden = [n for n, s in schemas(document) if "properties" in s and {"anyOf", "oneOf", "allOf"} & {*s}]
    assert hidden == []


def test_no_parameter_may_be_null(document: Schema):
    for path, method, operation in operations(document):
        for parameter in operation.get("parameters", ()):
            assert "null" not in str(parameter["schema"].get("anyOf")), f"{method} {path} {parameter['name']}"


FORMATS = {
    "date": re.compile(r"\d{4}-\d\d-\d\d"),
    "date-time": re.compile(r"\d{4}-\d\d-\d\dT.*"),
    "decimal": re.compile(r"-?\d+\.\d\d"),
}


def texts(document: Schema, schema: Schema, value: Any, at: str) -> Iterator[tuple[str, str, set[str]]]:
    """Each text of a value with where it stands and the formats that its schema gives."""
    forms = list(variants(document, schema))
    if isinstance(value, str):
        yield at, value, {form["format"] for form in (schema, *forms) if "format" in form}
    elif isinstance(value, list):
        for item in value:
            for form in forms:
                if "items" in form:
                    yield from texts(document, form["items"], item, at)
    elif isinstance(value, dict):
        for name, item in value.items():
            for form in forms:
                inner = form.get("properties", {}).get(name) or form.get("additionalProperties")
                if isinstance(inner, dict):
                    where = f"{form.get('title', at)}.{name}" if "properties" in form else at
                    yield from texts(document, inner, item, where)


ROWS = {("ReportOut.report", "date"), ("ReportedOut.report", "date")}
"""Rows of the text format, whose cells `GET /v1/imports/schema` describes."""


def test_days_moments_and_money_say_that_they_are(document: Schema):
    """By what real answers hold."""
    lacking = set()
    for name, by_status in answers_shown().items():
        operation = next((o for _, _, o in operations(document) if o["operationId"] == name), None)
        for status, by_media in by_status.items() if operation else ():
            for media, answer in by_media.items():
                content = operation["responses"].get(status, {}).get("content", {}).get(media)
                if not content or not media.endswith("json"):
                    continue
                for at, text, formats in texts(document, content["schema"], answer, name):
                    for format_, pattern in FORMATS.items():
                        if pattern.fullmatch(text) and not formats:
                            lacking.add((at, format_))
    assert sorted(lacking - ROWS) == []


def test_refusals_are_described_once_each(document: Schema):
    shared = document["components"]["responses"]
    for path, method, operation in operations(document):
        for status, answer in operation["responses"].items():
            if status >= "4":
                assert [*answer] == ["$ref"], f"{method} {path} {status}"
    told = [str(answer) for answer in shared.values()]
    assert len(set(told)) == len(told)


def test_the_document_says_where_the_service_is_which_version_and_what_becomes_of_it(document: Schema):
    assert document["servers"]
    assert all(server["description"] for server in document["servers"])
    assert re.fullmatch(r"\d+\.\d+\.\d+", document["info"]["version"])
    assert "deprecated" in document["info"]["description"]


def test_what_needs_no_key_says_so(document: Schema):
    for path, method, operation in operations(document):
        assert "security" in operation, f"{method} {path}"


def test_if_match_is_required_where_it_is_wanted(document: Schema):
    """Where a request without it may be right, it is optional: storing what is new."""
    optional = set()
    for path, method, operation in operations(document):
        given = {p["name"].lower(): p for p in operation.get("parameters", ())}
        assert ("428" in operation["responses"]) == ("if-match" in given), f"{method} {path}"
        if "if-match" in given and not given["if-match"].get("required"):
            optional.add(operation["operationId"])
    assert optional == {"putRecord", "putStock", "countStock"}


def test_an_answer_with_an_etag_may_be_asked_for_on_condition(document: Schema):
    for path, method, operation in operations(document):
        answers = operation["responses"]
        given = {p["name"].lower() for p in operation.get("parameters", ())}
        assert ("304" in answers) == ("if-none-match" in given), f"{method} {path}"
        if "304" in answers:
            assert "ETag" in answers["200"]["headers"], f"{method} {path}"
            assert "ETag" in answers["304"]["headers"], f"{method} {path}"


def described_headers(document: Schema, path: str, method: str, status: int) -> dict[str, Schema]:
    answer = followed(document, document["paths"][path][method]["responses"][str(status)])
    return {name.lower(): followed(document, told) for name, told in answer.get("headers", {}).items()}


def path_of(document: Schema, address: str) -> str:
    plain = address.split("?")[0]
    if plain in document["paths"]:
        return plain
    patterns = {p: re.sub(r"{\w+}", "[^/]+", p) for p in document["paths"]}
    return next(p for p, pattern in patterns.items() if re.fullmatch(pattern, plain))


BUILD = {"name": "blue-van", "chassis": "24PL-018412"}
LIST = {"name": "blue-van-brakes", "vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}
ONCE = {"Idempotency-Key": "described"}
ASKED: list[tuple[str, str, Any, dict[str, str]]] = [
    ("get", "/livez", None, {}),
    ("get", "/readyz", None, {}),
    ("get", "/v1/components?limit=1", None, {}),
    ("get", "/v1/components/QB-3310", None, {}),
    ("get", "/v1/components/QB-3310", None, {"If-None-Match": "*"}),
    ("get", "/v1/components/nonsuch", None, {}),
    ("get", "/v1/vehicles/24PL-018412", None, {}),
    ("get", "/v1/closures?chassis=24PL-018412&fit=QL-7075", None, {}),
    ("post", "/v1/closures", {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}, {}),
    ("post", "/v1/checks", {"vehicle": {"chassis": "24PL-018412"}, "components": ["QL-7075"]}, {}),
    ("post", "/v1/compatibility", {"questions": [{"component": "QL-7075", "chassis": "24PL-018412"}]}, {}),
    ("get", "/v1/orders?chassis=24PL-018412&fit=QL-7075", None, {"Accept": "application/pdf"}),
    ("get", "/v1/orders?chassis=24PL-018412&fit=QL-7075", None, {}),
    ("post", "/v1/orders", {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}, {}),
    ("post", "/v1/builds", BUILD, ONCE),
    ("post", "/v1/builds", BUILD, ONCE),
    ("get", "/v1/builds/blue-van", None, {}),
    ("get", "/v1/builds/blue-van", None, {"If-None-Match": "*"}),
    ("put", "/v1/builds/blue-van", {"chassis": "24PL-018412"}, {"If-Match": "read"}),
    ("put", "/v1/builds/blue-van", {"chassis": "24PL-018412"}, {}),
    ("put", "/v1/builds/blue-van", {"chassis": "24PL-018412"}, {"If-Match": '"other"'}),
    ("delete", "/v1/builds/blue-van", None, {"If-Match": "read"}),
    ("post", "/v1/specifications", {"name": "plain", "title": "Plain", "wishes": [{"fit": "QL-7075"}]}, {}),
    ("get", "/v1/specifications/plain", None, {}),
    ("post", "/v1/order-lists", LIST, {}),
    ("get", "/v1/order-lists/blue-van-brakes", None, {}),
    ("get", "/v1/order-lists/blue-van-brakes", None, {"Accept": "application/pdf"}),
    ("delete", "/v1/order-lists/blue-van-brakes", None, {"If-Match": "read"}),
    ("get", "/v1/stock", None, {}),
    ("get", "/v1/stock", None, {"Accept": "text/csv"}),
    ("put", "/v1/stock/QB-9001", {"quantity": 4}, {"If-None-Match": "*"}),
    ("get", "/v1/stock/QB-9001", None, {}),
    ("get", "/v1/exports", None, {}),
    ("get", "/v1/records/component/QB-3310", None, {}),
    ("get", "/v1/revisions?limit=1", None, {}),
]  # fmt: skip


async def test_headers_that_are_sent_are_described(writer: httpx.AsyncClient, document: Schema):
    wrong: list[str] = []
    for method, address, body, headers in ASKED:
        if headers.get("If-Match") == "read":
            headers = {"If-Match": (await writer.get(address)).headers["etag"]}
        answer = await writer.request(method, address, json=body, headers=headers)
        where = f"{method} {address} {answer.status_code}"
        told = described_headers(document, path_of(document, address), method, answer.status_code)
        sent = {name.lower() for name in answer.headers} - ON_EVERY_ANSWER
        wrong += [f"{where}: {name} is sent, not described" for name in sent - {*told}]
        always = {name for name, header in told.items() if header.get("required")}
        wrong += [f"{where}: {name} is described as always there" for name in always - sent]
    assert wrong == []


async def test_a_refused_key_says_how_to_send_one(client: httpx.AsyncClient, document: Schema):
    answer = await client.get("/v1/keys")
    told = described_headers(document, "/v1/keys", "get", answer.status_code)
    assert answer.status_code == 401
    assert "www-authenticate" in told
    assert "www-authenticate" in answer.headers


def test_whoever_is_to_wait_is_told_how_long(document: Schema):
    for path, method, operation in operations(document):
        for status in {"429", "503"} & {*operation["responses"]}:
            assert "retry-after" in described_headers(document, path, method, int(status)), f"{method} {path}"
