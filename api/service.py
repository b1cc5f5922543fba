"""What one process of the service holds: its settings, its database, its caches."""

import threading
from collections import OrderedDict
from dataclasses import dataclass, field
from typing import Annotated

from fastapi import Depends, Request
from sqlalchemy import Engine

from api.catalogue.books import Books
from api.database import make_engine
from api.problems import WritingClosed
from api.rulebook.model import RuleBook
from api.settings import Settings
from api.wire.names import BookNames

_THIS_MACHINE = ("127.0.0.1", "::1", "localhost")


class AnswerCache:
    """Ready answers by ETag, the least recently used let go first; bounded by bytes."""

    def __init__(self, most_bytes: int) -> None:
        self._most, self._held = most_bytes, 0
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._lock = threading.Lock()

    def get(self, etag: str) -> bytes | None:
        """The answer; None if it is not kept."""
        with self._lock:
            if (body := self._kept.get(etag)) is not None:
                self._kept.move_to_end(etag)
            return body

    def put(self, etag: str, body: bytes) -> None:
        """Keep an answer that is the same whenever it is asked for."""
        if len(body) > self._most:
            return
        with self._lock:
            self._held += len(body) - len(self._kept.pop(etag, b""))
            self._kept[etag] = body
            while self._held > self._most:
                _, dropped = self._kept.popitem(last=False)
                self._held -= len(dropped)


@dataclass
class Service:
    """Handed to every route; holds no session."""

    settings: Settings
    engine: Engine
    books: Books
    answers: AnswerCache = field(init=False)
    _names: OrderedDict[tuple[str, int], BookNames] = field(default_factory=OrderedDict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def __post_init__(self) -> None:
        self.answers = AnswerCache(self.settings.answers_kept)

    def names_of(self, book: RuleBook) -> BookNames:
        """The names of a rule book, indexed once a revision."""
        key = (book.variant.name, book.revision)
        with self._lock:
            known = self._names.get(key)
            if known is None:
                known = self._names[key] = BookNames(book)
                while len(self._names) > self.settings.books_kept:
                    self._names.popitem(last=False)
            return known


def make_service(settings: Settings) -> Service:
    """The service's parts; the database is touched when a question comes."""
    engine = make_engine(settings.database_url, settings.pool_size)
    return Service(settings, engine, Books(engine, settings.books_kept))


def _service(request: Request) -> Service:
    found: Service = request.app.state.service
    return found


ServiceDep = Annotated[Service, Depends(_service)]


def writing_is_open(request: Request) -> None:
    """Refuse changes from beyond this machine until there are keys.

    A service that listens on loopback takes them, but only under a loopback name: a page in a
    browser that reaches it through a name of its own (DNS rebinding) is refused. Raises
    WritingClosed.
    """
    settings: Settings = request.app.state.service.settings
    if settings.open_writes:
        return
    if settings.host not in _THIS_MACHINE:
        raise WritingClosed(
            "This service listens beyond this machine; GRAFTBOOK_OPEN_WRITES=true lets it take changes"
        )
    if (request.url.hostname or "") not in _THIS_MACHINE:
        raise WritingClosed("Changes are taken under the name localhost or 127.0.0.1 only")


WritingOpen = Depends(writing_is_open)
