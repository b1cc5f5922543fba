"""Keys made, listed, revoked: each function is one transaction, and what it does is in the trail.

A service does not listen beyond its machine by accident: it needs a key first, or to be told in words.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

from sqlalchemy import Engine

from graftbook.access import store
from graftbook.access.keys import new_key
from graftbook.access.principal import Caller
from graftbook.access.scopes import Scope
from graftbook.access.tables import OUTCOMES, AccessEventRow, KeyRow
from graftbook.database import reading, writing
from graftbook.problems import InvalidRequest, Problem, UnknownKey
from graftbook.settings import Settings

if TYPE_CHECKING:
    from graftbook.access.schemas import AccessEventOut, KeyOut, NewKeyOut

LONGEST_LABEL = 120


@dataclass(frozen=True)
class NewKey:
    """A key just made: `text` is the key itself and is nowhere else."""

    text: str
    row: KeyRow

    def document(self) -> NewKeyOut:
        """As facts for the one who may see it."""
        return {"key": self.text, **key_document(self.row)}


def moment() -> datetime:
    """Now, in UTC."""
    return datetime.now(UTC)


def create_key(engine: Engine, label: str, scope: Scope, expires: datetime | None, caller: Caller) -> NewKey:
    """Make a key. Raises InvalidRequest for a label that says nothing or a time that is past."""
    label, now = _label(label), moment()
    if expires is not None and expires <= now:
        raise InvalidRequest("The key would have expired already; name a later time", pointer="/expires")
    text, kept = new_key()
    row = KeyRow(
        id=kept.id,
        digest=kept.digest,
        label=label,
        scope=scope.value,
        made_by=caller.who[:200],
        created=now,
        expires=expires.astimezone(UTC) if expires else None,
    )
    with writing(engine) as session:
        session.add(row)
        session.add(caller.event(now, f"key {kept.id} made: {label}, may {scope.value}", "done"))
    return NewKey(text, row)


def revoke_key(engine: Engine, key: str, caller: Caller) -> None:
    """From now on the key opens nothing, in no process; its page sessions end. Raises UnknownKey."""
    now = moment()
    with writing(engine) as session:
        row = store.key_facts(session, key)
        if row is None:
            raise UnknownKey(key)
        store.mark_revoked(session, key, now)
        session.add(caller.event(now, f"key {key} revoked: {row.label}", "done"))


def list_keys(engine: Engine, after: tuple[datetime, str] | None, limit: int) -> list[KeyOut]:
    """Keys as facts, without their secrets, in the order of their creation."""
    with reading(engine) as session:
        return [key_document(row) for row in store.keys_after(session, after, limit)]


def any_usable_key(engine: Engine) -> bool:
    """Whether anybody could be let in with a key."""
    with reading(engine) as session:
        return store.usable_key_exists(session, moment())


def list_events(
    engine: Engine, before: int | None, limit: int, key: str = "", outcome: str = ""
) -> list[AccessEventOut]:
    """The trail as facts, newest first, older than the numbered event."""
    with reading(engine) as session:
        return [event_document(row) for row in store.events_before(session, before, limit, key, outcome)]


def key_document(row: KeyRow) -> KeyOut:
    """A key as facts; times in RFC 3339."""
    return {
        "id": row.id,
        "label": row.label,
        "scope": Scope(row.scope),
        "made_by": row.made_by,
        "created": row.created.isoformat(),
        "expires": _iso(row.expires),
        "last_used": _iso(row.used),
        "revoked": _iso(row.revoked),
        "usable": usable(row, moment()),
    }


def event_document(row: AccessEventRow) -> AccessEventOut:
    """An event as facts."""
    return {
        "number": row.number or 0,  # None before it is stored
        "at": row.at.isoformat(),
        "key": row.key,
        "what": row.what,
        "outcome": next(word for word in OUTCOMES if word == row.outcome),
        "request_id": row.request or None,
        "client": row.client or None,
        "times": row.times,
    }


def usable(row: store.KeyFacts | KeyRow, now: datetime) -> bool:
    """Neither revoked nor expired."""
    return row.revoked is None and (row.expires is None or now < row.expires)


def read_expiry(text: str, now: datetime) -> datetime:
    """`90d` from now, or the end of a day as `2027-01-31`, in UTC. Raises InvalidRequest."""
    try:
        if text.endswith("d") and text[:-1].isdecimal():
            return now + timedelta(days=int(text[:-1]))
        return datetime.combine(date.fromisoformat(text), datetime.min.time(), UTC) + timedelta(days=1)
    except (ValueError, OverflowError):
        raise InvalidRequest(f"'{text[:40]}' is no time; write 90d or a day as 2027-01-31") from None


def _label(text: str) -> str:
    label = " ".join(text.split())
    if not label or len(label) > LONGEST_LABEL or not label.isprintable():
        raise InvalidRequest(
            f"A label is 1 to {LONGEST_LABEL} printable characters that say whose key it is", pointer="/label"
        )
    return label


def _iso(at: datetime | None) -> str | None:
    return at.isoformat() if at else None


class Exposed(Problem):
    """The service would listen beyond this machine though no key exists."""

    status = 409
    type = "/problems/exposed"
    title = "The service does not listen beyond this machine while no key exists"


def require_keys_beyond_this_machine(settings: Settings, engine: Engine) -> None:
    """Raises Exposed unless the service listens here only, has a usable key, or was told in words."""
    if settings.here_only or settings.without_keys or any_usable_key(engine):
        return
    raise Exposed(
        f"no key exists, so nothing is served at {settings.host}: make one with `graftbook keys create"
        " --label NAME --scope administer`, or set GRAFTBOOK_WITHOUT_KEYS='anyone may read'"
    )
