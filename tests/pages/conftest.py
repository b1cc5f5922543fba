"""The pages asked through ASGI as a browser would, on the demo range."""

from collections.abc import AsyncIterator, Iterator

import httpx
import pytest
from fastapi import FastAPI

from api.app import create_app
from api.settings import Settings

HERE = "http://127.0.0.1"
BROWSER = {"Accept": "text/html,application/xhtml+xml;q=0.9,*/*;q=0.8"}


@pytest.fixture(scope="session")
def pages_app(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """The application on the demo range, which nobody writes to."""
    app = create_app(Settings(database_url=sqlite_demo_url, seconds_to_reason=30))
    yield app
    app.state.service.engine.dispose()


@pytest.fixture
async def browser(pages_app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client that asks as a browser does, and goes where it is sent."""
    transport = httpx.ASGITransport(pages_app, raise_app_exceptions=False)
    async with httpx.AsyncClient(
        transport=transport, base_url=HERE, headers=BROWSER, timeout=60, follow_redirects=True
    ) as client:
        yield client
