"""A service on a copy of the demo range, on each engine, and a client that may order."""

from collections.abc import AsyncIterator, Iterator

import httpx
import pytest
from fastapi import FastAPI

from tests.conftest import application, client_of


@pytest.fixture
def app(databases, untouched_demo_url: str) -> Iterator[FastAPI]:
    """The application on a copy of the demo range of its own."""
    with application(databases.copy(untouched_demo_url), seconds_to_reason=30) as app:
        yield app


@pytest.fixture
async def counter(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client with a key that may order."""
    async with client_of(app, scope="edit") as client:
        yield client
