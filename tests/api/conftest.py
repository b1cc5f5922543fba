"""A service that takes small bodies only."""

from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest

from tests.conftest import application, client_of


@pytest.fixture
async def empty(sqlite_databases: Any) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a migrated, empty catalogue of its own that takes small bodies only."""
    with application(sqlite_databases.new(), largest_body=20_000, largest_import=200_000) as app:
        async with client_of(app, scope="administer") as client:
            yield client
