"""Loading records into the catalogue: everything is checked, and all is kept or nothing.

`python -m api.catalogue.imports FOLDER --dry-run` checks a folder by itself, in memory.
"""

import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine

from api.catalogue.history import anything_changed, forget_unchanged, keep
from api.catalogue.images import end_images
from api.catalogue.loading import Load, Report
from api.catalogue.removing import Removals
from api.catalogue.revisions import current_revision, raise_revision, ranges_touched, wait_for_editors
from api.catalogue.sources import records_in
from api.catalogue.staging import end_staging
from api.database import make_engine, migrate, writing


class _Undo(Exception):
    """Leave the transaction without keeping anything."""


def load(
    engine: Engine,
    sources: Any,
    *,
    dry_run: bool = False,
    progress: Callable[[int], None] | None = None,
    who: str = "",
    why: str = "",
    removals: Removals | None = None,
    first: Callable[[Connection], None] | None = None,
    last: Callable[[Connection, Report], None] | None = None,
) -> Report:
    """Load a file, a folder, an open sheet, JSON records, or several of these, in one transaction.

    A record with the name of one that exists replaces it; `removals` are taken out before. With any
    mistake, or with `dry_run`, nothing is kept. What changes is kept in the history, in the same
    transaction. `progress` is called with the number of records read so far. `first` may look at the
    catalogue before anything is written, `last` at the report before it is kept; what they raise
    undoes everything.
    """
    started = time.perf_counter()
    report = Report(dry_run=dry_run)
    try:
        with writing(engine) as session:
            connection = session.connection()
            wait_for_editors(connection)
            if first:
                first(connection)
            Load(connection, report, progress).run(records_in(sources), removals)
            if not report.ok:
                raise _Undo
            _keep(connection, report, who, why)
            if last:
                last(connection, report)
            if dry_run:
                raise _Undo
    except _Undo:
        report.revision = None
    report.mistakes.sort(key=lambda m: (m.place.file, m.place.line, m.field))
    report.seconds = time.perf_counter() - started
    return report


def _keep(connection: Connection, report: Report, who: str, why: str) -> None:
    """The history of what changed, and the next revision if anything did."""
    forget_unchanged(connection)
    if anything_changed(connection):
        report.revision = raise_revision(connection, who, why, ranges_touched(connection))
        report.changed = keep(connection, report.revision)
    else:
        report.revision = current_revision(connection)
    end_images(connection)
    end_staging(connection)


def main(arguments: list[str]) -> int:
    """Check folders or sheets together in an empty catalogue and print every mistake."""
    paths = [Path(a) for a in arguments if a != "--dry-run"]
    if not paths or "--dry-run" not in arguments:
        print("usage: python -m api.catalogue.imports FOLDER … --dry-run", file=sys.stderr)
        return 2
    engine = make_engine("sqlite://")
    migrate(engine)
    report = load(engine, paths, dry_run=True)
    for mistake in report.mistakes:
        print(mistake)
    if report.more_mistakes:
        print(f"… and {report.more_mistakes} more")
    counts = ", ".join(f"{count} {kind}" for kind, count in sorted(report.records.items()))
    print(f"{sum(report.records.values())} records read ({counts}); {len(report.mistakes)} mistakes")
    return 0 if report.ok else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
