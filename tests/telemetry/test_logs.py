"""One line a request, with nothing in it that the asker sent."""

import json
import logging
import sys
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from graftbook.database import make_engine
from graftbook.telemetry.logs import JsonLines, TextLines, fault, log_config
from tests.conftest import client_of
from tests.logged import faults
from tests.telemetry.conftest import Written

pytestmark = pytest.mark.anyio

SECRET = "hunter2secret"
EVERYWHERE = {
    "Cookie": f"session={SECRET}",
    "X-Request-Id": f"{SECRET} with spaces",
    "User-Agent": SECRET,
    "Referer": f"https://example/{SECRET}",
}


async def test_a_request_is_one_line_that_says_what_an_operator_needs(
    client: httpx.AsyncClient, written: Written
):
    body = {"vehicle": {"chassis": "24PL-018412"}, "wishes": [{"fit": "QL-7075"}]}
    answer = await client.post("/v1/closures", json=body, headers={"X-Request-Id": "counter-0815"})
    (line,) = written.requests
    assert line.pop("time").endswith("+00:00")
    assert 0 < line.pop("milliseconds") < 60_000
    assert line == {
        "level": "info", "event": "request", "request_id": "counter-0815", "method": "POST",
        "route": "/v1/closures", "status": 200, "outcome": "proved",
        "bytes": int(answer.headers["content-length"]),
    }  # fmt: skip


async def test_the_route_is_its_template_and_an_unknown_address_is_other(
    client: httpx.AsyncClient, written: Written
):
    await client.get("/v1/components/QB-3310")
    await client.get("/v1/nothing/here")
    await client.request("BREW", "/v1/variants")
    seen = [(line["route"], line["method"], line["status"]) for line in written.requests]
    assert seen == [
        ("/v1/components/{number}", "GET", 200), ("other", "GET", 404), ("/v1/variants", "other", 405),
    ]  # fmt: skip
    assert written.requests[1]["problem"] == "nothing-here"


async def test_secrets_sent_anywhere_are_in_no_line(
    app: FastAPI, written: Written, monkeypatch: pytest.MonkeyPatch
):
    async with client_of(app) as client:
        for path in ("/v1/closures", "/v1/checks", "/v1/imports", "/v1/builds", "/v1/compatibility"):
            for body in (f'{{"{SECRET}": 1}}', SECRET, f'{{"vehicle": {{"chassis": "{SECRET}"}}}}'):
                await client.post(
                    f"{path}?key={SECRET}",
                    content=body,
                    headers=EVERYWHERE | {"Content-Type": "application/json"},
                )
        for path in ("/v1/components/", "/v1/vehicles/", "/v1/builds/", "/", "/v1/variants?cursor="):
            await client.get(path + SECRET, headers=EVERYWHERE)

        def broken(*_: object, **__: object) -> None:
            try:
                raise KeyError(SECRET)
            except KeyError as error:
                raise ValueError(f"cannot use {SECRET}") from error

        monkeypatch.setattr("graftbook.questions.vehicles.endpoints.find_with_book", broken)
        assert (await client.get(f"/v1/vehicles/{SECRET}", headers=EVERYWHERE)).status_code == 500
        for header in (f"Bearer {SECRET}", f"Basic {SECRET}", SECRET):
            await client.get("/v1/variants", headers={"Authorization": header})
    assert len(written.requests) == 24
    assert SECRET not in written.whole
    (line,) = [line for line in written.lines if "fault" in line]
    assert line["fault"]["type"] == "builtins.ValueError"
    assert line["fault"]["from"]["type"] == "builtins.KeyError"
    assert any("test_logs.py" in place and place.endswith(" broken") for place in line["fault"]["places"])
    assert line["request_id"] == written.requests[-4]["request_id"]


