"""What one process of the service holds: its settings, its database, its caches.

Commands hold it too, so it loads no web; routes get it by `process.state`.

It says how many expensive requests are done at once. Reasoning and loading hold a processor. A gate lets a
few through at a time and lets a few more wait; whoever comes beyond that, or waits too long, is told to come
again (503 with Retry-After). So look-ups, ready answers and `/livez` stay quick whatever is asked.

`Reasoner` is where reasoning is done: in processes of its own, or in this one.
"""

import math
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, TypeVar

from sqlalchemy import Connection, Engine

from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.history.as_of import as_of
from graftbook.closure.search.constrain import warm_up
from graftbook.closure.search.deadline import NEVER, Deadline, OutOfTime
from graftbook.database import Source, close_engine, make_engine
from graftbook.problems import Busy, Unavailable
from graftbook.process.background import Background
from graftbook.process.reasoning.frames import Late
from graftbook.process.reasoning.pool import Lost, NoneFree, Pool
from graftbook.settings import Settings
from graftbook.telemetry.requests import somebody_waits


class ReasoningEnded(Unavailable):
    """The process that reasoned over the question was ended from outside; nothing was changed."""

    type = "/problems/reasoning-ended"
    title = "The process that reasoned over this was ended; ask again"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "1"})


class NotInTime(Unavailable):
    """What was asked for has no answer that says how far it came, and was not done."""

    type = "/problems/not-in-time"
    title = "This was not worked out in the time asked for"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "1"})


Result = TypeVar("Result")


class Reasoner:
    """Does the work of questions in up to so many processes; 0: here, in the thread that asks.

    `most_bytes`: about how much memory the rule books of each of them may take.
    """

    def __init__(self, processes: int = 0, most_bytes: float = math.inf) -> None:
        self.pool = Pool(processes, most_bytes) if processes else None

    def start(self) -> None:
        """Get ready before anybody asks: load the solver here, or begin the first process."""
        if self.pool is None:
            warm_up()
        else:
            self.pool.start()

    def run(self, work: Callable[..., Result], *arguments: Any, deadline: Deadline) -> Result:
        """What a pure module's function returns; its arguments and its result are values.

        Raises what it raises, and of another process: OutOfTime when it is not done at the very end of
        the deadline, or the asker has gone, Busy when no process was free until then, ReasoningEnded when
        it was killed.
        """
        if self.pool is None:
            return work(*arguments)
        if not (seconds := deadline.very_end()):
            raise OutOfTime
        try:
            return self.pool.run(work, *arguments, seconds=seconds, wanted=somebody_waits())
        except Late:
            raise OutOfTime from None
        except NoneFree:
            raise Busy("questions") from None
        except Lost:
            raise ReasoningEnded from None

    def close(self) -> None:
        """End the processes."""
        if self.pool is not None:
            self.pool.close()


MOST_WAITING = 8
WAITING_FOR_THE_SAME = 40
"""So many wait for an answer that somebody else is making; whoever comes beyond that comes again."""
THREADS = 40 + WAITING_FOR_THE_SAME
"""Of a process: who waits for an answer keeps one, and look-ups must not wait for want of them."""
SECONDS_WAITING = 10.0
SECONDS_WAITING_TO_IMPORT = 60.0


class Gate:
    """Lets `at_once` through at a time while up to `waiting` others wait, `seconds` each at most."""

    def __init__(self, what: str, at_once: int, waiting: int, seconds: float) -> None:
        self._what = what
        self._seconds = seconds
        self._room = threading.BoundedSemaphore(at_once + waiting)
        self._turn = threading.BoundedSemaphore(at_once)

    @contextmanager
    def turn(self, seconds: float = math.inf) -> Iterator[None]:
        """Wait for a turn, so long at most, and keep it as long as the block runs. Raises Busy."""
        if not self._room.acquire(blocking=False):
            raise Busy(self._what)
        try:
            if not self._turn.acquire(timeout=min(seconds, self._seconds)):
                raise Busy(self._what)
            try:
                yield
            finally:
                self._turn.release()
        finally:
            self._room.release()


def gates_of(settings: Settings) -> dict[str, Gate]:
    """The gates of a process, by what goes through them.

    A question about the past keeps editors waiting, so there is one at a time.
    """
    at_once = min(settings.questions_at_once, settings.reasoning_processes or settings.questions_at_once)
    return {
        "questions": Gate("questions", at_once, settings.questions_waiting, SECONDS_WAITING),
        "past": Gate("questions about the past", 1, MOST_WAITING, SECONDS_WAITING),
        "imports": Gate("imports", settings.imports_at_once, MOST_WAITING, SECONDS_WAITING_TO_IMPORT),
    }


Made = tuple[bytes, bool]
"""The bytes of an answer, and whether the same question will always give them."""
Make = Callable[[], Made]
MOST_SECONDS = 60.0
"""So long the same answer is waited for that somebody else is making."""


@dataclass(frozen=True, slots=True)
class InTurn:
    """How to make an answer that takes reasoning: it waits for its turn. Making it raises Busy."""

    make: Make
    gate: Gate
    deadline: Deadline

    def __call__(self) -> Made:
        with self.gate.turn(self.deadline.left()):
            return self.make()


