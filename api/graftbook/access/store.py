"""The SQL of keys, page sessions and the trail; each function works inside its caller's session."""

from datetime import datetime, timedelta
from typing import NamedTuple

from sqlalchemy import delete, func, or_, tuple_, update
from sqlalchemy import select as columns
from sqlmodel import Session, col, select

from graftbook.access.tables import AccessEventRow, KeyRow, PageSessionRow

EXPIRED_SESSIONS_AT_ONCE = 1_000


class KeyFacts(NamedTuple):
    """What letting somebody in takes of a key: values, read in one look-up by the primary key."""

    id: str
    digest: str
    label: str
    scope: str
    expires: datetime | None
    used: datetime | None
    revoked: datetime | None


_FACTS = tuple(getattr(KeyRow, name) for name in KeyFacts._fields)


def key_facts(session: Session, key: str) -> KeyFacts | None:
    """The key of this id; None if there is none."""
    query = columns(*_FACTS).where(col(KeyRow.id) == key)
    row = session.connection().execute(query).one_or_none()
    return KeyFacts(*row) if row else None


def keys_after(session: Session, after: tuple[datetime, str] | None, limit: int) -> list[KeyRow]:
    """Keys behind the one created then, in the order of their creation."""
    query = select(KeyRow).order_by(col(KeyRow.created), col(KeyRow.id)).limit(limit)
    if after:
        query = query.where(tuple_(col(KeyRow.created), col(KeyRow.id)) > after)
    return list(session.exec(query))


def usable_key_exists(session: Session, now: datetime) -> bool:
    """Whether any key is neither revoked nor expired."""
    expires = col(KeyRow.expires)
    query = select(KeyRow.id).where(col(KeyRow.revoked).is_(None), or_(expires.is_(None), expires > now))
    return session.exec(query.limit(1)).first() is not None


def mark_used(session: Session, key: str, now: datetime, apart: timedelta) -> None:
    """Write when a key was last used, unless that was written less than `apart` ago."""
    used = col(KeyRow.used)
    session.exec(
        update(KeyRow).where(col(KeyRow.id) == key, or_(used.is_(None), used < now - apart)).values(used=now)
    )


def mark_revoked(session: Session, key: str, now: datetime) -> None:
    """A key that is revoked already keeps its time; its page sessions end."""
    session.exec(
        update(KeyRow).where(col(KeyRow.id) == key, col(KeyRow.revoked).is_(None)).values(revoked=now)
    )
    session.exec(delete(PageSessionRow).where(col(PageSessionRow.key) == key))


def page_session(session: Session, digest: str) -> tuple[KeyFacts, datetime, datetime] | None:
    """The key that a page session was begun with, when it began, when it was last seen; None if there
    is none."""
    query = columns(*_FACTS, col(PageSessionRow.begun), col(PageSessionRow.seen)).join_from(
        PageSessionRow, KeyRow, col(KeyRow.id) == col(PageSessionRow.key)
    )
    row = session.connection().execute(query.where(col(PageSessionRow.digest) == digest)).one_or_none()
    return (KeyFacts(*row[:-2]), row[-2], row[-1]) if row else None


def mark_seen(session: Session, digest: str, now: datetime) -> None:
    """Write when a page session was last used."""
    session.exec(update(PageSessionRow).where(col(PageSessionRow.digest) == digest).values(seen=now))


def end_page_session(session: Session, digest: str) -> None:
    """The cookie with this digest opens nothing any more."""
    session.exec(delete(PageSessionRow).where(col(PageSessionRow.digest) == digest))


def drop_idle_sessions(session: Session, before: datetime) -> None:
    """Take out page sessions not seen since; so many at once that a sign-in never waits long."""
    idle = (
        select(PageSessionRow.digest)
        .where(PageSessionRow.seen < before)
        .order_by(col(PageSessionRow.seen))
        .limit(EXPIRED_SESSIONS_AT_ONCE)
    )
    session.exec(delete(PageSessionRow).where(col(PageSessionRow.digest).in_(idle)))


def events_before(
    session: Session, before: int | None, limit: int, key: str = "", outcome: str = ""
) -> list[AccessEventRow]:
    """Events older than the numbered one, newest first."""
    number = col(AccessEventRow.number)
    query = select(AccessEventRow).order_by(number.desc()).limit(limit)
    if before is not None:
        query = query.where(number < before)
    if key:
        query = query.where(AccessEventRow.key == key)
    if outcome:
        query = query.where(AccessEventRow.outcome == outcome)
    return list(session.exec(query))


def drop_old_refusals(session: Session, most: int) -> None:
    """Keep the newest refusals only."""
    number, outcome = col(AccessEventRow.number), col(AccessEventRow.outcome)
    refused = outcome == "refused"
    last_kept = select(number).where(refused).order_by(number.desc()).offset(most).limit(1).scalar_subquery()
    session.exec(delete(AccessEventRow).where(refused, number <= func.coalesce(last_kept, -1)))
