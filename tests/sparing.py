"""What the many applications of one test process need make only once.

Nearly every test has an application and a database of its own, and each would compile the same rule books of
the demo range anew (a second each) and read the same routes anew (a fifth of a second). Both come out the
same every time: rule books are values, and a copy of the demo range that no edit touched has the epoch and
the revision of the first.
"""

from collections.abc import Callable
from typing import Any

from fastapi import routing
from sqlalchemy import Engine
from sqlmodel import Session

from api.catalogue import books
from api.catalogue.epoch import begin_epoch, epoch_of
from api.catalogue.store import book_revision, compile_book
from api.database import reading, writing
from api.rulebook.model import RuleBook

FIRST = 1
"""The revision of what was loaded into an empty database at once."""

_sparing: set[str] = set()
"""Epochs whose rule books of the first revision are shared."""
_books: dict[tuple[str, str, str], RuleBook] = {}
_routes: dict[tuple[Any, ...], Any] = {}


def share_books_of(engine: Engine) -> None:
    """What is in this database now is the same in every copy of it: it begins an epoch of its own."""
    with writing(engine) as session:
        begin_epoch(session.connection())


def know_copies_of(engine: Engine) -> None:
    """Copies of this database share their rule books in this process."""
    with reading(engine) as session:
        _sparing.add(epoch_of(session.connection()))


def shared_or_compiled(session: Session, variant: str) -> RuleBook:
    """A variant's rule book, compiled once for all untouched copies of the demo on an engine."""
    connection = session.connection()
    epoch = epoch_of(connection)
    if epoch not in _sparing or book_revision(session, variant) != FIRST:
        return compile_book(session, variant)
    key = connection.dialect.name, epoch, variant
    if key not in _books:
        _books[key] = compile_book(session, variant)
    return _books[key]


def _read_once(read: Callable[..., Any]) -> Callable[..., Any]:
    """Routes of the program by where they are included; what an application adds is the same in each."""

    def once(*, original_route: Any, include_context: Any) -> Any:
        added = tuple(each.dependency for each in include_context.dependencies)
        key = id(original_route), include_context.path_for(original_route), added
        if key not in _routes:
            found = read(original_route=original_route, include_context=include_context)
            _routes[key] = original_route, found  # the route is kept along, so that no other one gets its id
        return _routes[key][1]

    return once


def begin() -> None:
    """From here on, in this process."""
    books.compile_book = shared_or_compiled  # type: ignore[assignment]
    effective = getattr(routing, "_EffectiveRouteContext", None)
    if effective is not None:  # how this FastAPI reads a route; another may do it otherwise
        effective.from_api_route = staticmethod(_read_once(effective.from_api_route))
