"""What workshops reported that bears on a claim: of the claim by name, or of what it says fits."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, and_, or_, select, union

from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.lookup import day_built
from graftbook.catalogue.store.tables import table
from graftbook.rulebook.grading import Report, TrialOutcome
from graftbook.rulebook.model import Vehicle, When


def reports_by_claim(
    connection: Connection, query: Select[Any], given: Mapping[str, Any], whens: Mapping[int, When]
) -> dict[str, tuple[Report, ...]]:
    """The reports that bear on each of some claims, by claim, in the order of their names; `query` is what
    `bearing` makes for the claims, and `given` its parameters.

    A report of a component at a position bears on its fitments there, and on the substitutes by which it
    serves there for what such vehicles have from new. Any report bears only on a claim that holds for its
    vehicle: `whens` has what the single vehicle decides, by the number of the condition.
    """
    found: dict[str, list[Report]] = defaultdict(list)
    for row in connection.execute(query, given):
        built = row.built or day_built(row, row.serial)
        vehicle = Vehicle(row.variant, row.prefix, row.serial, built, frozenset(split(row.options)))
        if whens[row.condition_id].holds(vehicle):
            found[row.claim].append(report_of(row))
    return {claim: tuple(reports) for claim, reports in found.items()}


def report_of(row: Any) -> Report:
    """A row of the table as a value."""
    return Report(
        row.name, TrialOutcome(row.outcome), row.workshop, row.on, row.prefix, row.serial, row.digits
    )


def bearing(claims: Select[Any]) -> Select[Any]:
    """(claim, report) for each of the claims, a select of names, and each report that bears on it, with the
    report's vehicle, whose variant is one of the claim's."""
    report, claim, span = table("report"), table("claim"), table("chassis_span")
    spelt = table("condition_variant")
    pairs = _pairs(claims).subquery()
    columns = [column for column in report.c if column.name != "claim"]
    return (
        select(
            pairs.c.claim, *columns, claim.c.condition_id, span.c.variant,
            span.c.first_serial, span.c.last_serial, span.c.built_from, span.c.built_to,
        )
        .select_from(pairs)
        .join(report, report.c.name == pairs.c.report)
        .join(claim, claim.c.name == pairs.c.claim)
        .join(span, of_its_vehicle(span, report))
        .join(spelt, and_(spelt.c.condition_id == claim.c.condition_id, spelt.c.variant == span.c.variant))
        .order_by(pairs.c.claim, report.c.name)
    )  # fmt: skip


def of_its_vehicle(span: Table, report: Table) -> ColumnElement[bool]:
    """That a chassis span holds the vehicle of a report."""
    serial = report.c.serial.between(span.c.first_serial, span.c.last_serial)
    return and_(span.c.prefix == report.c.prefix, serial)


def _pairs(claims: Select[Any]) -> Any:
    """(claim, report) by what the report names; whether the vehicle is one of the claim's is asked later."""
    report, fitment, substitute = table("report"), table("fitment"), table("substitute")
    here = and_(report.c.component == fitment.c.component, report.c.position == fitment.c.position)
    tried = select(fitment.c.claim, report.c.name.label("report")).select_from(fitment.join(report, here))
    there, of = fitment.alias("there"), table("claim")
    spelt, span = table("condition_variant"), table("chassis_span")
    replaced = (
        select(there.c.claim)
        .join(of, of.c.name == there.c.claim)
        .join(spelt, spelt.c.condition_id == of.c.condition_id)
        .join(span, span.c.variant == spelt.c.variant)
        .where(there.c.component == substitute.c.original, there.c.position == report.c.position)
        .where(there.c.from_new, span.c.prefix == report.c.prefix)
        .exists()
    )
    served = (
        select(substitute.c.claim, report.c.name.label("report"))
        .select_from(substitute.join(report, report.c.component == substitute.c.component))
        .where(or_(substitute.c.position == report.c.position, substitute.c.position.is_(None)), replaced)
    )
    named = select(report.c.claim, report.c.name.label("report"))
    return union(
        *(
            query.where(query.selected_columns[0].in_(claims))
            for query in (tried, served, named.where(report.c.claim.is_not(None)))
        )
    )
