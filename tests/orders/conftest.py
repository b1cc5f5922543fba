"""A service on a copy of the demo range, on each engine, and a client that may order."""

from collections.abc import AsyncIterator, Iterator

import httpx
import pytest
from fastapi import FastAPI

from graftbook.app import create_app
from graftbook.settings import Settings
from tests.conftest import client_of


@pytest.fixture
def app(databases, untouched_demo_url: str) -> Iterator[FastAPI]:
    """The application on a copy of the demo range of its own."""
    app = create_app(Settings(database_url=databases.copy(untouched_demo_url), seconds_to_reason=30))
    yield app
    app.state.service.close()


@pytest.fixture
async def counter(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client with a key that may order."""
    async with client_of(app, scope="edit") as client:
        yield client
