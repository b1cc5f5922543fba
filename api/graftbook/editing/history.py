"""The history of the catalogue as pages of documents."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Protocol, TypeVar

from sqlalchemy import Engine

from graftbook.catalogue.history import changes as history
from graftbook.catalogue.history.changes import Edit, RecordChange, WhatWord
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.store.cursors import read_cursor, read_number, write_cursor
from graftbook.database import reading
from graftbook.problems import UnknownRevision

if TYPE_CHECKING:
    from graftbook.editing.schemas import RecordChangeOut, RecordDifferenceOut, RecordRow, RevisionOut

_Item = TypeVar("_Item")


class Held(Protocol):
    """The service, or a command: whoever holds the database."""

    @property
    def engine(self) -> Engine: ...


Page = tuple[list[_Item], str | None]


def edit_document(edit: Edit) -> RevisionOut:
    """An edit as facts."""
    return {
        "revision": edit.revision,
        "at": edit.at.isoformat(),
        "who": edit.who,
        "why": edit.why,
        "ranges": list(edit.ranges),
        "changes": edit.changes,
    }


def change_document(change: RecordChange) -> RecordChangeOut:
    """What an edit did to a record."""
    return {
        "what": change.what,
        "kind": change.kind,
        "name": change.name,
        "before": change.before,
        "after": change.after,
        "edit": edit_document(change.edit),
    }


def _page(items: list[_Item], size: int, search: dict[str, Any], keys: Sequence[list[str]]) -> Page[_Item]:
    """The page and the next one's cursor; `items` has one more than `size` when there is a next."""
    following = write_cursor(search, keys[size - 1]) if len(items) > size else None
    return items[:size], following


def of_record(service: Held, kind: str, name: str, cursor: str, size: int) -> Page[RecordChangeOut]:
    """The changes of one record, the newest first."""
    search = {"history": kind, "name": name}
    before = read_number(cursor, search)
    with reading(service.engine) as session:
        changes = history.changes_of_record(session.connection(), kind, name, before, size + 1)
    keys = [[str(change.edit.revision)] for change in changes]
    return _page([change_document(change) for change in changes], size, search, keys)


def revisions(service: Held, cursor: str, size: int) -> Page[RevisionOut]:
    """The edits, the newest first."""
    search = {"list": "revisions"}
    before = read_number(cursor, search)
    with reading(service.engine) as session:
        edits = history.edits(session.connection(), before, size + 1)
    return _page([edit_document(e) for e in edits], size, search, [[str(e.revision)] for e in edits])


def revision(service: Held, number: int) -> RevisionOut:
    """One edit. Raises UnknownRevision."""
    with reading(service.engine) as session:
        edit = history.edit_of(session.connection(), number)
        if edit is None:
            raise UnknownRevision(str(number), [str(current_revision(session.connection()))])
    return edit_document(edit)


def of_revision(service: Held, number: int, cursor: str, size: int) -> Page[RecordChangeOut]:
    """What one edit changed, by kind and name. Raises UnknownRevision."""
    search = {"changes": number}
    after = read_cursor(cursor, search, 2) if cursor else ["", ""]
    with reading(service.engine) as session:
        connection = session.connection()
        if history.edit_of(connection, number) is None:
            raise UnknownRevision(str(number), [str(current_revision(connection))])
        changes = history.changes_of_edit(connection, number, (after[0], after[1]), size + 1)
    keys = [[change.kind, change.name] for change in changes]
    return _page([change_document(change) for change in changes], size, search, keys)


def between(service: Held, old: int, new: int | None, cursor: str, size: int) -> Page[RecordDifferenceOut]:
    """The records that say something else as of `new` (None: the present revision) than as of `old`.

    A page may be short although there is a next one: a record that was changed and changed back
    takes its place in the reading, not on the page. Raises UnknownRevision, and TooFarBack for a
    revision before the history: what was changed then was not kept.
    """
    with reading(service.engine) as session:
        connection = session.connection()
        present = current_revision(connection)
        new = present if new is None else new
        search = {"between": [old, new]}
        after = read_cursor(cursor, search, 2) if cursor else ["", ""]
        for number in (old, new):
            if number > present:
                raise UnknownRevision(str(number), [str(present)])
        low, high = sorted((old, new))
        history.require_kept(connection, low, present)
        found, last = history.changed_between(connection, low, high, (after[0], after[1]), size)
    items = [_difference(kind, name, *((a, b) if old <= new else (b, a))) for kind, name, a, b in found]
    return items, write_cursor(search, list(last)) if last else None


def _difference(kind: str, name: str, before: list[RecordRow], after: list[RecordRow]) -> RecordDifferenceOut:
    what: WhatWord = "changed" if before and after else "added" if after else "removed"
    return {"what": what, "kind": kind, "name": name, "before": before, "after": after}
