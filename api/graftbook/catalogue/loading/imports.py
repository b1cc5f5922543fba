"""Loading records into the catalogue: everything is checked, and all is kept or nothing.

`python -m graftbook.catalogue.loading.imports FOLDER --dry-run` checks a folder by itself, in memory.
"""

import gc
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from itertools import chain, islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine

from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.format.sheets import Mistake, Placed
from graftbook.catalogue.format.sources import from_objects, records_in
from graftbook.catalogue.history.changes import changes_at_work, edit_of, forget_unchanged, keep
from graftbook.catalogue.history.revisions import (
    current_revision,
    raise_revision,
    ranges_touched,
    wait_for_editors,
)
from graftbook.catalogue.history.snapshots import Fields, end_images
from graftbook.catalogue.loading.load import EnoughMistakes, Load, LoadReport
from graftbook.catalogue.loading.removing import Removals, still_named
from graftbook.catalogue.loading.shadow import Copy, Overtaken, can_be_copied, sides_of
from graftbook.catalogue.loading.shadow_session import look_over
from graftbook.catalogue.loading.staging import end_staging, forget_unchanged_places
from graftbook.database import make_engine, migrate, writing
from graftbook.events.outbox import record_event
from graftbook.problems import NotAsShown


class _Undo(Exception):
    """Leave the transaction without keeping anything."""


def load(
    engine: Engine,
    sources: Any,
    *,
    dry_run: bool = False,
    progress: Callable[[int], None] | None = None,
    reading: SheetReading | None = None,
    who: str = "",
    why: str = "",
    removals: Removals | None = None,
    whole: bool | None = None,
    first: Callable[[Connection], None] | None = None,
    last: Callable[[Connection, LoadReport], None] | None = None,
) -> LoadReport:
    """Load a file, a folder, an open sheet, JSON records, or several of these, in one transaction.

    Files are sheets, workbooks or JSON; `reading` says how their cells are read.

    A record with the name of one that exists replaces it; `removals` are taken out before. `whole`: what is
    not among the records read, of the kinds that are, is taken out; False: it is counted. With any
    mistake, or with `dry_run`, nothing is kept; after a thousand mistakes nothing more is looked at. What
    changes is kept in the history, in the same transaction. `progress` is called with the number of records
    read so far. `first` may look at the catalogue before anything is written, `last` at the report before it
    is kept; what they raise undoes everything. A load that brings and removes more than `SMALL` records is
    worked out in a copy, so that others can edit meanwhile; a trial of it never comes near them; there
    `first` must not ask what records say, since the load may stand there already. Raises NotAsShown where
    such a load is whole and others edit records of its kinds meanwhile.
    """
    started = time.perf_counter()
    report = LoadReport(dry_run=dry_run)
    reading = reading or SheetReading()
    work = _Work(engine, report, progress, who, why, first, last, whole)
    try:
        with _collecting_seldom():
            work.by_size(records_in(sources, reading), removals or {})
    except (_Undo, EnoughMistakes):
        report.revision = None
    report.assumed = reading.assumptions()
    report.mistakes = [replace(m, place=reading.in_cell(m.place, m.field)) for m in report.mistakes]
    report.mistakes.sort(key=lambda m: (m.place.file, m.place.sheet, m.place.line, m.field))
    report.seconds = time.perf_counter() - started
    return report


_LOOKS = (5_000, 20, 50)
"""Objects until the collector looks at the new ones; looks until it takes those that stayed in, and all."""


@contextmanager
def _collecting_seldom() -> Iterator[None]:
    """A batch of records is 100,000 objects without a ring: as the interpreter begins, a third of a load went
    into walking them. `serve` has set it so already."""
    before = gc.get_threshold()
    if before[0] < _LOOKS[0]:
        gc.set_threshold(*_LOOKS)
    try:
        yield
    finally:
        if gc.get_threshold() == _LOOKS:
            gc.set_threshold(*before)


SMALL = 1_000
"""Records; so many are loaded and removed while other editors wait."""

_Read = Placed | Mistake


