"""What the many applications of one test process need make only once.

Nearly every test has an application and a database of its own, and each would compile the same rule books of
the demo range anew (a second each), read the same routes and describe itself anew (a second), put the same
statements into SQL anew (most of what a load of a small catalogue takes) and reason over the same few
questions anew (half a second to two). All come out the same every time: rule books are values, and a copy of
the demo range that no edit touched has the epoch and the revision of the first; the words of a statement hang
on the kind of database alone; an answer that no time limit cut short hangs on the rule book and the question
alone.
"""

from collections import OrderedDict
from collections.abc import Callable, Container
from dataclasses import fields
from typing import Any

from fastapi import FastAPI, routing
from sqlalchemy import Engine
from sqlalchemy.util import LRUCache
from sqlmodel import Session

from graftbook import app as application
from graftbook.catalogue.compiling import books
from graftbook.catalogue.compiling.queries import book_revision, compile_book
from graftbook.catalogue.history.revisions import begin_epoch, epoch_of
from graftbook.closure.answer import Answer
from graftbook.closure.answering import answer_question
from graftbook.closure.question import Question
from graftbook.closure.search.deadline import Deadline
from graftbook.database import reading, writing
from graftbook.editing import effect
from graftbook.http.openapi import complete
from graftbook.orders import service as answering
from graftbook.questions.closures import reasoning
from graftbook.rulebook.model import RuleBook

FIRST = 1
"""The revision of what was loaded into an empty database at once."""

_sparing: set[str] = set()
"""Epochs whose rule books of the first revision are shared."""
_books: dict[tuple[str, str, str], RuleBook] = {}
_routes: dict[tuple[Any, ...], Any] = {}
_documents: dict[tuple[str, int], dict[str, Any]] = {}
_statements: LRUCache[tuple[Any, ...], Any] = LRUCache(20_000)

ANSWERED_ONCE = (
    "tests/access/", "tests/api/", "tests/builds/", "tests/commands/", "tests/editing/", "tests/guide/",
    "tests/orders/", "tests/pages/", "tests/reports/", "tests/soundness/test_bad_text",
    "tests/soundness/test_as_of", "tests/soundness/test_once", "tests/soundness/test_reading",
)  # fmt: skip
"""Whose tests look at what is made of answers. Where the reasoning itself is tested, it is done each time."""
SECONDS_LEFT = 5.0
"""Whoever gives a question less than this tests what comes of little time."""
MOST_ANSWERS = 200
_answers: OrderedDict[tuple[Any, ...], tuple[RuleBook, Answer]] = OrderedDict()


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


def share_answers(node: str, fixtures: Container[str]) -> None:
    """The test that begins is told what another one was, unless it puts anything of the program in another's
    place."""
    shares = node.startswith(ANSWERED_ONCE) and "monkeypatch" not in fixtures
    for asking in (reasoning, effect, answering):
        asking.answer_question = shared_or_reasoned if shares else answer_question  # type: ignore[attr-defined]


def shared_or_reasoned(
    book: RuleBook,
    question: Question,
    deadline: Deadline | None = None,
    *,
    next_bests: bool = True,
    briefly: bool = False,
) -> Answer:
    """The answer to a question, reasoned over once for all rule books that hold the same."""
    left = deadline.left() if deadline else question.seconds
    if briefly or left < SECONDS_LEFT:
        return answer_question(book, question, deadline, next_bests=next_bests, briefly=briefly)
    key = book.variant.name, next_bests, _content(question)
    known = _answers.get(key)
    if known is not None and (known[0] is book or known[0] == book):
        _answers.move_to_end(key)
        return known[1]
    answer = answer_question(book, question, deadline, next_bests=next_bests)
    if reasoning.lasting(answer):
        _answers[key] = book, answer
        if len(_answers) > MOST_ANSWERS:
            _answers.popitem(last=False)
    return answer


def _content(question: Question) -> tuple[Any, ...]:
    """All of it but how long it may take."""
    given = {field.name: getattr(question, field.name) for field in fields(question)}
    del given["seconds"]
    return *given.pop("fitted").items(), *given.values()


def _described_once(app: FastAPI, describe_access: Callable[[dict[str, Any], str], None]) -> dict[str, Any]:
    """The OpenAPI document, which hangs on who may read and on nothing else that an application is given."""
    key = app.state.service.settings.reading, len(app.routes)
    if key not in _documents:
        _documents[key] = complete(app, describe_access)
    return _documents[key]


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


class _Statements:
    """Where an engine keeps the SQL of its statements: with all others of its kind of database."""

    def __init__(self, kind: type) -> None:
        self._kind = kind

    def get(self, key: tuple[Any, ...], default: Any = None) -> Any:
        return _statements.get((self._kind, *key[1:]), default)

    def __setitem__(self, key: tuple[Any, ...], statement: Any) -> None:
        _statements[self._kind, *key[1:]] = statement

    def clear(self) -> None:
        """As for one engine; the others keep theirs."""


def _share_statements(engine: Any, own: Any) -> None:
    """The first of a key is the engine's own dialect: without it the key is the same in each engine."""
    shared = _Statements(type(engine.dialect)) if isinstance(own, LRUCache) else own
    engine.__dict__["_compiled_cache"] = shared


def begin() -> None:
    """From here on, in this process."""
    Engine._compiled_cache = property(  # type: ignore[assignment]
        lambda engine: engine.__dict__["_compiled_cache"], _share_statements
    )
    books.compile_book = shared_or_compiled  # type: ignore[assignment]
    application.complete = _described_once
    effective = getattr(routing, "_EffectiveRouteContext", None)
    if effective is not None:  # how this FastAPI reads a route; another may do it otherwise
        effective.from_api_route = staticmethod(_read_once(effective.from_api_route))
