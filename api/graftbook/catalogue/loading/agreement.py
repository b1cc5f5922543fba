"""Whether the records of a load agree with each other and with what was there before."""

from collections.abc import Iterator, Set

from sqlalchemy import ColumnElement, Connection, and_, exists, func, or_, select

from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.loading.references import place_of
from graftbook.catalogue.loading.staging import SPANS_OF, STAGED
from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.nearest import hint, likest
from graftbook.catalogue.store.reported import of_its_vehicle
from graftbook.catalogue.store.tables import table
from graftbook.rulebook.units import chassis_number

MOST = 200


def disagreements(connection: Connection, brought: Set[str]) -> Iterator[Mistake]:
    """Twins that are not mutual, spans that overlap, lonely pairs, flaws remedied by strangers.

    Each looks at the whole catalogue, while others wait: only where a kind that it is about is `brought`.
    """
    for kinds, look in _LOOKS:
        if kinds & brought:
            yield from look(connection)


def _twins(connection: Connection) -> Iterator[Mistake]:
    one, other = table("component").alias("one"), table("component").alias("other")
    query = (
        select(one.c.number, one.c.twin, other.c.twin.label("back"))
        .select_from(one.join(other, other.c.number == one.c.twin))
        .where(or_(other.c.twin.is_(None), other.c.twin != one.c.number))
        .order_by(one.c.number)
        .limit(MOST)
    )
    for row in connection.execute(query).all():
        says = f"says its twin is '{row.back}'" if row.back else "names no twin"
        message = f"'{row.twin}' {says}; twins name each other"
        yield Mistake(place_of(connection, "component", row.number), "component", "twin", message, row.number)


def _spans(connection: Connection) -> Iterator[Mistake]:
    span = table("chassis_span")
    each, by = span.c.prefix, (span.c.first_serial, span.c.variant)
    before = select(
        *span.c,
        func.max(span.c.last_serial)
        .over(partition_by=each, order_by=by, rows=(None, -1))
        .label("last_before"),
        func.lag(span.c.variant).over(partition_by=each, order_by=by).label("variant_before"),
    ).subquery()
    query = select(before).where(before.c.first_serial <= before.c.last_before).limit(MOST)
    for row in connection.execute(query).all():
        first = chassis_number(row.prefix, row.first_serial, row.digits)
        name = f"{row.variant} {first}"
        message = f"this span overlaps one of '{row.variant_before}'; a chassis number belongs to one span"
        yield Mistake(place_of(connection, "chassis_span", name), "chassis_span", "first", message, name)


def _pairs(connection: Connection) -> Iterator[Mistake]:
    position, condition = table("position"), table("condition")
    query = (
        select(
            position.c.pair,
            condition.c.range,
            func.min(position.c.name).label("name"),
            func.count().label("sides"),
        )
        .join(condition, condition.c.id == position.c.condition_id)
        .where(position.c.pair != "")
        .group_by(condition.c.range, position.c.pair)
    )
    rows = connection.execute(query).all()
    for row in (row for row in rows if row.sides == 1):
        others = [other.pair for other in rows if other.range == row.range and other.pair != row.pair]
        near = hint(likest(row.pair, others))
        message = f"no other position has the pair '{row.pair}'; a pair needs two{near}"
        yield Mistake(place_of(connection, "position", row.name), "position", "pair", message, row.name)