class AnswerCache:
    """Ready answers by ETag, the least recently used evicted first; bounded by bytes."""

    def __init__(self, most_bytes: int) -> None:
        self._most = most_bytes
        self.held = self.hits = self.misses = 0
        """Bytes kept now; how often an answer was there and was not."""
        self._kept: OrderedDict[str, bytes] = OrderedDict()
        self._making: dict[str, threading.Event] = {}
        self._room = threading.BoundedSemaphore(WAITING_FOR_THE_SAME)
        self._lock = threading.Lock()

    def get(self, etag: str) -> bytes | None:
        """The answer; None if it is not kept."""
        if (body := self.peek(etag)) is None:
            self.misses += 1
        return body

    def peek(self, etag: str) -> bytes | None:
        """The same for who only looks whether it is there: not having it is not counted."""
        with self._lock:
            if (body := self._kept.get(etag)) is None:
                return None
            self.hits += 1
            self._kept.move_to_end(etag)
            return body

    def in_coding(self, etag: str, coding: str, make: Callable[[], bytes]) -> bytes:
        """An answer's bytes in a content coding, kept beside the answer."""
        key = f"{etag} {coding}"
        with self._lock:
            packed = self._kept.get(key)
        if packed is None:
            packed = make()
            self.put(key, packed)
        return packed

    def get_or_make(self, etag: str, make: Make) -> Made:
        """The answer kept from last time, or made now and kept if it is the same whenever it is asked for.

        What somebody is making already is waited for, as long as there is time to reason over it. Raises Busy
        when too many wait so already.
        """
        if (kept := self.get(etag)) is not None:
            return kept, True
        with self._lock:
            others = self._making.get(etag)
            if others is None:
                mine = self._making[etag] = threading.Event()
        if others is None:
            try:
                return self._make_once(etag, make)
            finally:
                with self._lock:
                    del self._making[etag]
                mine.set()
        left = make.deadline.left() if isinstance(make, InTurn) else MOST_SECONDS
        self._wait_for(others, min(left, MOST_SECONDS))
        if (kept := self.get(etag)) is not None:
            return kept, True
        return self._make_once(etag, make)

    def _wait_for(self, others: threading.Event, seconds: float) -> None:
        if not self._room.acquire(blocking=False):
            raise Busy("questions")
        try:
            others.wait(seconds)
        finally:
            self._room.release()

    def _make_once(self, etag: str, make: Make) -> Made:
        body, lasting = make()
        if lasting:
            self.put(etag, body)
        return body, lasting

    def put(self, etag: str, body: bytes) -> None:
        """Keep an answer that is the same whenever it is asked for."""
        if len(body) > self._most:
            return
        with self._lock:
            self.held += len(body) - len(self._kept.pop(etag, b""))
            self._kept[etag] = body
            while self.held > self._most:
                _, dropped = self._kept.popitem(last=False)
                self.held -= len(dropped)


LONGEST_RECENT = 20_000


class RecentQuestions:
    """The questions asked last, as the text of their bodies; each once. Safe for threads."""

    def __init__(self, most: int = 50) -> None:
        self._most = most
        self._kept: OrderedDict[str, None] = OrderedDict()
        self._lock = threading.Lock()

    def add(self, text: str) -> None:
        """Note that this was asked now. A very long question is not kept: fifty of them must stay small."""
        if len(text) > LONGEST_RECENT:
            return
        with self._lock:
            self._kept[text] = None
            self._kept.move_to_end(text)
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)

    def texts(self) -> list[str]:
        """All that are kept, the latest first."""
        with self._lock:
            return list(reversed(self._kept))


@dataclass
class Service:
    """Handed to every route; holds no session."""

    settings: Settings
    engine: Engine
    books: Books
    answers: AnswerCache = field(init=False)
    gates: dict[str, Gate] = field(default_factory=dict)
    """What is expensive, a few at a time; copies of a service share them."""
    reasoner: Reasoner = field(default_factory=Reasoner)
    recent: RecentQuestions = field(default_factory=RecentQuestions)
    background: Background = field(default_factory=Background)
    before_closing: list[Callable[[], None]] = field(default_factory=list)
    """What others do behind the answers with this database, and finish before it is let go."""
    inside: Connection | None = None
    """The transaction that questions are looked up in, where it is not the catalogue as it is."""

    def __post_init__(self) -> None:
        self.gates = self.gates or gates_of(self.settings)
        self.answers = AnswerCache(self.settings.answers_kept)

    @property
    def source(self) -> Source:
        """What a question is looked up in: the catalogue as it is, as of a revision, or with an edit."""
        return self.engine if self.inside is None else self.inside

    def close(self) -> None:
        """End what goes on behind the answers, and let go of the database."""
        self.background.close()
        self.reasoner.close()
        for finish in self.before_closing:
            finish()
        close_engine(self.engine)

    def turn(self, deadline: Deadline = NEVER) -> AbstractContextManager[None]:
        """The turn of whatever takes reasoning, waited for at its beginning. Raises Busy."""
        return self.gates["questions"].turn(deadline.left())

    def in_turn(self, make: Make, deadline: Deadline = NEVER) -> Make:
        """How to make an answer that takes reasoning: it waits for its turn. Making it raises Busy."""
        return InTurn(make, self.gates["questions"], deadline)

    @contextmanager
    def at(self, revision: int | None, words: Iterable[str] = ()) -> Iterator["Service"]:
        """The service as it would answer with the catalogue as of a revision; None: as it is.

        `words` are all texts of the question; of the past nothing else is looked up. Names and rule books are
        to be looked up before the block ends. Raises UnknownRevision and TooFarBack.
        """
        if revision is None:
            yield self
            return
        with self.gates["past"].turn(), as_of(self.source, revision, words) as connection:
            books = Books(connection, kept=2)
            try:
                yield replace(self, inside=connection, books=books)
            finally:
                books.close()


def make_service(settings: Settings) -> Service:
    """The service's parts; the database is touched when a question comes."""
    engine = make_engine(settings.database_url, settings.pool_size)
    books = Books(engine, settings.books_kept, settings.books_memory)
    reasoner = Reasoner(settings.reasoning_processes, settings.books_memory)
    return Service(settings, engine, books, reasoner=reasoner)
