"""Spans, if OpenTelemetry is there; nothing of it, if it is not or nobody asked.

Attribute names are those of OpenTelemetry's semantic conventions for HTTP (from memory); the header is
W3C Trace Context's own example.
"""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from opentelemetry.sdk.trace.export import SimpleSpanProcessor
from opentelemetry.sdk.trace.export.in_memory_span_exporter import InMemorySpanExporter
from opentelemetry.trace import SpanKind, StatusCode

from graftbook.telemetry import tracing
from tests.telemetry.conftest import Written

pytestmark = pytest.mark.anyio

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def spans() -> Iterator[InMemorySpanExporter]:
    exporter = InMemorySpanExporter()
    tracing.use(SimpleSpanProcessor(exporter))
    yield exporter
    tracing.stop()


async def test_a_request_and_the_closure_inside_are_spans_of_the_callers_trace(
    client: httpx.AsyncClient, spans: InMemorySpanExporter, written: Written
):
    body = {"vehicle": {"chassis": "24PL-018420"}, "wishes": [{"fit": "QB-3310"}]}
    caller = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"
    await client.post("/v1/closures", json=body, headers={"traceparent": caller})
    inner, outer = spans.get_finished_spans()
    assert (outer.name, outer.kind) == ("POST /v1/closures", SpanKind.SERVER)
    assert outer.attributes == {
        "http.request.method": "POST", "http.route": "/v1/closures", "http.response.status_code": 200,
    }  # fmt: skip
    assert format(outer.context.trace_id, "032x") == "0af7651916cd43dd8448eb211c80319c"
    assert format(outer.parent.span_id, "016x") == "b7ad6b7169203331"
    assert inner.name == "reason closure"
    assert inner.parent.span_id == outer.context.span_id
    assert inner.attributes["graftbook.outcome"] == "proved"
    assert written.requests[0]["trace"] == "0af7651916cd43dd8448eb211c80319c"


async def test_a_fault_marks_its_span_without_its_words(
    client: httpx.AsyncClient, spans: InMemorySpanExporter, monkeypatch: pytest.MonkeyPatch
):
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("hunter2secret")

    monkeypatch.setattr("graftbook.questions.vehicles.endpoints.find_with_book", broken)
    await client.get("/v1/vehicles/hunter2secret?option=hunter2secret", headers={"Cookie": "a=hunter2secret"})
    (span,) = spans.get_finished_spans()
    assert span.status.status_code is StatusCode.ERROR
    assert span.name == "GET /v1/vehicles/{chassis}"
    assert "hunter2secret" not in span.to_json()


async def test_without_being_asked_for_it_makes_no_spans(client: httpx.AsyncClient, monkeypatch):
    monkeypatch.delenv("OTEL_EXPORTER_OTLP_ENDPOINT", raising=False)
    assert not tracing.start()
    assert not tracing.on()
    assert (await client.get("/v1/variants")).status_code == 200


def run(code: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, env=os.environ | environment,
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout + done.stderr


ASK = """
import asyncio, sys
{before}
from graftbook.app import create_app
from graftbook.settings import Settings
import httpx
app = create_app(Settings())
async def ask():
    async with app.router.lifespan_context(app):
        async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url="http://127.0.0.1") as c:
            print((await c.get("/v1/variants")).status_code)
asyncio.run(ask())
print([name for name in sys.modules if name.startswith(("opentelemetry.sdk", "opentelemetry.exporter"))])
"""


def test_nothing_of_it_is_imported_unless_asked_for(sqlite_demo_url: str):
    """Beyond its bare interface, which the framework brings along."""
    said = run(ASK.format(before=""), GRAFTBOOK_DATABASE_URL=sqlite_demo_url)
    assert said.split("\n")[:2] == ["200", "[]"]


def test_asked_for_but_not_installed_it_says_so_and_answers(sqlite_demo_url: str):
    absent = "sys.modules['opentelemetry.sdk'] = sys.modules['opentelemetry.exporter'] = None"
    said = run(
        ASK.format(before=absent),
        GRAFTBOOK_DATABASE_URL=sqlite_demo_url,
        GRAFTBOOK_TRACES_TO="http://127.0.0.1:9",
    )
    assert said.startswith("200")
    assert "install graftbook[otel]" in said


def test_asked_for_and_installed_it_starts():
    """The collector's address need not answer for that."""
    code = "from graftbook.telemetry import tracing; print(tracing.start('http://127.0.0.1:9'), tracing.on())"
    assert run(code).startswith("True True")
