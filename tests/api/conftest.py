"""The service on the demo range, asked through ASGI by real requests."""

from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import httpx
import pytest
from fastapi import FastAPI

from api.app import create_app
from api.catalogue.imports import load
from api.database import migrate
from api.settings import Settings

SEED = Path(__file__).resolve().parents[2] / "seed_data"
HERE = "http://127.0.0.1"


@pytest.fixture(scope="session")
def loaded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database file that holds the demo range; nobody writes to it."""
    path = tmp_path_factory.mktemp("demo") / "demo.sqlite3"
    app = create_app(Settings(database_url=f"sqlite:///{path}"))
    engine = app.state.service.engine
    migrate(engine)
    report = load(engine, SEED)
    assert report.ok, report.mistakes[:5]
    engine.dispose()
    return path


@pytest.fixture(scope="session")
def app(loaded: Path) -> Iterator[FastAPI]:
    """The application on the demo range."""
    app = create_app(Settings(database_url=f"sqlite:///{loaded}", seconds_to_reason=30))
    yield app
    app.state.service.engine.dispose()


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo range."""
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=HERE) as client:
        yield client


@pytest.fixture
async def empty(tmp_path: Path) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a migrated, empty catalogue of its own, to write to."""
    app = create_app(Settings(database_url=f"sqlite:///{tmp_path / 'own.sqlite3'}", largest_body=20_000))
    migrate(app.state.service.engine)
    async with httpx.AsyncClient(transport=httpx.ASGITransport(app), base_url=HERE) as client:
        yield client
    app.state.service.engine.dispose()
