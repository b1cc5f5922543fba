"""Whatever is sent as a body, whatever it says that it is, the answer is one that the document tells."""

import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI

from tests.conftest import client_of

pytestmark = [pytest.mark.anyio, pytest.mark.one_engine]

SENT: dict[str, tuple[str | None, bytes]] = {
    "no UTF-8": ("application/json", b'"\xff\xfe"'),
    "said twice": ("application/json", b'{"a": 1, "a": 2}'),
    "nested": ("application/json", b"[" * 100_000),
    "digits": ("application/json", b"1" * 5_000),
    "begun": ("application/json", b"{"),
    "nothing": ("application/json", b""),
    "a list": ("application/json", b"[]"),
    "a patch begun": ("application/merge-patch+json", b"{"),
    "plain": ("text/plain", b"x"),
    "untold": (None, b"x"),
    "bytes": ("application/octet-stream", b"\0"),
    "no sheet": ("text/csv", b"\xff\0"),
    "no picture": ("image/png", b"x"),
}


def changing(app: FastAPI) -> Iterator[tuple[str, str, dict[str, Any]]]:
    """Method, address and description of every operation that may have a body."""
    for path, methods in app.openapi()["paths"].items():
        for method, operation in methods.items():
            if method != "get" and path not in ("/signin", "/signout"):
                numbered = re.sub(r"\{(number|booking)\}", "999999", path)
                yield method.upper(), re.sub(r"\{\w+\}", "component", numbered), operation


@pytest.mark.parametrize("case", SENT)
async def test_a_wrong_body_is_answered_as_the_document_tells(own_app: FastAPI, case: str) -> None:
    media, content = SENT[case]
    headers = {"Content-Type": media} if media else {}
    told = {}
    async with client_of(own_app, scope="administer") as client:
        for method, path, operation in changing(own_app):
            answer = await client.request(method, path, content=content, headers=headers)
            if str(answer.status_code) not in operation["responses"]:
                told[f"{method} {path}"] = (answer.status_code, answer.json().get("detail"))
            takes = operation.get("requestBody", {}).get("content", {})
            json = "json" in (media or "") and any("json" in one for one in takes)
            if takes and media not in takes and not json and answer.status_code not in (404, 428):
                assert answer.status_code == 415, (method, path, answer.text)
    assert not told
