"""Who is let in: a key or a cookie against the database, once a request.

A revocation therefore acts at once in every process. Only an answer that is given from the cache is
also given to who was let in just now (`PrincipalCache`): there a revocation acts at once in the process that
made it, and on SQLite in every one; through another process on PostgreSQL within half a second.

What need not be done before the answer (when a key was last used, when a browser was last seen) is written
by one thread behind it, and its failure fails nothing.

Refused attempts go into the trail, so few that nobody can fill the disk with them. Of one client a row a
minute, of all together sixty; what comes between is counted and told by the client's next row (`times`). The
trail keeps the newest ten thousand.

`PrincipalCache`: what the database said of a key or a cookie stands until something is committed, for
answers alone that are given from the cache (`http/response_cache`); whatever is looked up or changes anything
asks it. A revocation is a commit, so it is seen as an edit is (`process/commits`).
"""

import logging
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import datetime, timedelta
from hashlib import sha256
from typing import ClassVar

from sqlalchemy import Engine
from sqlalchemy.exc import SQLAlchemyError
from sqlmodel import Session

from graftbook.access import store
from graftbook.access.keys import Presented
from graftbook.access.principal import Caller, Principal
from graftbook.access.service import moment, usable
from graftbook.access.tables import AccessEventRow
from graftbook.access.throttling import Attempts, network_of
from graftbook.database import reading, writing
from graftbook.problems import KeyNeeded, SlowDown
from graftbook.process.commits import CommitMark, CommitWatch

MOST = 1_000


class PrincipalCache:
    """Principals by the digest of what they sent. Safe for threads; without `commits` it keeps nobody."""

    def __init__(self, commits: CommitWatch | None) -> None:
        self._commits = commits
        self._kept: OrderedDict[tuple[str, bool], tuple[Principal, CommitMark, datetime]] = OrderedDict()
        self._lock = threading.Lock()

    def mark(self) -> CommitMark | None:
        """To be taken before the database is asked; None when nothing can be believed."""
        return self._commits.mark() if self._commits is not None else None

    def note(self, digest: str, principal: Principal, mark: CommitMark | None, until: datetime) -> None:
        """Keep who was let in after the mark was taken. `until`: when he is to be looked up in any case."""
        if mark is None:
            return
        with self._lock:
            self._kept[digest, principal.by_cookie] = principal, mark, until
            self._kept.move_to_end((digest, principal.by_cookie))
            while len(self._kept) > MOST:
                self._kept.popitem(last=False)

    def get(self, digest: str, now: CommitMark | None, *, by_cookie: bool) -> Principal | None:
        """Who was let in with this; None when the database must be asked."""
        found = self._kept.get((digest, by_cookie))
        if found is None or self._commits is None:
            return None
        principal, mark, until = found
        return principal if self._commits.stands(mark, now) and moment() < until else None


def earliest(first: datetime, *others: datetime | None) -> datetime:
    """The earliest of the moments that there are."""
    return min(at for at in (first, *others) if at is not None)


class Refusals:
    """What was refused lately, in one process."""

    APART: ClassVar[timedelta] = timedelta(minutes=1)
    MOST_A_MINUTE: ClassVar[int] = 60
    MOST_CLIENTS: ClassVar[int] = 1_000
    MOST_STORED: ClassVar[int] = 10_000

    def __init__(self) -> None:
        self._told: OrderedDict[str, datetime] = OrderedDict()
        self._counted: dict[str, tuple[Caller, str, int]] = {}
        self._minute: tuple[datetime, int] | None = None
        self._lock = threading.Lock()

    def note(self, caller: Caller, what: str, now: datetime) -> list[AccessEventRow]:
        """The rows to write now: none while the client's last one, or the last sixty, are too fresh."""
        client = network_of(caller.client)
        with self._lock:
            _, _, before = self._counted.get(client, (caller, what, 0))
            last = self._told.get(client)
            if (last and now - last < self.APART) or not self._has_room(now):
                if client in self._counted or len(self._counted) < self.MOST_CLIENTS:
                    self._counted[client] = (caller, what, before + 1)
                return []
            self._counted.pop(client, None)
            self._told[client] = now
            self._told.move_to_end(client)
            while len(self._told) > self.MOST_CLIENTS:
                self._told.popitem(last=False)
            return [caller.event(now, what, "refused", before + 1)]

    def taken(self, now: datetime) -> list[AccessEventRow]:
        """Rows of everything that is counted only; it is not counted again."""
        with self._lock:
            counted, self._counted = self._counted, {}
        return [
            replace(caller, request="").event(now, what, "refused", times)
            for caller, what, times in counted.values()
        ]

    def _has_room(self, now: datetime) -> bool:
        begun, rows = self._minute or (now, 0)
        if now - begun >= self.APART:
            begun, rows = now, 0
        self._minute = (begun, rows + 1)
        return rows < self.MOST_A_MINUTE


