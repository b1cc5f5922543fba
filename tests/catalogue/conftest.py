"""The small catalogue, loaded once and copied for each test."""

from collections.abc import Iterator
from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.database import make_engine
from tests.catalogue.sheet import load_small


def _copy(databases: Any) -> Iterator[Engine]:
    engine = make_engine(databases.copy(databases.once("small", load_small)))
    yield engine
    engine.dispose()


@pytest.fixture
def tern(databases: Any) -> Iterator[Engine]:
    """The small catalogue in a database of the test's own; the test runs once on each engine."""
    yield from _copy(databases)


@pytest.fixture
def sqlite_tern(sqlite_databases: Any) -> Iterator[Engine]:
    """The small catalogue in a SQLite file of the test's own."""
    yield from _copy(sqlite_databases)
