"""Pages of what the catalogue is made of: ranges, variants, positions, known flaws, in name order.

And records of any one kind, by what stands in the columns of their own table.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Annotated, Any, Literal, TypeVar, get_args, get_origin

from pydantic import Field
from pydantic.fields import FieldInfo
from sqlalchemy import Connection, RowMapping, Select, exists, or_, select
from sqlmodel import Session

from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.history.snapshots import key_of
from graftbook.catalogue.store.conditions import split
from graftbook.catalogue.store.cursors import read_cursor, write_cursor
from graftbook.catalogue.store.lookup import find_components
from graftbook.catalogue.store.nearest import names_near, starting
from graftbook.catalogue.store.tables import SEVERITIES, table
from graftbook.document import DayOut, Document
from graftbook.problems import Unknown, UnknownRange, UnknownSection
from graftbook.rulebook.model import SeverityWord
from graftbook.rulebook.units import chassis_number

_Item = TypeVar("_Item")
Listed = tuple[list[_Item], str | None]
"""A page's rows, and the cursor of the next page; None on the last."""


class RangeOut(Document):
    """A family of vehicles."""

    name: str
    title: Annotated[str, Field(description="in words")]
    note: Annotated[str, Field(description="anything worth knowing; may be empty")]
    revision: Annotated[int, Field(description="revision of the last edit that touched it")]


class ChassisSpanOut(Document):
    """Chassis numbers of a variant, first to last, and when they were built."""

    first: str
    last: str
    built_from: DayOut
    built_to: DayOut


class VariantOut(Document):
    """One version of a range."""

    name: Annotated[str, Field(description="its stable name")]
    range: str
    title: Annotated[str, Field(description="in words")]
    generation: str
    body: Annotated[str, Field(description="body style")]
    engine: Annotated[str, Field(description="engine")]
    drive: Annotated[str, Field(description="driven wheels")]
    steering: str
    market: str
    options: Annotated[list[str], Field(description="options that a vehicle of it may have had from new")]
    note: Annotated[str, Field(description="anything worth knowing; may be empty")]
    chassis_spans: list[ChassisSpanOut]


class PositionOut(Document):
    """One place on a vehicle where one component sits."""

    name: str
    section: str
    title: Annotated[str, Field(description="in words")]
    essential: Annotated[bool, Field(description="never left empty")]
    side: Annotated[str, Field(description="left, right, front or rear; empty: none")]
    pair: Annotated[
        str, Field(description="name shared by the positions that are changed together; empty: none")
    ]
    circuit: Annotated[
        str, Field(description="the electrical circuit that it draws on or feeds; empty: none")
    ]


class FlawOut(Document):
    """A known flaw of a component."""

    name: str
    component: str
    also_of: Annotated[list[str], Field(description="further components that have the same flaw")]
    component_name: Annotated[str, Field(description="the component in words")]
    section: str
    severity: SeverityWord
    symptom: str
    appears_when: Annotated[str, Field(description="when it shows, in words")]
    note: str
    remedies: Annotated[int, Field(description="how many remedies are recorded")]


class UpgradeWishOut(Document):
    """One of the wishes of an upgrade."""

    component: Annotated[
        str | None, Field(description="the component that it fits; null: it remedies a flaw")
    ]
    position: Annotated[str | None, Field(description="where; null: wherever it goes")]
    flaw: Annotated[str | None, Field(description="the flaw that it remedies; null: it fits a component")]


class UpgradeOut(Document):
    """A named upgrade: what customers order by one name."""

    name: str
    title: str
    called: Annotated[list[str], Field(description="what else people call it")]
    wishes: Annotated[list[UpgradeWishOut], Field(description="what it wishes")]
    note: str


def list_ranges(session: Session, limit: int, cursor: str) -> Listed[RangeOut]:
    """Ranges with the revision of the last edit that touched them."""
    ranges = table("range")
    query = select(ranges.c.name, ranges.c.title, ranges.c.note, ranges.c.revision)
    rows, following = _page(session, query, ranges.c.name, {"list": "ranges"}, limit, cursor)
    return [
        {"name": r["name"], "title": r["title"], "note": r["note"], "revision": r["revision"]} for r in rows
    ], following


