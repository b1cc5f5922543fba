"""Lint of records side by side: what never holds, is said twice or otherwise, and rests on nothing."""

from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from typing import Any

from sqlalchemy import Connection, and_, func, or_, select

from graftbook.catalogue.lint.finding import LintFinding, Wrong
from graftbook.catalogue.store.conditions import when_of
from graftbook.catalogue.store.standing import claims_named, claims_reported, opposed, said_twice
from graftbook.catalogue.store.tables import table
from graftbook.rulebook.model import When
from graftbook.rulebook.units import chassis_number

MOST = 100_000
"""Claims with reports that are looked at."""
_BELIEVED = ("fitment", "substitute", "flaw", "companion", "conflict", "joint", "budget", "supersession")
"""The kinds of claim of which somebody should say why they are believed."""
_SIDES = {"left": "right", "right": "left"}


def claim_findings(connection: Connection) -> Iterator[LintFinding]:
    """Every finding of records side by side."""
    yield from _never_hold(connection)
    yield from _gaps(connection)
    yield from _side_by_side(connection)
    yield from _alike_numbers(connection)
    yield from _without_twin(connection)
    yield from _in_doubt(connection)
    yield from _without_evidence(connection)


def _never_hold(connection: Connection) -> Iterator[LintFinding]:
    """Claims whose chassis numbers or days no vehicle has of the variants that they speak of."""
    condition, spelt, claim = table("condition"), table("condition_variant"), table("claim")
    bound = ("chassis_from", "chassis_to")
    asks = or_(
        *(condition.c[column] != "" for column in bound),
        condition.c.built_from.is_not(None),
        condition.c.built_to.is_not(None),
    )
    variants: dict[int, set[str]] = defaultdict(set)
    bounded = connection.execute(select(condition).where(asks)).mappings().all()
    for row in connection.execute(
        select(spelt).join(condition, condition.c.id == spelt.c.condition_id).where(asks)
    ):
        variants[row.condition_id].add(row.variant)
    spans = _spans(connection)
    idle = [
        row["id"]
        for row in bounded
        if not any(_may_hold(when_of(row), span) for v in variants[row["id"]] for span in spans.get(v, ()))
    ]
    query = select(claim.c.name, claim.c.kind).where(claim.c.condition_id.in_(idle)).order_by(claim.c.name)
    for name, kind in connection.execute(query) if idle else ():
        sentence = f"the {kind} {name} speaks of chassis numbers or days that none of its variants has"
        yield LintFinding(Wrong.never_holds, (name,), sentence)


def _spans(connection: Connection) -> dict[str, list[Any]]:
    span = table("chassis_span")
    found: dict[str, list[Any]] = defaultdict(list)
    for row in connection.execute(select(span).order_by(span.c.prefix, span.c.first_serial)):
        found[row.variant].append(row)
    return found


def _may_hold(when: When, span: Any) -> bool:
    if when.chassis_prefix is not None:
        if when.chassis_prefix != span.prefix:
            return False
        if when.chassis_from is not None and when.chassis_from > span.last_serial:
            return False
        if when.chassis_to is not None and when.chassis_to < span.first_serial:
            return False
    late = when.built_from is not None and when.built_from > span.built_to
    early = when.built_to is not None and when.built_to < span.built_from
    return not (late or early)


def _gaps(connection: Connection) -> Iterator[LintFinding]:
    """Chassis numbers between two spans of one prefix that no span holds."""
    for variant, spans in sorted(_spans(connection).items()):
        for one, other in pairwise(spans):
            if one.prefix == other.prefix and other.first_serial > one.last_serial + 1:
                first, last = (
                    chassis_number(one.prefix, n, one.digits)
                    for n in (one.last_serial + 1, other.first_serial - 1)
                )
                sentence = f"no span of {variant} holds {first} to {last}, between two that it has"
                yield LintFinding(Wrong.gap, (variant, first), sentence, (variant,))


