"""The service on the demo range, and what it writes into its log meanwhile."""

import io
import json
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi import FastAPI

from graftbook.telemetry.logs import JsonLines, TextLines
from tests.conftest import application


class Written:
    """What went into the log, in both forms."""

    def __init__(self, as_json: io.StringIO, as_text: io.StringIO) -> None:
        self._json, self._text = as_json, as_text

    @property
    def whole(self) -> str:
        return self._json.getvalue() + self._text.getvalue()

    @property
    def lines(self) -> list[dict[str, Any]]:
        return [json.loads(line) for line in self._json.getvalue().splitlines()]

    @property
    def text(self) -> list[str]:
        return self._text.getvalue().split("\n")[:-1]

    @property
    def requests(self) -> list[dict[str, Any]]:
        return [line for line in self.lines if line["event"] == "request"]


@pytest.fixture
def app(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """An application of each test's own: one that another test had asked would answer from what it kept."""
    with application(sqlite_demo_url, seconds_to_reason=30) as app:
        yield app


@pytest.fixture
def written() -> Iterator[Written]:
    """Every logger's lines at level info, as `graftbook serve` would write them."""
    streams = io.StringIO(), io.StringIO()
    handlers = [logging.StreamHandler(stream) for stream in streams]
    root, own = logging.getLogger(), logging.getLogger("graftbook")
    before = root.level, own.level
    for handler, formatter in zip(handlers, (JsonLines(), TextLines()), strict=True):
        handler.setFormatter(formatter)
        root.addHandler(handler)
    root.setLevel(logging.WARNING)
    own.setLevel(logging.INFO)
    yield Written(*streams)
    for handler in handlers:
        root.removeHandler(handler)
    root.setLevel(before[0])
    own.setLevel(before[1])
