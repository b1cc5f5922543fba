"""A service to write builds and specifications to, on each engine in turn."""

from collections.abc import AsyncIterator
from typing import Any

import httpx
import pytest
from sqlalchemy import delete
from sqlmodel import SQLModel

from graftbook.app import create_app
from graftbook.database import writing
from graftbook.settings import Settings
from tests.conftest import client_of

HOUSE_TABLES = (
    "order_booking_line", "order_booking", "order_line", "order_event", "order_list",
    "build_fitting", "build_bench", "build", "specification_version", "specification", "access_key",
)  # fmt: skip


@pytest.fixture(scope="session")
def house_url(databases: Any, untouched_demo_url: str) -> str:
    """A database with the demo range and no builds; on each engine in turn."""
    url: str = databases.copy(untouched_demo_url)
    return url


@pytest.fixture
async def writer(house_url: str) -> AsyncIterator[httpx.AsyncClient]:
    """A client of a service without builds; what a test writes is gone afterwards."""
    app = create_app(Settings(database_url=house_url, seconds_to_reason=30))
    async with client_of(app, scope="edit") as client:
        yield client
    engine = app.state.service.engine
    app.state.authenticator.close()
    with writing(engine) as session:
        for name in HOUSE_TABLES:
            session.connection().execute(delete(SQLModel.metadata.tables[name]))
    engine.dispose()