def _side_by_side(connection: Connection) -> Iterator[LintFinding]:
    for pair in opposed(connection):
        sentence = (
            f"{pair.one} says {pair.says}, {pair.other} says {pair.other_says}, of the same {pair.kind}"
            " on the same vehicles"
        )
        yield LintFinding(Wrong.says_otherwise, (pair.one, pair.other), sentence)
    for one, other in said_twice(connection):
        yield LintFinding(
            Wrong.said_twice, (one, other), f"{one} and {other} say the same of the same vehicles"
        )


def _alike_numbers(connection: Connection) -> Iterator[LintFinding]:
    """Numbers that differ in dashes, spaces and case alone: people type one and mean the other."""
    component = table("component").c
    many = select(component.typed).group_by(component.typed).having(func.count() > 1)
    found: dict[str, list[str]] = defaultdict(list)
    query = (
        select(component.typed, component.number).where(component.typed.in_(many)).order_by(component.number)
    )
    for typed, number in connection.execute(query):
        found[typed].append(number)
    for numbers in found.values():
        sentence = f"{' and '.join(numbers)} differ in dashes, spaces or case alone"
        yield LintFinding(Wrong.alike_numbers, tuple(numbers), sentence)


def _without_twin(connection: Connection) -> Iterator[LintFinding]:
    """Components that go on one side of a pair only, without the number of the other hand."""
    fitment, position, component = table("fitment"), table("position"), table("component")
    query = (
        select(fitment.c.component, position.c.pair, position.c.side)
        .join(position, position.c.name == fitment.c.position)
        .join(component, component.c.number == fitment.c.component)
        .where(position.c.pair != "", position.c.side.in_(_SIDES), component.c.twin.is_(None))
        .distinct()
    )
    sides: dict[tuple[str, str], set[str]] = defaultdict(set)
    for number, pair, side in connection.execute(query):
        sides[number, pair].add(side)
    for (number, pair), on in sorted(sides.items()):
        if len(on) == 1:
            (side,) = on
            sentence = f"{number} goes on the {side} of {pair} alone and names no twin for the {_SIDES[side]}"
            yield LintFinding(Wrong.no_twin, (number,), sentence)


def _in_doubt(connection: Connection) -> Iterator[LintFinding]:
    """Claims that reports lowered, or whose failures propose a break."""
    for claim in claims_named(connection, claims_reported(connection, MOST)):
        if claim.proposed:
            low, high = claim.proposed.last_low, claim.proposed.first_high
            sentence = (
                f"the failures of {claim.name} lie on one side of {low} and {high}: a break is likely there"
            )
            yield LintFinding(Wrong.likely_break, (claim.name,), sentence)
        elif claim.standing.lowered:
            was, now = (g.name.replace("_", " ") for g in (claim.standing.sources, claim.standing.grade))
            sentence = f"reports of workshops lowered {claim.name} from {was} to {now}"
            yield LintFinding(Wrong.in_doubt, (claim.name,), sentence)


def _without_evidence(connection: Connection) -> Iterator[LintFinding]:
    """Claims that nobody gave a source for, a finding a kind: they are many in a young catalogue."""
    claim, link, fitment = table("claim"), table("claim_evidence"), table("fitment")
    from_new = and_(fitment.c.claim == claim.c.name, fitment.c.from_new)
    query = select(claim.c.kind, claim.c.name).where(
        claim.c.kind.in_(_BELIEVED),
        ~select(link.c.claim).where(link.c.claim == claim.c.name).exists(),
        ~select(fitment.c.claim).where(from_new).exists(),
    )
    found: dict[str, list[str]] = defaultdict(list)
    for kind, name in connection.execute(query.order_by(claim.c.kind, claim.c.name)):
        found[kind].append(name)
    for kind, names in found.items():
        count = f"{len(names)} {kind} record{'s' if len(names) > 1 else ''}"
        sentence = f"{count} rest{'' if len(names) > 1 else 's'} on no evidence: {', '.join(names[:5])}"
        sentence += f" and {len(names) - 5} more" if len(names) > 5 else ""
        yield LintFinding(Wrong.no_evidence, (kind, *names), sentence)
