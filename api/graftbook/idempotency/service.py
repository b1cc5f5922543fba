"""A request that has its effect once, however often it is sent: the Idempotency-Key.

The answer is kept in the transaction of the effect, so that there is never one without the other. A
service function takes a `Once` and calls it inside its own transaction:

    with writing(engine) as session:
        once.begin(session.connection())
        … the effect …
        once.keep(session.connection(), facts)

A request that fails keeps nothing, and may be sent again under the same key.
"""

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import BigInteger, Connection, Engine, cast, delete, func, insert, select, tuple_
from sqlalchemy.engine import Row
from sqlmodel import SQLModel

from graftbook.database import reading
from graftbook.idempotency.tables import AnsweredOnceRow
from graftbook.problems import KeyUsedOtherwise, StillAtWork

KEPT = timedelta(hours=24)
"""How long an answer is given again; afterwards the key is as good as new."""

FORGOTTEN_AT_ONCE = 100
"""Most old answers that one request takes out: it never waits long, and the table cannot grow for good."""

_KEPT = SQLModel.metadata.tables[str(AnsweredOnceRow.__tablename__)]


@dataclass(frozen=True, slots=True)
class StoredAnswer:
    """An answer as it goes out over HTTP."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class AnsweredBefore(Exception):
    """The request had its effect already; this is what it was answered."""

    def __init__(self, answer: StoredAnswer) -> None:
        super().__init__("answered before")
        self.answer = answer


def _untold(_facts: Any) -> StoredAnswer:
    raise TypeError("an effect's facts need a way to be answered: pass `once.told_by(…)`")


@dataclass(frozen=True, slots=True)
class Once:
    """One request under its key. Without a key nothing is looked up and nothing is kept.

    `digest`: of everything that was sent; `told`: how the facts of the effect become the answer.
    """

    principal: str = ""
    key: str = ""
    digest: str = ""
    told: Callable[[Any], StoredAnswer] = field(default=_untold, repr=False)

    def told_by(self, told: Callable[[Any], StoredAnswer]) -> "Once":
        """The same request, and how its facts are answered."""
        return replace(self, told=told)

    def look(self, engine: Engine) -> None:
        """Answer early, before anything is checked or waited for. Raises what `begin` raises."""
        if self.key:
            with reading(engine) as session:
                self.begin(session.connection())

    def begin(self, connection: Connection) -> None:
        """Called first in the transaction of the effect.

        Raises AnsweredBefore, KeyUsedOtherwise when the key stood for another request, StillAtWork
        when the same key is at work in another transaction (PostgreSQL; on SQLite there is one
        writer anyway, so it waits and then finds the answer).
        """
        if not self.key:
            return
        self._raise_if_answered(connection)
        if not self._first(connection):
            raise StillAtWork("The same request is at work; ask again for its answer")
        # Whoever was at work may have ended between the two.
        self._raise_if_answered(connection)

    def keep(self, connection: Connection, facts: Any) -> None:
        """Called last in the transaction of the effect, with what `told` makes the answer of."""
        if not self.key:
            return
        answer, now = self.told(facts), datetime.now(UTC)
        connection.execute(delete(_KEPT).where(self._mine()))
        connection.execute(
            insert(_KEPT).values(
                principal=self.principal,
                key=self.key,
                digest=self.digest,
                status=answer.status,
                headers=json.dumps(dict(answer.headers)),
                body=answer.body,
                at=now,
            )
        )
        forget(connection, now - KEPT)

    def _mine(self) -> Any:
        return (_KEPT.c.principal == self.principal) & (_KEPT.c.key == self.key)

    def _raise_if_answered(self, connection: Connection) -> None:
        young = _KEPT.c.at >= datetime.now(UTC) - KEPT
        found: Row[Any] | None = connection.execute(select(_KEPT).where(self._mine(), young)).first()
        if found is None:
            return
        if found.digest != self.digest:
            raise KeyUsedOtherwise("This Idempotency-Key came with another request; choose a new one")
        raise AnsweredBefore(StoredAnswer(found.status, json.loads(found.headers), bytes(found.body)))

    def _first(self, connection: Connection) -> bool:
        """Whether no other transaction works under this key; it is held until the transaction ends."""
        if connection.dialect.name != "postgresql":
            return True
        digest = hashlib.sha256(f"{self.principal}\0{self.key}".encode()).digest()
        number = cast(int.from_bytes(digest[:8], "big", signed=True), BigInteger)
        return bool(connection.execute(select(func.pg_try_advisory_xact_lock(number))).scalar())


EACH_TIME = Once()
"""For a request without a key: it has its effect each time it comes."""


def forget(connection: Connection, before: datetime) -> int:
    """Take out a bounded number of answers older than a moment. Returns how many.

    Rows that another transaction takes out at the same time are left to it.
    """
    old = (
        select(_KEPT.c.principal, _KEPT.c.key)
        .where(_KEPT.c.at < before)
        .order_by(_KEPT.c.at)
        .limit(FORGOTTEN_AT_ONCE)
        .with_for_update(skip_locked=True)
    )
    rows = [tuple(row) for row in connection.execute(old)]
    if rows:
        connection.execute(delete(_KEPT).where(tuple_(_KEPT.c.principal, _KEPT.c.key).in_(rows)))
    return len(rows)
