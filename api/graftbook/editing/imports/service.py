"""One import in one transaction."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from graftbook.catalogue.format.reading import SheetReading
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import LoadReport
from graftbook.editing.records.service import Author
from graftbook.http.errors import refused
from graftbook.idempotency.service import Once
from graftbook.problems import NotAsShown
from graftbook.process.service import Service


@dataclass(frozen=True, slots=True)
class ImportEdit:
    """What an import is asked to do. `removes`: how many records its preview showed to go."""

    dry_run: bool
    whole: bool
    removes: int | None
    reading: SheetReading
    author: Author


def import_from(service: Service, source: Any, edit: ImportEdit, once: Once) -> LoadReport:
    """Load a source. Raises ImportRefused, NotAsShown, Busy, and what `once` raises."""
    once.look(service.engine)

    def last(connection: Connection, report: LoadReport) -> None:
        goes = sum(map(len, report.removed.values()))
        if edit.whole and not edit.dry_run and goes != edit.removes:
            raise NotAsShown(f"{goes} records would go, not {edit.removes}; preview it again", removes=goes)
        once.keep(connection, report)

    with service.gates["imports"].turn():
        report = load(
            service.engine,
            source,
            dry_run=edit.dry_run,
            reading=edit.reading,
            who=edit.author.who,
            why=edit.author.why,
            whole=edit.whole,
            first=once.begin,
            last=last,
        )
    if not report.ok:
        raise refused(report)
    return report
