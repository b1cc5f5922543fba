"""Pages of what the catalogue is made of: ranges, variants, positions, known flaws, in name order."""

from collections import defaultdict
from typing import Any

from sqlalchemy import Select, select
from sqlmodel import Session

from graftbook.catalogue.loading.staging import table
from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.cursors import read_cursor, write_cursor
from graftbook.catalogue.store.lookup import find_components
from graftbook.catalogue.store.nearest import names_near
from graftbook.catalogue.store.tables import SEVERITIES
from graftbook.problems import Unknown, UnknownRange, UnknownSection

Facts = dict[str, Any]
Listed = tuple[list[Facts], str | None]
"""A page's rows, and the cursor of the next page; None on the last."""


def list_ranges(session: Session, limit: int, cursor: str) -> Listed:
    """Ranges with the revision of the last edit that touched them."""
    ranges = table("range")
    query = select(ranges.c.name, ranges.c.title, ranges.c.note, ranges.c.revision)
    return _page(session, query, ranges.c.name, {"list": "ranges"}, limit, cursor)


def list_variants(session: Session, limit: int, cursor: str, range_: str = "") -> Listed:
    """Variants with their chassis spans. Raises UnknownRange."""
    variant, span = table("variant"), table("chassis_span")
    query = select(variant)
    if range_:
        _known(session, table("range").c.name, range_, UnknownRange)
        query = query.where(variant.c.range == range_)
    rows, following = _page(
        session, query, variant.c.name, {"list": "variants", "range": range_}, limit, cursor
    )
    spans: dict[str, list[Facts]] = defaultdict(list)
    named = [row["name"] for row in rows]
    for s in session.connection().execute(
        select(span).where(span.c.variant.in_(named)).order_by(span.c.first_serial)
    ):
        spans[s.variant].append(
            {
                "first": f"{s.prefix}-{s.first_serial:0{s.digits}d}",
                "last": f"{s.prefix}-{s.last_serial:0{s.digits}d}",
                "built_from": s.built_from.isoformat(),
                "built_to": s.built_to.isoformat(),
            }
        )
    for row in rows:
        row["options"] = list(split(row["options"]))
        row["chassis_spans"] = spans[row["name"]]
    return rows, following


def list_positions(session: Session, limit: int, cursor: str, section: str = "") -> Listed:
    """Positions with their section; on which variants they are, a vehicle's own page says.

    Raises UnknownSection.
    """
    position = table("position")
    columns = ("name", "section", "title", "essential", "side", "pair", "circuit")
    query = select(*(position.c[name] for name in columns))
    if section:
        _known(session, table("section").c.name, section, UnknownSection)
        query = query.where(position.c.section == section)
    return _page(session, query, position.c.name, {"list": "positions", "section": section}, limit, cursor)


def list_flaws(
    session: Session, limit: int, cursor: str, component: str = "", at_least: str = "minor"
) -> Listed:
    """Known flaws of at least a severity, with the number of recorded remedies of each.

    Raises UnknownComponent.
    """
    flaw, claim, part = table("flaw"), table("claim"), table("component")
    worth = SEVERITIES[SEVERITIES.index(at_least) :]
    query = (
        select(
            flaw.c.claim.label("name"), flaw.c.component, part.c.name.label("component_name"), part.c.section,
            flaw.c.severity, flaw.c.symptom, flaw.c.appears_when, claim.c.note,
        )
        .join(claim, claim.c.name == flaw.c.claim)
        .join(part, part.c.number == flaw.c.component)
        .where(flaw.c.severity.in_(worth))
    )  # fmt: skip
    if component:
        component = find_components(session, component)[0]
        query = query.where(flaw.c.component == component)
    search = {"list": "flaws", "component": component, "at_least": at_least}
    rows, following = _page(session, query, flaw.c.claim, search, limit, cursor)
    remedies = _remedies(session, [row["name"] for row in rows])
    for row in rows:
        row["remedies"] = remedies[row["name"]]
    return rows, following


def _known(session: Session, column: Any, name: str, problem: type[Unknown]) -> None:
    if session.connection().execute(select(column).where(column == name)).first() is None:
        raise problem(name, names_near(session.connection(), column, name))


def _remedies(session: Session, flaws: list[str]) -> dict[str, int]:
    counts: dict[str, int] = defaultdict(int)
    for name in ("flaw_substitute", "flaw_add_on"):
        remedy = table(name)
        for (flaw,) in session.connection().execute(select(remedy.c.claim).where(remedy.c.claim.in_(flaws))):
            counts[flaw] += 1
    return counts


def _page(session: Session, query: Select[Any], key: Any, search: Facts, limit: int, cursor: str) -> Listed:
    if cursor:
        query = query.where(key > read_cursor(cursor, search, 1)[0])
    rows = session.connection().execute(query.order_by(key).limit(limit + 1)).mappings().all()
    shown = [dict(row) for row in rows[:limit]]
    more = len(rows) > limit
    return shown, write_cursor(search, [shown[-1]["name"]]) if more else None
