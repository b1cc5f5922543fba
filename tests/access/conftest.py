"""A small catalogue, and who asks with a key or without, on each engine in turn."""

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import ExitStack, asynccontextmanager
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine, delete
from sqlmodel import SQLModel

from graftbook.database import make_engine, writing
from tests.catalogue.sheet import load_small
from tests.conftest import application, bearer, client_of

WRITTEN = (
    "page_session", "access_event", "access_key", "build_fitting", "build_bench", "build",
    "specification_version", "specification",
)  # fmt: skip
BUILD = {"name": "red", "chassis": "2L-0001"}


@pytest.fixture(scope="session")
def house(databases: Any) -> Iterator[Engine]:
    """A database with a small catalogue; on each engine in turn."""
    engine = make_engine(databases.once_to_read("small", load_small))
    yield engine
    engine.dispose()


@pytest.fixture
def url(house: Engine) -> Iterator[str]:
    """The address of that database without a key; what a test writes is gone afterwards."""
    yield house.url.render_as_string(hide_password=False)
    with writing(house) as session:
        for name in WRITTEN:
            session.connection().execute(delete(SQLModel.metadata.tables[name]))


@pytest.fixture
def apps(url: str) -> Iterator[Callable[..., FastAPI]]:
    """Makes an application on the database, with these settings; as many as one likes."""
    with ExitStack() as made:
        yield lambda **settings: made.enter_context(application(url, **settings))


@pytest.fixture
def app(apps: Callable[..., FastAPI]) -> FastAPI:
    return apps()


@pytest.fixture
def engine(app: FastAPI) -> Engine:
    found: Engine = app.state.service.engine
    return found


@pytest.fixture
async def anybody(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client without a key."""
    async with client_of(app) as client:
        yield client


@pytest.fixture
async def administrator(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    async with client_of(app, scope="administer") as client:
        yield client


@asynccontextmanager
async def signed_in(app: FastAPI, scope: str = "edit") -> AsyncIterator[httpx.AsyncClient]:
    """A browser that carries a session's cookie and no key."""
    key = bearer(app.state.service.engine, scope)["Authorization"].split()[1]
    async with client_of(app) as client:
        answer = await client.post("/signin", data={"key": key})
        assert answer.status_code == 303, answer.text
        yield client
