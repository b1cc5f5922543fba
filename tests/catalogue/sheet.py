"""A small invented catalogue that tests change a line of."""

import io
from pathlib import Path

from sqlalchemy import Connection, Engine

from graftbook.catalogue.compiling.queries import compile_book
from graftbook.catalogue.format.exports import export
from graftbook.catalogue.loading.imports import load
from graftbook.database import reading
from graftbook.rulebook.model import RuleBook

SMALL = (Path(__file__).parent / "small.csv").read_text(encoding="utf-8")


def sheet(text: str, name: str = "sheet.csv") -> io.StringIO:
    """An open sheet of that name."""
    stream = io.StringIO(text, newline="")
    stream.name = name
    return stream


def small(*changes: tuple[str, str]) -> io.StringIO:
    """The small catalogue with texts replaced; each must stand in it exactly once."""
    text = SMALL
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return sheet(text, "small.csv")


def load_small(engine: Engine) -> None:
    """Load the small catalogue."""
    assert load(engine, small()).ok


def exported(engine: Engine | Connection) -> str:
    """The whole catalogue as one sheet."""
    stream = io.StringIO()
    export(engine, stream)
    return stream.getvalue()


def book_of(engine: Engine, variant: str) -> RuleBook:
    """A variant's rule book, compiled now."""
    with reading(engine) as session:
        return compile_book(session, variant)
