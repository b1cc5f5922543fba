"""Spans for OpenTelemetry, if it is installed (`graftbook[otel]`) and told where to send them.

Without that nothing of it is imported, and a span is an object that forgets what it is told.
"""

import logging
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from starlette.types import Scope

_LOG = logging.getLogger("graftbook")
_ENDPOINT = "OTEL_EXPORTER_OTLP_ENDPOINT"
_QUIET = {"record_exception": False, "set_status_on_exception": False}
"""What an exception says may hold what was sent."""

_tracer: Any = None
_provider: Any = None


class Span:
    """A span, or nothing: `set` keeps a fact with it."""

    __slots__ = ("_inner",)

    def __init__(self, inner: Any = None) -> None:
        self._inner = inner

    def set(self, name: str, value: str | int) -> None:
        if self._inner is not None:
            self._inner.set_attribute(name, value)

    @property
    def trace(self) -> str:
        """The trace's id in hexadecimal; empty without one."""
        return format(self._inner.get_span_context().trace_id, "032x") if self._inner is not None else ""

    def named(self, name: str, *, failed: bool = False) -> None:
        """The name that was not known at its start, and whether it is to count as failed."""
        if self._inner is None:
            return
        self._inner.update_name(name)
        if failed:
            from opentelemetry.trace import StatusCode

            self._inner.set_status(StatusCode.ERROR)


_NOTHING = Span()


def start(traces_to: str = "") -> bool:
    """Send spans to an OTLP collector, if one is named here or in the environment; whether that is so."""
    if _tracer is not None or not (traces_to or os.environ.get(_ENDPOINT)):
        return _tracer is not None
    try:
        from opentelemetry.exporter.otlp.proto.http.trace_exporter import OTLPSpanExporter
        from opentelemetry.sdk.trace.export import BatchSpanProcessor
    except ImportError:
        _LOG.warning("traces are asked for but OpenTelemetry is not installed: install graftbook[otel]")
        return False
    endpoint = f"{traces_to.rstrip('/')}/v1/traces" if traces_to else None
    use(BatchSpanProcessor(OTLPSpanExporter(endpoint=endpoint)))
    return True


def use(processor: Any) -> None:
    """Hand every span to this span processor."""
    global _tracer, _provider
    from opentelemetry.sdk.resources import Resource
    from opentelemetry.sdk.trace import TracerProvider

    _provider = TracerProvider(resource=Resource.create({"service.name": "graftbook"}))
    _provider.add_span_processor(processor)
    _tracer = _provider.get_tracer("graftbook")


def stop() -> None:
    """Send what is left and make no more spans."""
    global _tracer, _provider
    if _provider is not None:
        _provider.shutdown()
    _tracer = _provider = None


def on() -> bool:
    """Whether spans are made."""
    return _tracer is not None


@contextmanager
def span(name: str) -> Iterator[Span]:
    """A span round a block, under the one that is open already."""
    if _tracer is None:
        yield _NOTHING
        return
    with _tracer.start_as_current_span(name, **_QUIET) as inner:
        yield Span(inner)


@contextmanager
def request_span(scope: Scope) -> Iterator[Span]:
    """The span of a request, under the caller's own trace if it sent one (W3C Trace Context)."""
    from opentelemetry.trace import SpanKind
    from opentelemetry.trace.propagation.tracecontext import TraceContextTextMapPropagator

    sent = {name.decode("latin-1"): value.decode("latin-1") for name, value in scope["headers"]}
    carried = {name: sent[name] for name in ("traceparent", "tracestate") if name in sent}
    context = TraceContextTextMapPropagator().extract(carried)
    with _tracer.start_as_current_span("request", context=context, kind=SpanKind.SERVER, **_QUIET) as inner:
        yield Span(inner)
