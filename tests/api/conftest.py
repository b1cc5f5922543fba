"""A service that takes small bodies only."""

from collections.abc import AsyncIterator
from pathlib import Path

import httpx
import pytest

from graftbook.app import create_app
from graftbook.database import migrate
from graftbook.settings import Settings
from tests.conftest import client_of


@pytest.fixture
async def empty(tmp_path: Path) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a migrated, empty catalogue of its own that takes small bodies only."""
    url = f"sqlite:///{tmp_path / 'own.sqlite3'}"
    app = create_app(Settings(database_url=url, largest_body=20_000, largest_import=200_000))
    migrate(app.state.service.engine)
    async with client_of(app, scope="administer") as client:
        yield client
    app.state.service.close()