@dataclass(slots=True)
class _Work:
    """One load on its way; each way ends with `_Undo` where nothing is kept."""

    engine: Engine
    report: LoadReport
    progress: Callable[[int], None] | None
    who: str
    why: str
    first: Callable[[Connection], None] | None
    last: Callable[[Connection, LoadReport], None] | None
    whole: bool | None = None

    def by_size(self, records: Iterator[_Read], removals: Removals) -> None:
        """Where so many records are worked out."""
        beginning = list(islice(records, SMALL + 1))
        all_records = chain(beginning, records)
        many = len(beginning) + sum(map(len, removals.values())) > SMALL
        if not many or not can_be_copied(self.engine):
            self.here(all_records, removals)
        elif self.report.dry_run:
            self.on_trial(all_records, removals)
        else:
            self.in_shadow_copy(all_records, removals)

    def here(self, records: Iterator[_Read], removals: Removals) -> None:
        """In the database itself, where others wait for it."""
        with writing(self.engine) as session:
            connection = session.connection()
            wait_for_editors(connection)
            self._all_in(connection, records, removals)
            self._tell(connection)

    def on_trial(self, records: Iterator[_Read], removals: Removals) -> None:
        """In a copy that is thrown away."""
        with sides_of(self.engine) as sides:
            self._all_in(sides.copy, records, removals)

    def _all_in(self, connection: Connection, records: Iterator[_Read], removals: Removals) -> None:
        with self._looked_at(connection):
            self._load(connection, records, removals)
        if self.report.dry_run:
            raise _Undo

    @contextmanager
    def _looked_at(self, connection: Connection) -> Iterator[None]:
        """What the caller looks at before anything is written, and when all is."""
        if self.first:
            self.first(connection)
        yield
        if self.last:
            self.last(connection, self.report)

    def _load(self, connection: Connection, records: Iterator[_Read], removals: Removals) -> None:
        Load(connection, self.report, self.progress, whole=self.whole).run(records, removals)
        if not self.report.ok:
            raise _Undo
        _keep(connection, self.report, self.who, self.why)

    def in_shadow_copy(self, records: Iterator[_Read], removals: Removals) -> None:
        """In a copy, whose touched rows are then put into the database."""
        again = None
        with sides_of(self.engine) as sides:
            worked = Copy(self.engine, sides)
            self._load(sides.copy, records, removals)
            worked.load_is_in(kinds_alone=self.report.records if self.whole else ())
            if self.report.changed:
                again = self._handed_over(worked, self.report.revision or 0, removals)
        if not self.report.changed:
            self._without_change()
        elif again is not None:
            self._do_again(again, removals)
        if self.report.changed and self.engine.dialect.name == "postgresql":
            look_over(self.engine)

    def _handed_over(self, worked: Copy, own: int, removals: Removals) -> list[Fields] | None:
        """None, or what the load brought, where it must be judged again."""
        try:
            with worked.handing_over(own) as to:
                with self._looked_at(to):
                    self.report.revision = worked.hand_over(to, own, self.who, self.why)
                self._require_unreferenced(to, self.report.removed or removals)
                self._tell(to)
        except Overtaken:
            if self.whole:  # what was read and is there already is not among the records that it brought
                goes = sum(map(len, self.report.removed.values()))
                raise NotAsShown(
                    "Somebody edited the same meanwhile; preview it again", removes=goes
                ) from None
            return worked.records(own)
        return None

    def _require_unreferenced(self, to: Connection, removals: Removals) -> None:
        """What the house has come to name meanwhile is not taken away."""
        for mistake in still_named(to, removals):
            self.report.add(mistake)
        if not self.report.ok:
            raise _Undo

    def _tell(self, connection: Connection) -> None:
        """The event of the edit, last of all; of what a copy holds nobody is told."""
        edit = edit_of(connection, self.report.revision or 0) if self.report.changed else None
        if edit is not None:
            data = {"revision": edit.revision, "who": edit.who, "why": edit.why, "records": edit.changes}
            record_event(connection, "catalogue.revised", data | {"ranges": list(edit.ranges)})

    def _without_change(self) -> None:
        """Nothing is put into the database, neither what the copy was told of others."""
        with writing(self.engine) as session:
            connection = session.connection()
            wait_for_editors(connection)
            with self._looked_at(connection):
                self.report.revision = current_revision(connection)

    def _do_again(self, records: list[Fields], removals: Removals) -> None:
        """Under the lock; how many records were read stays what it was."""
        read, self.whole = self.report.records.copy(), None
        self.report.records.clear()
        self.report.changed = 0
        try:
            self.here(from_objects(records), removals)
        finally:
            self.report.records = read


def _keep(connection: Connection, report: LoadReport, who: str, why: str) -> None:
    """The history of what changed, and the next revision if anything did."""
    if report.unchanged:
        forget_unchanged_places(connection)
    forget_unchanged(connection)
    report.revision = present = current_revision(connection)
    if changes := changes_at_work(connection):
        touched = ranges_touched(connection, present)
        report.revision = raise_revision(connection, present, who, why, touched, changes)
        report.changed = changes
        keep(connection, report.revision)
    end_images(connection)
    end_staging(connection)


def main(arguments: list[str]) -> int:
    """Check folders or sheets together in an empty catalogue and print every mistake."""
    paths = [Path(a) for a in arguments if a != "--dry-run"]
    if not paths or "--dry-run" not in arguments:
        print("usage: python -m graftbook.catalogue.loading.imports FOLDER … --dry-run", file=sys.stderr)
        return 2
    engine = make_engine("sqlite://")
    migrate(engine)
    report = load(engine, paths, dry_run=True)
    for mistake in report.mistakes:
        print(mistake)
    counts = ", ".join(f"{count} {kind}" for kind, count in sorted(report.records.items()))
    print(f"{sum(report.records.values())} records read ({counts}); {report.mistake_count}")
    return 0 if report.ok else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
