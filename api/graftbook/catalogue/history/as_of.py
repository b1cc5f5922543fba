"""The catalogue as it was: what a question may name, copied into memory, with every later edit undone there.

What an edit changed is in the history with what stood before, so undoing is loading that. The catalogue
itself is only read, in one transaction: nobody waits. The cost grows with the ranges that the question names
and with the records of theirs that were changed since, not with the catalogue.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager

from sqlalchemy import Connection

from graftbook.catalogue.format.sources import from_objects
from graftbook.catalogue.history.as_of_part import Part
from graftbook.catalogue.history.changes import changed_since_at_most, require_kept
from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.history.snapshots import objects_in
from graftbook.catalogue.loading.load import Load, Report
from graftbook.catalogue.loading.removing import let_go_elsewhere
from graftbook.catalogue.loading.scratch import scratch
from graftbook.database import Source, reading
from graftbook.problems import TooFarBack, UnknownRevision

MOST_CHANGES = 50_000


@contextmanager
def as_of(engine: Source, revision: int, words: Iterable[str]) -> Iterator[Connection]:
    """A connection that sees the catalogue as of a revision, as far as these words can ask for it.

    `words`: every text of the question. The ranges of the chassis numbers among them are whole there, and
    so are the components that any of them may mean, the builds and the specifications of these names.
    Raises UnknownRevision for a revision that is not reached yet, TooFarBack for one before the history, or
    with more than `MOST_CHANGES` changes since.
    """
    with scratch() as then:
        with reading(engine) as session:
            now = session.connection()
            _within_reach(now, revision)
            part = Part(now, then, revision, words)
            part.copy()
            _undo(then, part, revision)
        yield then


def _within_reach(connection: Connection, revision: int) -> None:
    present = current_revision(connection)
    if not 0 <= revision <= present:
        raise UnknownRevision(str(revision), [str(present)])
    require_kept(connection, revision, present)
    if changed_since_at_most(connection, revision, MOST_CHANGES + 1) > MOST_CHANGES:
        raise TooFarBack(
            f"More than {MOST_CHANGES} records were changed since; that is too much to undo here"
        )


def _undo(then: Connection, part: Part, revision: int) -> None:
    objects, removals = part.undoing()
    report = Report()
    load = Load(then, report, keeps_images=False)
    let_go_elsewhere(then, removals)
    load.run(from_objects(o for kind, image in objects for o in objects_in(kind, image)), removals)
    if report.mistakes:
        raise TooFarBack(f"This version of the program cannot read revision {revision}: {report.mistakes[0]}")
    part.finish()