def list_variants(session: Session, limit: int, cursor: str, range_: str = "") -> Listed[VariantOut]:
    """Variants with their chassis spans. Raises UnknownRange."""
    variant = table("variant")
    query = select(variant)
    if range_:
        _require_known(session, table("range").c.name, range_, UnknownRange)
        query = query.where(variant.c.range == range_)
    rows, following = _page(
        session, query, variant.c.name, {"list": "variants", "range": range_}, limit, cursor
    )
    spans = _spans(session, [row["name"] for row in rows])
    return [_variant(row, spans[row["name"]]) for row in rows], following


def _variant(row: RowMapping, spans: list[ChassisSpanOut]) -> VariantOut:
    return {
        "name": row["name"],
        "range": row["range"],
        "title": row["title"],
        "generation": row["generation"],
        "body": row["body"],
        "engine": row["engine"],
        "drive": row["drive"],
        "steering": row["steering"],
        "market": row["market"],
        "options": list(split(row["options"])),
        "note": row["note"],
        "chassis_spans": spans,
    }


def _spans(session: Session, variants: list[str]) -> dict[str, list[ChassisSpanOut]]:
    span = table("chassis_span")
    spans: dict[str, list[ChassisSpanOut]] = defaultdict(list)
    for s in session.connection().execute(
        select(span).where(span.c.variant.in_(variants)).order_by(span.c.first_serial)
    ):
        spans[s.variant].append(
            {
                "first": chassis_number(s.prefix, s.first_serial, s.digits),
                "last": chassis_number(s.prefix, s.last_serial, s.digits),
                "built_from": s.built_from.isoformat(),
                "built_to": s.built_to.isoformat(),
            }
        )
    return spans


def list_positions(session: Session, limit: int, cursor: str, section: str) -> Listed[PositionOut]:
    """Positions with their section; on which variants they are, a vehicle's own page says.

    Raises UnknownSection.
    """
    position = table("position")
    columns = ("name", "section", "title", "essential", "side", "pair", "circuit")
    query = select(*(position.c[name] for name in columns))
    if section:
        _require_known(session, table("section").c.name, section, UnknownSection)
        query = query.where(position.c.section == section)
    search = {"list": "positions", "section": section}
    rows, following = _page(session, query, position.c.name, search, limit, cursor)
    return [_position(row) for row in rows], following


def _position(row: RowMapping) -> PositionOut:
    return {
        "name": row["name"],
        "section": row["section"],
        "title": row["title"],
        "essential": row["essential"],
        "side": row["side"],
        "pair": row["pair"],
        "circuit": row["circuit"],
    }


def list_flaws(session: Session, limit: int, cursor: str, component: str, at_least: str) -> Listed[FlawOut]:
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
        also = table("flaw_also_of")
        too = exists().where(also.c.claim == flaw.c.claim, also.c.component == component)
        query = query.where(or_(flaw.c.component == component, too))
    search = {"list": "flaws", "component": component, "at_least": at_least}
    rows, following = _page(session, query, flaw.c.claim, search, limit, cursor)
    names = [row["name"] for row in rows]
    remedies, also_of = _remedies(session, names), _also_of(session, names)
    return [_flaw(row, also_of[row["name"]], remedies[row["name"]]) for row in rows], following


def _flaw(row: RowMapping, also_of: list[str], remedies: int) -> FlawOut:
    return {
        "name": row["name"],
        "component": row["component"],
        "also_of": also_of,
        "component_name": row["component_name"],
        "section": row["section"],
        "severity": row["severity"],
        "symptom": row["symptom"],
        "appears_when": row["appears_when"],
        "note": row["note"],
        "remedies": remedies,
    }


def list_upgrades(
    session: Session, limit: int, cursor: str, search: dict[str, str], among: Collection[str] | None
) -> Listed[UpgradeOut]:
    """Named upgrades with what they wish; `among`: of these names only, which `search` stands for."""
    upgrade, claim = table("upgrade"), table("claim")
    query = select(upgrade.c.claim.label("name"), upgrade.c.title, upgrade.c.called, claim.c.note).join(
        claim, claim.c.name == upgrade.c.claim
    )
    if among is not None:
        query = query.where(upgrade.c.claim.in_(among))
    rows, following = _page(session, query, upgrade.c.claim, {"list": "upgrades"} | search, limit, cursor)
    wishes = _wishes_of(session, [row["name"] for row in rows])
    return [_upgrade(row, wishes[row["name"]]) for row in rows], following


