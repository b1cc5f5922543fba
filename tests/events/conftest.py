"""A small catalogue of a test's own, on each engine in turn, and who asks for its events."""

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import ExitStack
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import Engine

from tests.catalogue.sheet import load_small
from tests.conftest import application, client_of


@pytest.fixture
def url(databases: Any) -> str:
    """A database with a small catalogue, the test's own: one event was told, of its load."""
    found: str = databases.copy(databases.once("small, loaded", load_small))
    return found


@pytest.fixture
def apps(url: str) -> Iterator[Callable[..., FastAPI]]:
    """Makes an application on the database, with these settings."""
    with ExitStack() as made:
        yield lambda **settings: made.enter_context(application(url, **settings))


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
