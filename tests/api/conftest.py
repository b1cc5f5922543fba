"""The service asked through ASGI by real requests: on the demo range, and on a catalogue to write to."""

from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from api.app import create_app
from api.database import migrate
from api.settings import Settings
from tests.conftest import bearer

HERE = "http://127.0.0.1"


def client_of(app: FastAPI, base_url: str = HERE, scope: str | None = None) -> httpx.AsyncClient:
    """A client that asks an application in this process; with a scope it has a new key that may do that."""
    headers = bearer(app.state.service.engine, scope) if scope else {}
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    return httpx.AsyncClient(transport=transport, base_url=base_url, headers=headers, timeout=60)


@pytest.fixture(scope="session")
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture(scope="session")
def app(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """The application on the demo range, which nobody writes to."""
    app = create_app(Settings(database_url=sqlite_demo_url, seconds_to_reason=30))
    yield app
    app.state.service.engine.dispose()


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo range."""
    async with client_of(app) as client:
        yield client


@pytest.fixture
async def writer(demo_copy: Callable[[], str]) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a copy of the demo range of its own."""
    app = create_app(Settings(database_url=demo_copy()))
    async with client_of(app, scope="administer") as client:
        yield client
    app.state.service.engine.dispose()


@pytest.fixture
async def empty(tmp_path: Path) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a migrated, empty catalogue of its own that takes small bodies only."""
    url = f"sqlite:///{tmp_path / 'own.sqlite3'}"
    app = create_app(Settings(database_url=url, largest_body=20_000, largest_import=200_000))
    migrate(app.state.service.engine)
    async with client_of(app, scope="administer") as client:
        yield client
    app.state.service.engine.dispose()
