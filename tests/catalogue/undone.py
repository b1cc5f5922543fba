"""The whole catalogue as it was: every later edit undone, inside a transaction that is never kept.

The plain way, which the service does not go since it lets editors wait: what it gives is compared with this.

What an edit changed is in the history with what stood before, so undoing is loading that. The cost
grows with the number of records changed since; a question about the past waits for editors and lets
them wait, as an edit does.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, Engine, select, update

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.format.sources import from_objects
from graftbook.catalogue.history.changes import changed_since_at_most, require_kept, undoing
from graftbook.catalogue.history.revisions import current_revision, wait_for_editors
from graftbook.catalogue.history.snapshots import end_images, images, objects_in
from graftbook.catalogue.loading.load import Load, LoadReport
from graftbook.catalogue.loading.removing import remove_dependents
from graftbook.catalogue.loading.staging import end_staging
from graftbook.catalogue.store.tables import table
from graftbook.database import writing
from graftbook.problems import TooFarBack, UnknownRevision

MOST_CHANGES = 50_000


class _Undo(Exception):
    """Leave the transaction without keeping anything."""


@contextmanager
def undone_to(engine: Engine, revision: int) -> Iterator[Connection]:
    """A connection that sees the catalogue as of a revision, until the block ends.

    Raises UnknownRevision for one that is not reached yet, TooFarBack for one before the history, or
    with more than `MOST_CHANGES` changes since.
    """
    try:
        with writing(engine) as session:
            connection = session.connection()
            wait_for_editors(connection)
            _within_reach(connection, revision)
            _undo_since(connection, revision)
            yield connection
            raise _Undo
    except _Undo:
        pass


def _within_reach(connection: Connection, revision: int) -> None:
    present = current_revision(connection)
    if not 0 <= revision <= present:
        raise UnknownRevision(str(revision), [str(present)])
    require_kept(connection, revision, present)
    assert changed_since_at_most(connection, revision, MOST_CHANGES + 1) <= MOST_CHANGES


def _undo_since(connection: Connection, revision: int) -> None:
    removals: dict[str, list[str]] = {}
    objects = []
    for kind, name, image in list(undoing(connection, revision, KIND_BY_WORD)):
        if image is None:
            removals.setdefault(kind, []).append(name)
        else:
            objects.extend(objects_in(kind, image))
    report = LoadReport()
    load = Load(connection, report, keeps_images=False)
    removals = _present(connection, removals)
    remove_dependents(connection, removals)
    load.run(from_objects(objects), removals)
    if report.mistakes:
        raise TooFarBack(f"This version of the program cannot read revision {revision}: {report.mistakes[0]}")
    end_images(connection)
    end_staging(connection)
    _set_back(connection, revision)


def _present(connection: Connection, removals: dict[str, list[str]]) -> dict[str, list[str]]:
    """Those of the records that are there still: one may have been added and removed again."""
    return {kind: list(images(connection, kind, names)) for kind, names in removals.items()}


def _set_back(connection: Connection, revision: int) -> None:
    """The ranges' revisions as they were."""
    ranges, edit = table("range"), table("revision")
    then: dict[str, int] = {}
    for row in connection.execute(select(edit.c.number, edit.c.touched).where(edit.c.number <= revision)):
        for name in row.touched.split("; "):
            then[name] = max(then.get(name, 0), row.number)
    for name, number in then.items():
        connection.execute(update(ranges).where(ranges.c.name == name).values(revision=number))
