"""Single edits: a record is read with its ETag, changed by whoever read it last, removed, taken back."""

import hashlib
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

from sqlalchemy import Connection, Engine, func, select

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.sheets import Place, validate
from graftbook.catalogue.history.changes import before_edit, edit_of, images_at, touched_again, touched_since
from graftbook.catalogue.history.revisions import current_revision, epoch_of
from graftbook.catalogue.history.snapshots import Fields, images, rows_in
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.catalogue.loading.removing import Removals, kind_words, own_of
from graftbook.catalogue.store.tables import table
from graftbook.database import reading
from graftbook.http.preconditions import require_match
from graftbook.problems import (
    ChangedAgain,
    InvalidRequest,
    PreconditionFailed,
    PreconditionRequired,
    UnknownRecord,
    UnknownRevision,
)

MOST_CHANGES = 100_000
"""So many records can be taken back in one go."""


@dataclass(frozen=True, slots=True)
class RecordState:
    """What a record says now, and the revision of the last edit that changed it (0: before history)."""

    kind: str
    name: str
    rows: list[Fields]
    etag: str
    revision: int


@dataclass(frozen=True, slots=True)
class Author:
    """Who edits and why, for the history."""

    who: str = ""
    why: str = ""


def record_etag(image: str) -> str:
    """The strong ETag of a record that has this image."""
    return f'"record-{hashlib.sha256(image.encode()).hexdigest()[:24]}"'


def record_state(engine: Engine, kind: str, name: str) -> RecordState:
    """A record as it stands. Raises UnknownRecord."""
    with reading(engine) as session:
        return _state(session.connection(), kind, name)


def _state(connection: Connection, kind: str, name: str) -> RecordState:
    image = images(connection, kind, [name]).get(name)
    if image is None:
        raise UnknownRecord(f"{kind} '{name}'", detail=f"There is no {kind_words(kind)} '{name}'")
    change = table("record_change")
    last = select(func.max(change.c.revision)).where(change.c.kind == kind, change.c.name == name)
    revision = connection.execute(last).scalar() or 0
    return RecordState(kind, name, rows_in(image), record_etag(image), revision)


def put_record(
    engine: Engine,
    kind: str,
    name: str,
    rows: Sequence[Mapping[str, Any]],
    if_match: str | None,
    author: Author,
    *,
    dry_run: bool = False,
    last: Callable[[Connection, LoadReport], None] | None = None,
) -> LoadReport:
    """Store a record that is new, or that still has the ETag `if_match`.

    Raises InvalidRequest for rows of another name, PreconditionRequired when the record exists and
    no ETag was sent, PreconditionFailed when it says something else by now.
    """
    _require_one_record(kind, name, rows)
    objects = [{"record": kind, **row} for row in rows]

    def stored(connection: Connection, report: LoadReport) -> None:
        report.etag = record_etag(images(connection, kind, [name])[name])
        if last:
            last(connection, report)

    return load(
        engine,
        objects,
        dry_run=dry_run,
        who=author.who,
        why=author.why,
        first=lambda connection: _require_as_read(connection, kind, name, if_match),
        last=stored,
    )


def patch_record(
    engine: Engine,
    kind: str,
    name: str,
    patch: Mapping[str, Any],
    if_match: str | None,
    author: Author,
    *,
    dry_run: bool = False,
) -> LoadReport:
    """Merge a patch (RFC 7396) into a record of one row that still has the ETag `if_match`.

    Raises UnknownRecord, InvalidRequest for a record of several rows, and what `put_record` raises.
    """
    state = record_state(engine, kind, name)
    if if_match is not None:
        require_match(if_match, state.etag, "the record")
    if len(state.rows) != 1:
        raise InvalidRequest(f"This {kind_words(kind)} has {len(state.rows)} rows; send all of them with PUT")
    merged = {field: value for field, value in {**state.rows[0], **patch}.items() if value is not None}
    as_read = None if if_match is None else state.etag
    return put_record(engine, kind, name, [merged], as_read, author, dry_run=dry_run)


def remove_record(
    engine: Engine,
    kind: str,
    name: str,
    if_match: str | None,
    author: Author,
    *,
    dry_run: bool = False,
    last: Callable[[Connection, LoadReport], None] | None = None,
    own: Removals = MappingProxyType({}),
) -> LoadReport:
    """Take out a record that still has the ETag `if_match` and that nothing names any more; with it what
    says nothing without it, where that was read (`own_records`).

    Raises UnknownRecord, PreconditionRequired, PreconditionFailed.
    """

    def first(connection: Connection) -> None:
        _state(connection, kind, name)
        _require_as_read(connection, kind, name, if_match)
        if own and own != own_of(connection, kind, name):
            raise PreconditionFailed("What belongs to the record has changed since it was read")

    removals = {**own, kind: [name]}
    return load(
        engine, [], dry_run=dry_run, who=author.who, why=author.why, removals=removals, first=first, last=last
    )


