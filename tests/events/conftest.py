"""A small catalogue of a test's own, on each engine in turn, and who asks for its events."""

from collections.abc import AsyncIterator, Callable, Iterator
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from graftbook.app import create_app
from graftbook.catalogue.loading.imports import load
from graftbook.settings import Settings
from tests.catalogue.sheet import small
from tests.conftest import client_of


def _load_small(engine: Engine) -> None:
    assert load(engine, small()).ok


@pytest.fixture
def url(databases: Any) -> str:
    """A database with a small catalogue, the test's own: one event was told, of its load."""
    found: str = databases.copy(databases.once("small, loaded", _load_small))
    return found


@pytest.fixture
def apps(url: str) -> Iterator[Callable[..., FastAPI]]:
    """Makes an application on the database, with these settings."""
    made: list[FastAPI] = []

    def new(**settings: Any) -> FastAPI:
        made.append(create_app(Settings(database_url=url, **settings)))
        return made[-1]

    yield new
    for app in made:
        app.state.service.close()


@pytest.fixture
def app(apps: Callable[..., FastAPI]) -> FastAPI:
    return apps(webhook_networks="127.0.0.0/8")


@pytest.fixture
def engine(app: FastAPI) -> Engine:
    found: Engine = app.state.service.engine
    return found


@pytest.fixture
async def house(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client that may administer."""
    async with client_of(app, scope="administer") as client:
        yield client


async def build_made(house: httpx.AsyncClient, name: str) -> None:
    """One event more."""
    answer = await house.post("/v1/builds", json={"name": name, "chassis": "2L-0001"})
    assert answer.status_code == 201, answer.text