def _flaws(connection: Connection) -> Iterator[Mistake]:
    """Substitutes that replace none of the flawed components or bring another of them, and such add-ons."""
    flaw, remedy, substitute = table("flaw"), table("flaw_substitute"), table("substitute")
    replaced, brought = (_has_flaw(flaw.c.claim, c) for c in (substitute.c.original, substitute.c.component))
    swapped = and_(substitute.c.both_ways, brought, ~replaced)
    same = and_(replaced, brought)
    query = (
        select(
            flaw.c.claim, flaw.c.component, substitute.c.claim.label("remedy"), substitute.c.original,
            substitute.c.component.label("new"), same.label("same"),
        )
        .select_from(flaw.join(remedy, remedy.c.claim == flaw.c.claim))
        .join(substitute, substitute.c.claim == remedy.c.substitute)
        .where(or_(and_(~replaced, ~swapped), same))
        .order_by(flaw.c.claim, substitute.c.claim)
        .limit(MOST)
    )  # fmt: skip
    for row in connection.execute(query).all():
        message = f"'{row.remedy}' replaces '{row.original}', not the flawed '{row.component}'"
        if row.same:
            message = f"'{row.remedy}' remedies nothing: '{row.new}' has the same flaw"
        yield Mistake(place_of(connection, "flaw", row.claim), "flaw", "substitutes", message, row.claim)
    add_on = table("flaw_add_on")
    flawed = select(add_on).where(_has_flaw(add_on.c.claim, add_on.c.component))
    for row in connection.execute(flawed.order_by(add_on.c.claim, add_on.c.component).limit(MOST)).all():
        message = f"'{row.component}' remedies nothing: it has the same flaw"
        yield Mistake(place_of(connection, "flaw", row.claim), "flaw", "add_ons", message, row.claim)


def _has_flaw(claim: ColumnElement[str], component: ColumnElement[str]) -> ColumnElement[bool]:
    """Whether a component is one of those that a flaw is recorded of."""
    flaw, also = (table(name).alias() for name in ("flaw", "flaw_also_of"))
    return or_(*(exists().where(of.c.claim == claim, of.c.component == component) for of in (flaw, also)))


def _reports(connection: Connection) -> Iterator[Mistake]:
    """Reports of the load of vehicles that nobody has, or that what was tried does not belong to."""
    report, span, variant = table("report"), table("chassis_span"), table("variant")
    position, claim, condition = table("position"), table("claim"), table("condition")
    named, held_by = claim.alias("named"), condition.alias("held_by")
    of_position = (
        select(condition.c.range)
        .select_from(condition.join(position, position.c.condition_id == condition.c.id))
        .where(position.c.name == report.c.position)
    )
    of_claim = (
        select(held_by.c.range)
        .select_from(held_by.join(named, named.c.condition_id == held_by.c.id))
        .where(named.c.name == report.c.claim)
    )
    about = func.coalesce(of_position.scalar_subquery(), of_claim.scalar_subquery())
    query = (
        select(report, variant.c.range, about.label("about"), claim.c.kind)
        .select_from(report.join(STAGED, and_(STAGED.c.kind == "report", STAGED.c.name == report.c.name)))
        .outerjoin(span, of_its_vehicle(span, report))
        .outerjoin(variant, variant.c.name == span.c.variant)
        .outerjoin(claim, claim.c.name == report.c.claim)
        .order_by(report.c.name)
    )
    kinds = set(connection.execute(select(table("characteristic_kind").c.name)).scalars())
    for row in connection.execute(query).all():
        for kind in {text.partition(" ")[0] for text in split(row.measured)} - kinds:
            message = f"there is no characteristic kind '{kind}'{hint(likest(kind, sorted(kinds)))}"
            yield _of_report(connection, row.name, "measured", message)
        chassis = chassis_number(row.prefix, row.serial, row.digits)
        if row.range is None:
            yield _of_report(connection, row.name, "chassis", f"no chassis span holds {chassis}")
        elif row.about is not None and row.about != row.range:
            message = f"{chassis} is of the range '{row.range}'; what was tried is of '{row.about}'"
            yield _of_report(connection, row.name, "chassis", message)
        if row.kind not in (None, *REPORTED):
            message = f"'{row.claim}' is a {row.kind}; reports are about {', '.join(REPORTED)} records"
            yield _of_report(connection, row.name, "claim", message)


REPORTED = ("fitment", "substitute", "companion")
"""The kinds of claim that are tried by fitting something."""


def _of_report(connection: Connection, name: str, field: str, message: str) -> Mistake:
    return Mistake(place_of(connection, "report", name), "report", field, message, name)


_LOOKS = (
    ({"component"}, _twins),
    ({SPANS_OF}, _spans),
    ({"position", "range"}, _pairs),
    ({"flaw", "substitute"}, _flaws),
    ({"report"}, _reports),
)
