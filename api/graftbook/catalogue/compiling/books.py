"""The rule books that a process keeps: compiled once a revision, however many ask at once.

How many are kept hangs on how much memory each takes once questions have been asked of it.
"""

import math
import threading
from collections import OrderedDict
from collections.abc import Iterable
from concurrent.futures import Future

from sqlalchemy import Connection

from graftbook.catalogue.compiling.queries import book_revisions, compile_book, with_components
from graftbook.catalogue.history.revisions import epoch_of
from graftbook.catalogue.store.nearest import names_near
from graftbook.catalogue.store.tables import table
from graftbook.database import Source, reading
from graftbook.problems import UnknownVariant
from graftbook.rulebook.index import retire
from graftbook.rulebook.model import RuleBook

BYTES_A_RECORD = 2_000
"""Twice what a book of 3,000 records took after three questions (with its index and its written form): what
fits bring grows with what is asked."""


def weight_of(book: RuleBook) -> int:
    """Bytes, by the number of its records."""
    records = (
        book.positions, book.components, book.fitments, book.substitutes, book.flaws, book.companions,
        book.conflicts, book.joints, book.budgets, book.supersessions, book.precedences, book.accesses,
        book.tightenings,
    )  # fmt: skip
    return BYTES_A_RECORD * sum(map(len, records))


_Key = tuple[str, str, int]
"""Variant, epoch, revision."""


class Books:
    """A bounded cache of rule books by variant and revision; safe for threads.

    At most `kept` books and about `most_bytes` of memory; the one asked for last is kept whatever it takes.

    A book that no edit touched keeps its revision, so it stays. `hits` and `misses` count how often a
    book was there or being compiled already, and was not; `compiled` counts compilations.
    """

    def __init__(self, engine: Source, kept: int = 64, most_bytes: float = math.inf) -> None:
        self._engine = engine
        self._kept = kept
        self._most_bytes = most_bytes
        self._books: OrderedDict[_Key, Future[RuleBook]] = OrderedDict()
        self._lock = threading.Lock()
        self.hits = self.misses = self.compiled = 0

    def book(self, variant: str, also: Iterable[str] = (), seconds: float = math.inf) -> RuleBook:
        """The variant's rule book as it is now. Raises UnknownVariant, and TimeoutError when compiling it
        takes longer than so many seconds: it goes on, and the next one who asks finds it.

        `also`: further component numbers that the asker names; those that the book lacks are added
        to the copy that is returned.
        """
        book = self._kept_book(self._keys([variant])[0], seconds)
        missing = [number for number in also if number not in book.components]
        if not missing:
            return book
        with reading(self._engine) as session:
            return with_components(session, book, missing)

    def books(self, variants: Iterable[str]) -> dict[str, RuleBook]:
        """The rule books of several variants as they are now, by variant. Raises UnknownVariant."""
        return {key[0]: self._kept_book(key, math.inf) for key in self._keys(variants)}

    def _keys(self, variants: Iterable[str]) -> list[_Key]:
        """What the variants' rule books are kept under now. Raises UnknownVariant."""
        wanted = list(variants)
        with reading(self._engine) as session:
            found, epoch = book_revisions(session, wanted), epoch_of(session.connection())
            for variant in wanted:
                if variant not in found:
                    near = names_near(session.connection(), table("variant").c.name, variant)
                    raise UnknownVariant(variant, near)
        return [(variant, epoch, found[variant]) for variant in wanted]

    def _kept_book(self, key: _Key, seconds: float) -> RuleBook:
        with self._lock:
            waiting = self._books.get(key)
            mine = waiting is None
            self.misses += mine
            self.hits += not mine
            if waiting is None:
                waiting = self._books[key] = Future()
                self._evict_old(key)
            self._books.move_to_end(key)
        patient = math.isinf(seconds)
        if mine and (patient or isinstance(self._engine, Connection)):
            self._compile(key, waiting)  # a connection is of one thread
        elif mine:
            threading.Thread(target=self._compile, args=(key, waiting), name="rule-book", daemon=True).start()
        return waiting.result(None if patient else seconds)

    def _compile(self, key: _Key, waiting: "Future[RuleBook]") -> None:
        try:
            with reading(self._engine) as session:
                book = compile_book(session, key[0])
        except BaseException as error:
            with self._lock:
                self._books.pop(key, None)
            waiting.set_exception(error)
            return
        with self._lock:
            self.compiled += 1
            waiting.set_result(book)
            self._make_room()

    def _evict_old(self, new: _Key) -> None:
        """Evict the variant's other books and those asked for longest ago (the lock is held)."""
        for key in [key for key in self._books if key[0] == new[0] and (key[1] != new[1] or key[2] < new[2])]:
            self._evict(key)
        while len(self._books) > self._kept:
            self._evict(next(iter(self._books)))

    def _make_room(self) -> None:
        """Evict those asked for longest ago until the others are not too large (the lock is held)."""
        done = [key for key, waiting in self._books.items() if waiting.done()]
        weights = {key: weight_of(self._books[key].result()) for key in done}
        over = sum(weights.values()) - self._most_bytes
        for key in done[:-1]:
            if over <= 0:
                return
            over -= weights[key]
            self._evict(key)

    def _evict(self, key: _Key) -> None:
        gone = self._books.pop(key)
        if gone.done() and not gone.exception():
            retire(gone.result())

    def close(self) -> None:
        """Evict all."""
        with self._lock:
            for key in list(self._books):
                self._evict(key)