def _upgrade(row: RowMapping, wishes: list[UpgradeWishOut]) -> UpgradeOut:
    return {
        "name": row["name"],
        "title": row["title"],
        "called": list(split(row["called"])),
        "wishes": wishes,
        "note": row["note"],
    }


def _wishes_of(session: Session, upgrades: list[str]) -> dict[str, list[UpgradeWishOut]]:
    found: dict[str, list[UpgradeWishOut]] = defaultdict(list)
    fit, flaw, connection = table("upgrade_fit"), table("upgrade_flaw"), session.connection()
    fits = select(fit).where(fit.c.claim.in_(upgrades)).order_by(fit.c.claim, fit.c.number)
    for row in connection.execute(fits):
        found[row.claim].append({"component": row.component, "position": row.position, "flaw": None})
    flaws = select(flaw).where(flaw.c.claim.in_(upgrades)).order_by(flaw.c.claim, flaw.c.flaw)
    for row in connection.execute(flaws):
        found[row.claim].append({"component": None, "position": None, "flaw": row.flaw})
    return found


def _require_known(session: Session, column: Any, name: str, problem: type[Unknown]) -> None:
    if session.connection().execute(select(column).where(column == name)).first() is None:
        raise problem(name, names_near(session.connection(), column, name))


def _also_of(session: Session, flaws: list[str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = defaultdict(list)
    also = table("flaw_also_of")
    query = select(also.c.claim, also.c.component).where(also.c.claim.in_(flaws))
    for flaw, component in session.connection().execute(query.order_by(also.c.claim, also.c.component)):
        found[flaw].append(component)
    return found


def _remedies(session: Session, flaws: list[str]) -> dict[str, int]:
    counts: dict[str, int] = defaultdict(int)
    for name in ("flaw_substitute", "flaw_add_on"):
        remedy = table(name)
        for (flaw,) in session.connection().execute(select(remedy.c.claim).where(remedy.c.claim.in_(flaws))):
            counts[flaw] += 1
    return counts


def _page(
    session: Session, query: Select[Any], key: Any, search: dict[str, str], limit: int, cursor: str
) -> tuple[Sequence[RowMapping], str | None]:
    if cursor:
        query = query.where(key > read_cursor(cursor, search, 1)[0])
    rows = session.connection().execute(query.order_by(key).limit(limit + 1)).mappings().all()
    more = len(rows) > limit
    return rows[:limit], write_cursor(search, [rows[limit - 1]["name"]]) if more else None


BEGINS = "*"
"""Ends a value that others begin with. No name has it (`NAME_PATTERN`)."""
_NAME = "name"


def filters_of(kind: str) -> dict[str, tuple[str, ...]]:
    """The columns that records of a kind are picked by: names and controlled words, each with the words that
    there are (empty: any name). `name` is what a record is called, whatever column holds it."""
    own, fields = table(kind).c, KIND_BY_WORD[kind].model_fields
    found = {
        column.name: _words(fields[column.name].annotation)
        for column in own
        if column.name in fields and _is_name(fields[column.name]) and getattr(column.type, "length", None)
    }
    named = {_NAME: ()} if kind != "component" else {}
    return {**found, **named}


def _is_name(field: FieldInfo) -> bool:
    """Whether a column holds a name or one of some words; free text and measures have no pattern."""
    named = any(getattr(each, "pattern", None) for each in field.metadata)
    return named or bool(_words(field.annotation))


def _words(annotation: Any) -> tuple[str, ...]:
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def names_of(
    connection: Connection, kind: str, where: Mapping[str, str], after: str, limit: int
) -> Sequence[str]:
    """Names of records of a kind in their order, behind `after`; `where` gives columns of `filters_of` their
    value, or how it begins."""
    key = key_of(kind)
    query = select(key).where(key > after).distinct().order_by(key).limit(limit)
    for name, value in where.items():
        column = key if name == _NAME and kind != "component" else table(kind).c[name]
        if value.endswith(BEGINS):
            query = query.where(starting(column, value.removesuffix(BEGINS)))
        else:
            query = query.where(column == value)
    return connection.execute(query).scalars().all()
