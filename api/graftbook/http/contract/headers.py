"""Headers in the OpenAPI document: which an answer carries, and what a request may make a condition.

What follows from what an operation declares is read off that: 304 means an ETag, a cursor a Link, an
Idempotency-Key its answer. What else an answer carries its route says with `carries`.
"""

from collections.abc import Iterator
from typing import Any

from graftbook.http.preconditions import WANTED

Node = dict[str, Any]


def _text(description: str, example: str, *, always: bool = False) -> Node:
    header: Node = {"description": description, "schema": {"type": "string", "examples": [example]}}
    return header | ({"required": True} if always else {})


HEADERS: dict[str, Node] = {
    "ETag": _text(
        "strong ETag of all that the answer depends on: for If-None-Match when it is asked for again, for "
        "If-Match when it is changed; an answer that time cut short has none",
        '"2f0c41d6a1c94e0f8a6b3d5e7c9f1b20"',
    ),
    "Link": _text(
        'address of the next page (RFC 8288, `rel="next"`); none on the last',
        '</v1/components?limit=100&cursor=eyJ>; rel="next"',
    ),
    "Location": _text("address of what is stored, or where to go on", "/v1/builds/red-van", always=True),
    "Content-Location": _text(
        "address of this very answer, with its `as_of`; none where no address says the same",
        "/v1/closures?chassis=24PL-018412&fit=QB-3310&as_of=41",
    ),
    "Content-Disposition": _text("a name to save it under", 'attachment; filename="order.pdf"'),
    "Idempotency-Replayed": {
        "description": "`true`: this is the first answer again, nothing was done now",
        "schema": {"type": "string", "enum": ["true"], "examples": ["true"]},
    },
    "Retry-After": {
        "description": "seconds to wait before it is asked again (RFC 9110, 10.2.3)",
        "schema": {"type": "integer", "minimum": 1, "examples": [5]},
    },
    "WWW-Authenticate": _text("how to send a key", 'Bearer realm="graftbook"', always=True),
    "Set-Cookie": _text("begins or ends the browser's session", "graftbook_session=…; HttpOnly"),
}
"""Those that are always there say `required`."""

IF_NONE_MATCH: Node = {
    "name": "If-None-Match",
    "in": "header",
    "required": False,
    "description": "ETags that you have: 304, without a body, while one of them still holds",
    "schema": {"type": "string"},
    "example": '"2f0c41d6a1c94e0f8a6b3d5e7c9f1b20"',
}
WAITING = {"409", "429", "503"}
"""Statuses whose refusals may say when to ask again."""


def describe_headers(document: Node) -> None:
    """Complete every operation of the document. Refusals are still written where they stand."""
    document["components"]["headers"] = HEADERS
    for item in document["paths"].values():
        for operation in item.values():
            _describe(operation)


def carries(*names: str) -> Node:
    """For `responses` of a route: the headers that this answer has, or may have."""
    return {"headers": {name: {"$ref": f"#/components/headers/{name}"} for name in names}}


def _describe(operation: Node) -> None:
    answers = operation["responses"]
    given = {parameter["name"].lower(): parameter for parameter in operation.get("parameters", ())}
    if "304" in answers:
        operation.setdefault("parameters", []).append(IF_NONE_MATCH)
    if condition := given.get("if-match"):
        condition["required"] = condition["schema"].pop(WANTED, False)
    for status, answer in answers.items():
        for name in _headers_carried(status, answers, given):
            answer.setdefault("headers", {}).update(carries(name)["headers"])


def _headers_carried(status: str, answers: Node, given: Node) -> Iterator[str]:
    if status in WAITING:
        yield "Retry-After"
    elif status == "401":
        yield "WWW-Authenticate"
    elif status in ("200", "304") and "304" in answers:
        yield "ETag"
    if status == "200" and "cursor" in given:
        yield "Link"
    if status[0] == "2" and "idempotency-key" in given:
        yield "Idempotency-Replayed"
