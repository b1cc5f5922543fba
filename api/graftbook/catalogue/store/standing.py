"""How claims stand: their sources, what was reported, and the records that say the opposite."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlalchemy import Connection, and_, exists, or_, select, union

from graftbook.catalogue.compiling.values import EFFORTS, evidence_of
from graftbook.catalogue.store.conditions import conditions_of, when_of
from graftbook.catalogue.store.reported import bearing, reports_by_claim
from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.rulebook import grading
from graftbook.rulebook.grading import Break, Evidence, Report, break_in
from graftbook.rulebook.model import Effort, When


@dataclass(frozen=True, slots=True)
class Claimed:
    """A claim of the catalogue with why it is believed. `effort`: what a fitment says, else None."""

    name: str
    kind: str
    evidence: tuple[Evidence, ...]
    reports: tuple[Report, ...]
    effort: Effort | None = None

    @property
    def standing(self) -> grading.Standing:
        """Its grade and how it comes about."""
        return self._with(self.reports)

    def without(self, report: str) -> grading.Standing:
        """How it would stand without a report."""
        return self._with(tuple(one for one in self.reports if one.name != report))

    def _with(self, reports: tuple[Report, ...]) -> grading.Standing:
        return grading.standing(
            self.evidence, reports, self.effort is None or self.effort >= Effort.machining
        )

    @property
    def proposed(self) -> Break | None:
        """A break that the failures propose."""
        return break_in(self.reports)


def claims_named(connection: Connection, names: Iterable[str]) -> list[Claimed]:
    """The claims of these names, by name; those that nobody has are missing."""
    claim, condition, fitment = table("claim"), table("condition"), table("fitment")
    these = listed(connection, sorted(set(names)))
    rows = connection.execute(
        select(claim.c.name, claim.c.kind, fitment.c.effort)
        .outerjoin(fitment, fitment.c.claim == claim.c.name)
        .where(claim.c.name.in_(these))
        .order_by(claim.c.name)
    ).all()
    held = select(condition).where(
        condition.c.id.in_(select(claim.c.condition_id).where(claim.c.name.in_(these)))
    )
    whens = {row["id"]: when_of(row) for row in connection.execute(held).mappings()}
    reports = reports_by_claim(connection, bearing(these), {}, whens)
    proofs = _proofs(connection, these)
    return [
        Claimed(
            row.name,
            row.kind,
            tuple(proofs[row.name]),
            reports.get(row.name, ()),
            EFFORTS[row.effort] if row.effort else None,
        )
        for row in rows
    ]


def _proofs(connection: Connection, claims: Any) -> dict[str, list[Evidence]]:
    link, evidence = table("claim_evidence"), table("evidence")
    query = (
        select(link.c.claim, evidence)
        .join(evidence, evidence.c.name == link.c.evidence)
        .where(link.c.claim.in_(claims))
        .order_by(link.c.claim, evidence.c.name)
    )
    found: dict[str, list[Evidence]] = defaultdict(list)
    for row in connection.execute(query):
        found[row.claim].append(evidence_of(row))
    return found


def claims_of_component(connection: Connection, number: str) -> list[str]:
    """The claims about a component that can be tried: where it fits, what it serves for, what it brings."""
    of = [table(name) for name in ("fitment", "substitute", "companion")]
    query = union(*(select(one.c.claim).where(one.c.component == number) for one in of))
    return sorted(connection.execute(query).scalars())


def claims_borne_on(connection: Connection, name: str) -> list[str]:
    """The claims that a report bears on."""
    report, fitment, substitute = table("report"), table("fitment"), table("substitute")
    row = connection.execute(select(report).where(report.c.name == name)).one()
    candidates = union(
        select(fitment.c.claim).where(
            fitment.c.component == row.component, fitment.c.position == row.position
        ),
        select(substitute.c.claim).where(substitute.c.component == row.component),
        select(table("claim").c.name).where(table("claim").c.name == row.claim),
    )
    names = list(connection.execute(candidates).scalars())
    claims = claims_named(connection, names)
    return [claim.name for claim in claims if any(one.name == name for one in claim.reports)]


def claims_reported(connection: Connection, most: int) -> list[str]:
    """The claims that reports may bear on, by name, at most so many."""
    report, fitment, substitute = table("report"), table("fitment"), table("substitute")
    tried = and_(report.c.component == fitment.c.component, report.c.position == fitment.c.position)
    served = exists().where(report.c.component == substitute.c.component)
    query = union(
        select(fitment.c.claim).where(exists().where(tried)),
        select(substitute.c.claim).where(served),
        select(report.c.claim).where(report.c.claim.is_not(None)),
    ).subquery()
    return list(connection.execute(select(query.c[0]).order_by(query.c[0]).limit(most)).scalars())


@dataclass(frozen=True, slots=True)
class Opposed:
    """Two records about the same thing, on vehicles of which both speak: `says` of the one, of the other."""

    kind: str
    one: str
    other: str
    says: str
    other_says: str


def opposed(connection: Connection, number: str = "") -> list[Opposed]:
    """Records that say otherwise of the same fitment or substitute, by name; of one component or all.

    Two fitments of a component at a position, both from new or neither, that differ in the work or the number
    of pieces; two substitutes that differ in which way they go; where some vehicle is meant by both.
    """
    found = [*_fitments_opposed(connection, number), *_substitutes_opposed(connection, number)]
    return sorted(found, key=lambda pair: (pair.one, pair.other))


def _fitments_opposed(connection: Connection, number: str) -> Iterable[Opposed]:
    one, other = table("fitment").alias("one"), table("fitment").alias("other")
    same = and_(one.c.component == other.c.component, one.c.position == other.c.position)
    # What is so from new on some vehicles may ask for more on others: that is a second record, no opposite.
    differ = and_(
        one.c.from_new == other.c.from_new,
        or_(one.c.effort != other.c.effort, one.c.quantity != other.c.quantity),
    )
    columns = [
        c.label(f"{side}_{c.name}") for side, of in _sides(one, other) for c in (of.c.effort, of.c.quantity)
    ]
    for row in _meeting(connection, one, other, and_(same, differ), columns, number):
        says = [f"{effort}, {n} off" for effort, n in ((row[2], row[3]), (row[4], row[5]))]
        yield Opposed("fitment", row[0], row[1], *says)


def _substitutes_opposed(connection: Connection, number: str) -> Iterable[Opposed]:
    one, other = table("substitute").alias("one"), table("substitute").alias("other")
    same = and_(one.c.original == other.c.original, one.c.component == other.c.component)
    where = or_(one.c.position == other.c.position, one.c.position.is_(None), other.c.position.is_(None))
    differ = one.c.both_ways != other.c.both_ways
    columns = [of.c.both_ways.label(f"{side}_both_ways") for side, of in _sides(one, other)]
    ways = {True: "serves both ways", False: "serves one way"}
    for row in _meeting(connection, one, other, and_(same, where, differ), columns, number):
        yield Opposed("substitute", row[0], row[1], ways[bool(row[2])], ways[bool(row[3])])


def said_twice(connection: Connection) -> list[tuple[str, str]]:
    """Pairs of fitments, and of substitutes, that say the same of the same vehicles, by name."""
    found: list[tuple[str, str]] = []
    for kind, columns in _SAYS.items():
        one, other = table(kind).alias("one"), table(kind).alias("other")
        same = and_(*(_the_same(one.c[column], other.c[column]) for column in columns))
        found += [(row[0], row[1]) for row in _meeting(connection, one, other, same, [], "")]
    return found


def _the_same(one: Any, other: Any) -> Any:
    """That two columns say the same. Only what is `=` can be looked up; the rest is tried row by row."""
    return one.is_not_distinct_from(other) if one.nullable else one == other


_SAYS = {
    "fitment": ("component", "position", "effort", "quantity", "from_new"),
    "substitute": ("original", "component", "position", "both_ways"),
}
"""What a record says, but for its labour, notes and evidence."""


def _sides(one: Any, other: Any) -> tuple[tuple[str, Any], tuple[str, Any]]:
    return ("one", one), ("other", other)


def _meeting(
    connection: Connection, one: Any, other: Any, alike: Any, columns: list[Any], number: str
) -> Iterable[Any]:
    """Pairs of claims that some vehicle is meant by: a variant of both, and the rest of both conditions."""
    claims = [table("claim").alias(f"{side}_claim") for side in ("one", "other")]
    spelt = [table("condition_variant").alias(f"{side}_spelt") for side in ("one", "other")]
    both = exists().where(
        spelt[0].c.condition_id == claims[0].c.condition_id,
        spelt[1].c.condition_id == claims[1].c.condition_id,
        spelt[0].c.variant == spelt[1].c.variant,
    )
    query = (
        select(one.c.claim, other.c.claim.label("other_claim"), *columns, *(c.c.condition_id for c in claims))
        .select_from(one.join(other, and_(alike, one.c.claim < other.c.claim)))
        .join(claims[0], claims[0].c.name == one.c.claim)
        .join(claims[1], claims[1].c.name == other.c.claim)
        .where(both, *([one.c.component == number] if number else []))
        .order_by(one.c.claim, other.c.claim)
    )
    rows = connection.execute(query).all()
    ids = {row[-2] for row in rows} | {row[-1] for row in rows}
    whens = {row["id"]: when_of(row) for row in conditions_of(connection, ids)}
    return [row for row in rows if _alike(whens[row[-2]], whens[row[-1]])]


def _alike(one: When, other: When) -> bool:
    """Whether both speak of the same vehicles, neither of them of those with an option alone."""
    return meet(one, other) and (one.options, one.without) == (other.options, other.without)


def meet(one: When, other: When) -> bool:
    """Whether some vehicle may be meant by both."""
    if one.chassis_prefix is not None and other.chassis_prefix is not None:
        if one.chassis_prefix != other.chassis_prefix:
            return False
        if not _overlap((one.chassis_from, one.chassis_to), (other.chassis_from, other.chassis_to), 0, 10**9):
            return False
    days = ((one.built_from, one.built_to), (other.built_from, other.built_to))
    if not _overlap(*days, date.min, date.max):
        return False
    return not (one.options & other.without or other.options & one.without)


def _overlap(one: tuple[Any, Any], other: tuple[Any, Any], least: Any, most: Any) -> bool:
    starts = [least if span[0] is None else span[0] for span in (one, other)]
    ends = [most if span[1] is None else span[1] for span in (one, other)]
    return bool(max(starts) <= min(ends))