USE_WRITTEN_EVERY = timedelta(minutes=1)
MOST_WAITING = 1_000

NO_KEY = "Send a usable key: Authorization: Bearer graftbook_…"
_LOG = logging.getLogger("graftbook")


class Authenticator:
    """Authenticates for one process, against one database."""

    def __init__(self, engine: Engine, commits: CommitWatch | None = None) -> None:
        self.engine = engine
        self.principals = PrincipalCache(commits)
        self.attempts = Attempts()
        self.refusals = Refusals()
        self._noted: OrderedDict[str, None] = OrderedDict()
        self._lock = threading.Lock()
        self._behind: ThreadPoolExecutor | None = None

    def authenticate(self, sent: Presented | None, caller: Caller) -> Principal:
        """The principal of a key; None stands for what cannot be one.

        Raises KeyNeeded for a key that is not usable, SlowDown after too many of them.
        """
        key = sent.id if sent else None
        if wait := self.attempts.wait(caller.client, key):
            raise SlowDown(wait)
        if sent is None:
            self.attempts.failed(caller.client, None)
            raise KeyNeeded(NO_KEY)
        now, mark = moment(), self.principals.mark()
        with reading(self.engine) as session:
            row = store.key_facts(session, sent.id)
        right = sent.is_the_one(row.digest if row else None)
        if row is None or not right or not usable(row, now):
            self.attempts.failed(caller.client, key)
            raise KeyNeeded(NO_KEY)
        self.attempts.worked(caller.client, row.id)
        used = row.used
        if used is None or now - used >= USE_WRITTEN_EVERY:
            self.write_behind(row.id, lambda s: store.mark_used(s, row.id, now, USE_WRITTEN_EVERY))
            used = now
        principal = Principal.of(row)
        self.principals.note(sent.digest, principal, mark, earliest(used + USE_WRITTEN_EVERY, row.expires))
        return principal

    def known_by_key(self, text: bytes, client: str, now: CommitMark | None) -> Principal | None:
        """The principal of a key that `authenticate` would let in, without asking the database; None when it
        must be asked, or when the attempt is not heard."""
        found = self.principals.get(sha256(text).hexdigest(), now, by_cookie=False)
        if found is None or self.attempts.wait(client, found.key):
            return None
        self.attempts.worked(client, found.key)
        return found

    def refused(self, caller: Caller, what: str) -> None:
        """Put a refused attempt into the trail, as many as the disk can bear."""
        if rows := self.refusals.note(caller, what, moment()):
            self.write_behind("refusals", lambda session: _add(session, rows), wait=True)

    def write_counted_refusals(self) -> None:
        """Put into the trail the refusals that are only counted yet."""
        if rows := self.refusals.taken(moment()):
            self._write(lambda session: _add(session, rows))

    def write_behind(self, name: str, work: Callable[[Session], None], *, wait: bool = False) -> None:
        """Write something behind the answer. One piece of work of a name waits at a time, unless `wait`."""
        with self._lock:
            if (name in self._noted and not wait) or len(self._noted) >= MOST_WAITING:
                return
            self._noted[name] = None
            if self._behind is None:
                self._behind = ThreadPoolExecutor(1, thread_name_prefix="graftbook-behind")
            self._behind.submit(self._run, name, work)

    def close(self) -> None:
        """Finish what is waiting."""
        with self._lock:
            behind, self._behind = self._behind, None
        if behind:
            behind.shutdown(wait=True)
        self.write_counted_refusals()

    def _run(self, name: str, work: Callable[[Session], None]) -> None:
        with self._lock:
            self._noted.pop(name, None)
        self._write(work)

    def _write(self, work: Callable[[Session], None]) -> None:
        try:
            with writing(self.engine) as session:
                work(session)
        except SQLAlchemyError as error:
            _LOG.warning("not written to the records of access: %s", type(error).__name__)


def _add(session: Session, rows: list[AccessEventRow]) -> None:
    session.add_all(rows)
    session.flush()
    store.drop_old_refusals(session, Refusals.MOST_STORED)