def own_records(engine: Engine, kind: str, name: str) -> dict[str, list[str]]:
    """The records that say nothing without this one, by kind: a component's fitments, offers and the like."""
    with reading(engine) as session:
        return own_of(session.connection(), kind, name)


def take_back(
    engine: Engine,
    revision: int,
    author: Author,
    *,
    dry_run: bool = False,
    begin: Callable[[Connection], None] | None = None,
    last: Callable[[Connection, LoadReport], None] | None = None,
) -> LoadReport:
    """Undo one edit by a new one. `begin` and `last` are called as `load` calls `first` and `last`.

    Raises UnknownRevision, and ChangedAgain when a later edit changed one of its records.
    """
    with reading(engine) as session:
        seen = state_seen(session.connection())
        changes = _to_take_back(session.connection(), revision)
    records = {(kind, name) for kind, name, _ in changes}
    objects = [{"record": kind, **row} for kind, _, before in changes for row in before]
    removals: dict[str, list[str]] = {}
    for kind, name, before in changes:
        if not before:
            removals.setdefault(kind, []).append(name)

    def first(connection: Connection) -> None:
        if begin:
            begin(connection)
        _require_untouched(revision, touched_meanwhile(connection, seen, records))

    why = author.why or f"takes back revision {revision}"
    return load(
        engine, objects, dry_run=dry_run, who=author.who, why=why, removals=removals, first=first, last=last
    )


def _to_take_back(connection: Connection, revision: int) -> list[tuple[str, str, list[Fields]]]:
    """(kind, name, rows before) of what an edit changed, where that is kept and nobody changed it again."""
    if edit_of(connection, revision) is None:
        raise UnknownRevision(str(revision))
    changes = before_edit(connection, revision, MOST_CHANGES + 1)
    if not changes:
        raise UnknownRevision(str(revision), detail=f"What revision {revision} changed was not kept")
    if len(changes) > MOST_CHANGES:
        raise InvalidRequest(f"Revision {revision} changed more than {MOST_CHANGES} records")
    again = touched_again(connection, revision)
    then, now = (
        images_at(connection, [(kind, name, at) for kind, name in again])
        for at in (revision, current_revision(connection))
    )
    says_otherwise = [record for record, was, is_now in zip(again, then, now, strict=True) if was != is_now]
    _require_untouched(revision, says_otherwise)
    return changes


def _require_untouched(revision: int, again: Sequence[tuple[str, str]]) -> None:
    if again:
        kind, name = again[0]
        raise ChangedAgain(
            f"{kind_words(kind)} '{name}' was changed again after revision {revision}"
            + (f", and {len(again) - 1} more" if len(again) > 1 else ""),
            records=[{"kind": kind, "name": name} for kind, name in again[:100]],
        )


def state_seen(connection: Connection) -> tuple[str, int]:
    """The epoch and the revision at which something was looked at, before other editors have to wait."""
    return epoch_of(connection), current_revision(connection)


def touched_meanwhile(
    connection: Connection, seen: tuple[str, int], records: Collection[tuple[str, str]]
) -> list[tuple[str, str]]:
    """Those of the records, (kind, name), that others edited since; all of them after a restore.

    It reads the history alone: of a large load the rows may stand there already.
    """
    epoch, revision = seen
    if epoch_of(connection) != epoch:
        return sorted(records)
    return touched_since(connection, revision, records)


def _require_as_read(connection: Connection, kind: str, name: str, if_match: str | None) -> None:
    image = images(connection, kind, [name]).get(name)
    if if_match is None:
        if image is not None:
            raise PreconditionRequired(f"This {kind_words(kind)} exists; send If-Match with its ETag")
    else:
        require_match(if_match, None if image is None else record_etag(image), "the record")


def _require_one_record(kind: str, name: str, rows: Sequence[Mapping[str, Any]]) -> None:
    """Every row is of this record; rows with mistakes are left to the load, which tells them all."""
    if not rows:
        raise InvalidRequest("A record has at least one row", pointer="/rows")
    for number, row in enumerate(rows):
        record, _ = validate(r.KIND_BY_WORD[kind], dict(row), Place("request", number + 1))
        if record is None:
            continue
        own = record.variant if isinstance(record, r.ChassisSpanRecord) else name_of(record)
        if own != name:
            message = f"This row is '{own}', but the address says '{name}'"
            raise InvalidRequest(message, pointer=f"/rows/{number}")
