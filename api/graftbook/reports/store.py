"""The SQL of reports: which there are."""

from collections.abc import Iterable, Mapping
from datetime import date

from sqlalchemy import Connection, and_, or_, select

from graftbook.catalogue.format.names import name_of
from graftbook.catalogue.format.records import ReportRecord
from graftbook.catalogue.store.from_rows import records_named
from graftbook.catalogue.store.tables import table
from graftbook.database import listed


def reports_after(
    connection: Connection,
    asked: Mapping[str, str],
    after: tuple[str, str] | None,
    limit: int,
    only: Iterable[str] | None,
) -> list[tuple[str, ReportRecord]]:
    """Reports of which all that is asked for holds, the latest day first; behind (day, name) `after`, of the
    names in `only` where it is given."""
    report = table("report")
    query = select(report.c.on, report.c.name).order_by(report.c.on.desc(), report.c.name)
    for column, value in asked.items():
        query = query.where(report.c[column] == value)
    if only is not None:
        query = query.where(report.c.name.in_(listed(connection, only)))
    if after is not None:
        day, name = date.fromisoformat(after[0]), after[1]
        query = query.where(or_(report.c.on < day, and_(report.c.on == day, report.c.name > name)))
    names = [row.name for row in connection.execute(query.limit(limit))]
    records = {name_of(r): r for r in records_named(connection, ReportRecord, names)}
    return [(name, records[name]) for name in names]