async def test_a_fault_of_the_database_is_told_by_its_code_without_the_values(
    demo_url: str, written: Written
):
    """On both engines: what the engine itself says quotes the value."""
    engine = make_engine(demo_url)
    statements = {
        "duplicate": "INSERT INTO build (name) VALUES (:v)",
        "syntax": "SELECT nonsense FROM nowhere WHERE x = :v",
    }
    for statement in statements.values():
        with pytest.raises(SQLAlchemyError) as caught, engine.connect() as connection:
            connection.execute(text(statement), {"v": SECRET})
        assert SECRET not in str(caught.value).split("\n[SQL", 1)[1], "parameters are hidden"
        logging.getLogger("graftbook").error("went wrong", exc_info=caught.value)
    engine.dispose()
    assert SECRET not in written.whole
    assert [bool(line["fault"]["code"]) for line in written.lines if "fault" in line] == [True, True]


INJECTED = ["a\nlevel=error forged", "a\r\nb", "a\x1b[2Jb", "a\x00b", "a\u202eb", "a\u2028b", "a\x85b"]


@pytest.mark.parametrize("sent", INJECTED)
async def test_nothing_sent_makes_a_line_of_its_own(client: httpx.AsyncClient, written: Written, sent: str):
    await client.get(f"/v1/components/{quote(sent)}")
    await client.get("/v1/variants", params={"range": sent})
    await client.get("/livez", headers={b"X-Request-Id": sent.encode()})
    logging.getLogger("graftbook").warning("somebody said %s", sent)
    assert len(written.lines) == len(written.text) == 4
    assert "forged" not in "".join(str(line) for line in written.requests)
    assert all(line.isprintable() for line in written.text)


def test_words_of_an_exception_are_written_at_level_debug_only():
    try:
        raise ValueError("the words\x1b")
    except ValueError:
        record = logging.LogRecord("x", logging.ERROR, "", 0, "failed", None, sys.exc_info())
    assert "the words" not in JsonLines().format(record)
    assert "the words" in JsonLines(words=True).format(record)
    assert "\x1b" not in TextLines(words=True).format(record)
    assert log_config("json", "debug")["formatters"]["lines"]["words"]
    assert not log_config("json", "info")["formatters"]["lines"]["words"]


def test_a_lone_surrogate_breaks_no_line():
    record = logging.LogRecord("x", logging.ERROR, "", 0, "said \ud800", None, None)
    assert "said" in JsonLines().format(record)


def test_a_terminal_gets_text_and_a_file_gets_json(monkeypatch: pytest.MonkeyPatch):
    for terminal, form in ((True, "TextLines"), (False, "JsonLines")):
        monkeypatch.setattr(sys.stderr, "isatty", lambda terminal=terminal: terminal)
        assert log_config("auto", "info")["formatters"]["lines"]["()"].endswith(form)
    assert log_config("text", "info")["formatters"]["lines"]["()"].endswith("TextLines")


def test_places_name_no_path_of_this_machine():
    try:
        make_engine("sqlite:////no/such/folder/x").connect()
    except SQLAlchemyError as error:
        told = fault(error)
    assert told["places"]
    assert not any(place.startswith("/") for place in told["places"])


async def test_what_counts_faults_in_a_log_counts_each_kind_and_nothing_else():
    logger = logging.getLogger("counted")

    def line(form: type[logging.Formatter], level: int, **more: Any) -> str:
        return form().format(logger.makeRecord("counted", level, "", 0, "said", (), **more))

    try:
        raise LookupError("gone")
    except LookupError:
        raised = sys.exc_info()
    for form in (JsonLines, TextLines):
        quiet = [line(form, level, exc_info=None) for level in (logging.INFO, logging.WARNING)]
        assert faults("\n".join(quiet)) == []
        for told in (line(form, logging.ERROR, exc_info=None), line(form, logging.INFO, exc_info=raised)):
            assert faults("\n".join([*quiet, told])) == [told], told
    asked = json.dumps({"level": "info", "method": "GET", "status": 500})
    assert faults("\n".join([asked, asked.replace("500", "503"), "Traceback (most recent call last):"])) == [
        asked, "Traceback (most recent call last):",
    ]  # fmt: skip
