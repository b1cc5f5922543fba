"""The client has a method for every operation that the OpenAPI document tells, or a reason why not."""

import inspect
import re
from collections.abc import Callable, Iterator
from types import ModuleType
from typing import Any

import pytest
from fastapi import FastAPI

from graftbook.client import AsyncClient, Client, calls, edits, kept
from graftbook.client.calls import Call, Pages

LEFT_OUT = {
    "signIn": "a session is a browser's; a program sends its key",
    "signOut": "a session is a browser's",
    "isAlive": "for what keeps the process running; `ready` says whether it can answer",
    "readMetrics": "for what collects figures, in that one's own format",
    "getClosure": "the same answer as makeClosure, by an address that fits a cache; `closure` posts it",
    "getOrder": "the same answer as makeOrder, by an address; `order` and `order_paper` post it",
}
HELPERS = {
    "as_document", "as_bytes", "as_paper", "as_vehicle", "sent", "path_of", "reading", "question",
    "once_only", "change", "following",
}  # fmt: skip
ROOMS = (calls, kept, edits)
GIVEN = {"int": 1, "bytes": b"", "Body": {}, "Sequence[Body]": [], "Sequence[int]": [1], "Sequence[str]": [],
         "Mapping[str, str | None]": {}, "Sequence[Body] | bytes": []}  # fmt: skip
"""What stands in a parameter by its type; else a word."""

Make = Callable[..., Any]


def makers(room: ModuleType) -> Iterator[tuple[str, Make]]:
    for name, made in inspect.getmembers(room, inspect.isfunction):
        if made.__module__ == room.__name__ and name[0] != "_" and name not in HELPERS:
            yield name, made


def made_by(make: Make, name: str) -> Call[Any]:
    given: dict[str, Any] = {}
    for one in inspect.signature(make).parameters.values():
        if one.default is inspect.Parameter.empty and one.kind is not inspect.Parameter.VAR_KEYWORD:
            given[one.name] = "pdf" if one.name == "form" else GIVEN.get(str(one.annotation), "word")
    found = make(**given)
    return found.first if isinstance(found, Pages) else found


MADE = {name: made_by(make, name) for room in ROOMS for name, make in makers(room)}


def operations(app: FastAPI) -> dict[str, tuple[str, re.Pattern[str]]]:
    """Operation → its method and what its addresses look like."""
    return {
        operation["operationId"]: (
            method.upper(),
            re.compile(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(path))),
        )
        for path, methods in app.openapi()["paths"].items()
        for method, operation in methods.items()
    }


def test_every_operation_has_a_method_or_a_reason(app: FastAPI) -> None:
    without = {
        name
        for name, (method, address) in operations(app).items()
        if not any(call.method == method and address.fullmatch(call.path) for call in MADE.values())
    }
    assert without == set(LEFT_OUT)
    assert all(LEFT_OUT.values())


def test_every_method_is_an_operation(app: FastAPI) -> None:
    known = list(operations(app).values())
    for name, call in MADE.items():
        assert any(call.method == method and address.fullmatch(call.path) for method, address in known), name


@pytest.mark.parametrize("client", [Client, AsyncClient])
def test_both_clients_have_every_method_with_a_word_on_it(client: type) -> None:
    assert set(MADE) <= set(dir(client))
    assert all(getattr(client, name).__doc__ for name in MADE)


def test_what_takes_an_idempotency_key_is_sent_with_one(app: FastAPI) -> None:
    document = app.openapi()
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            taken = [p["name"] for p in operation.get("parameters", []) if "name" in p]
            name = operation["operationId"]
            _, address = operations(app)[name]
            for call in MADE.values():
                if call.method == method.upper() and address.fullmatch(call.path):
                    assert ("Idempotency-Key" in taken) == ("Idempotency-Key" in call.headers), (name, path)
