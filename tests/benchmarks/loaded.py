"""Databases that benchmarks ask: the demo range, or a large invented catalogue, in a SQLite file."""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import Engine

from graftbook.catalogue.loading.imports import LoadReport, load
from graftbook.database import make_engine, migrate
from tests.benchmarks.world import sheet


@contextmanager
def new_database() -> Iterator[Engine]:
    """A new, migrated, empty file; gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        engine = make_engine(f"sqlite:///{Path(folder) / 'own.sqlite3'}")
        migrate(engine)
        try:
            yield engine
        finally:
            engine.dispose()


def load_all(engine: Engine, sheets: Path) -> LoadReport:
    """Load sheets that have no mistakes."""
    report = load(engine, sheets)
    assert report.ok, report.mistakes[:3]
    return report


@contextmanager
def world(components: int) -> Iterator[Path]:
    """A sheet with about so many invented components; gone afterwards."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "world.csv"
        with path.open("w", encoding="utf-8") as stream:
            stream.writelines(sheet(components))
        yield path
