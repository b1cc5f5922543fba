"""Finding components. One page a query, by keyset: page 1,000 costs what page 1 does."""

from collections.abc import Collection
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any

from sqlalchemy import ColumnElement, Connection, Select, Table, and_, exists, select, tuple_
from sqlmodel import Session

from graftbook.catalogue.format.names import as_typed, words_of
from graftbook.catalogue.store.conditions import when_of
from graftbook.catalogue.store.cursors import read_cursor, write_cursor
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.catalogue.store.nearest import likest, names_near, starting
from graftbook.catalogue.store.tables import table
from graftbook.database import listed, listed_numbers
from graftbook.problems import (
    InvalidRequest,
    UnknownCharacteristic,
    UnknownOption,
    UnknownPosition,
    UnknownSection,
    UnknownVariant,
)
from graftbook.rulebook.model import Comparator, Supply, Vehicle
from graftbook.rulebook.units import Measure, NotAMeasure, read_measure

MOST_ON_A_PAGE = 500
_MANY = 5_000
"""Numbers that are gathered and sorted in some 10 ms; with more of them a walk soon fills the page."""


@dataclass(frozen=True, slots=True)
class CharacteristicAsked:
    """One characteristic that is asked for: "bore at least 22 mm", in any unit of its kind."""

    kind: str
    comparator: Comparator
    value: str


@dataclass(frozen=True, slots=True)
class Search:
    """What a component must meet; whatever is empty is not asked. All that is given must hold.

    `number` is the start of a number as people type it; `words` are starts of words of the number
    or name; `chassis` narrows `variant` to what fits that very vehicle.
    """

    number: str = ""
    words: str = ""
    section: str = ""
    origin: str = ""
    supply: str = ""
    position: str = ""
    variant: str = ""
    chassis: str = ""
    options: tuple[str, ...] = ()
    built: date | None = None
    asked: tuple[CharacteristicAsked, ...] = ()


@dataclass(frozen=True, slots=True)
class ComponentFound:
    """One component found. Price in minor units; None when unknown."""

    number: str
    name: str
    section: str
    origin: str
    supply: str
    price: int | None
    visible: bool


@dataclass(frozen=True, slots=True)
class ComponentsPage:
    """Some components in the order of their numbers. `next` is None on the last page."""

    lines: tuple[ComponentFound, ...]
    next: str | None


def find(session: Session, search: Search, *, limit: int = 50, cursor: str = "") -> ComponentsPage:
    """A page of the components that meet a search, by number ("9" before "10").

    Raises InvalidCursor, InvalidRequest (a value with a wrong unit), or the Unknown… problem of a
    name that is not known.
    """
    component = table("component")
    limit = max(1, min(limit, MOST_ON_A_PAGE))
    conditions, few = _conditions(session, search)
    # A few that are gathered are sorted; `concat` keeps the engine from walking all in order instead.
    sort_key = component.c.sort_key.concat("") if few else component.c.sort_key
    order = (sort_key, component.c.number)
    columns = [component.c[name] for name in ComponentFound.__dataclass_fields__]
    query = select(*columns, component.c.sort_key).where(*conditions)
    if cursor:
        after = read_cursor(cursor, asdict(search), len(order))
        query = query.where(tuple_(*order) > tuple_(*after))
    rows = session.connection().execute(query.order_by(*order).limit(limit + 1)).all()
    shown = rows[:limit]
    more = len(rows) > limit
    last = [shown[-1].sort_key, shown[-1].number] if more else []
    lines = tuple(ComponentFound(*row[:-1]) for row in shown)
    return ComponentsPage(lines, write_cursor(asdict(search), last) if more else None)


def lines_of(session: Session, numbers: Collection[str]) -> dict[str, ComponentFound]:
    """The components of these very numbers; those that nobody has are missing. One query."""
    if not numbers:
        return {}
    component, connection = table("component"), session.connection()
    columns = [component.c[name] for name in ComponentFound.__dataclass_fields__]
    query = select(*columns).where(component.c.number.in_(listed(connection, numbers)))
    return {row.number: ComponentFound(*row) for row in connection.execute(query)}


def _conditions(session: Session, search: Search) -> tuple[list[ColumnElement[bool]], bool]:
    """What a component must meet, and whether one of the conditions leaves only a few."""
    component = table("component")
    connection = session.connection()
    gathered = [_with_word(word) for word in sorted(words_of(search.words))]
    gathered += [_with_value(connection, asked) for asked in search.asked]
    many = [_many(connection, numbers) for numbers in gathered]
    conditions = [_among(numbers, walk=walk) for numbers, walk in zip(gathered, many, strict=True)]
    if search.number:
        typed = as_typed(search.number)
        if not typed:
            raise InvalidRequest("a number has letters or digits", pointer="/number")
        conditions.append(starting(component.c.typed, typed))
    if search.section:
        _require_known(connection, "section", search.section, UnknownSection)
        conditions.append(component.c.section == search.section)
    if search.origin:
        conditions.append(component.c.origin == search.origin)
    if search.supply:
        conditions.append(component.c.supply == Supply(search.supply).value)
    if (search.options or search.built) and not search.chassis:
        raise InvalidRequest(
            "options and the day built are a vehicle's: give `chassis` too", pointer="/chassis"
        )
    if search.variant or search.chassis or search.position:
        conditions.append(_fits(session, search))
    return conditions, not all(many)


def _with_word(start: str) -> Select[Any]:
    word = table("component_word")
    return select(word.c.component).where(starting(word.c.word, start))


def _many(connection: Connection, numbers: Select[Any]) -> bool:
    return connection.execute(numbers.limit(1).offset(_MANY)).first() is not None


def _among(numbers: Select[Any], *, walk: bool) -> ColumnElement[bool]:
    """The component is one of these numbers.

    A few are gathered and looked up; where there are many, the components are walked in their order
    and each is asked, so that the first page of a common word need not gather all that have it.
    """
    component = table("component")
    if not walk:
        return component.c.number.in_(numbers)
    same = numbers.where(numbers.selected_columns[0] == component.c.number)
    # Not `exists`: PostgreSQL would make a join of it, and gather all before the first.
    return same.correlate(component).limit(1).scalar_subquery().is_not(None)


def _fits(session: Session, search: Search) -> ColumnElement[bool]:
    """It has a fitment that holds on the variant, or on the very vehicle."""
    component, fitment, claim = table("component"), table("fitment"), table("claim")
    spelt, position = table("condition_variant"), table("position")
    query = select(fitment.c.component).join(claim, claim.c.name == fitment.c.claim)
    if search.position:
        _require_known(session.connection(), "position", search.position, UnknownPosition)
        query = query.where(fitment.c.position == search.position)
    if search.chassis:
        options = frozenset(search.options)
        vehicle = find_vehicle(session, search.chassis, options=options, built=search.built).vehicle
        if search.variant and search.variant != vehicle.variant:
            raise InvalidRequest(
                f"the chassis number belongs to the variant {vehicle.variant}", pointer="/variant"
            )
        _require_options(session.connection(), vehicle)
        holding = _holding(session.connection(), vehicle)
        variant = vehicle.variant
        query = query.where(claim.c.condition_id.in_(listed_numbers(session.connection(), holding)))
    elif search.variant:
        variant = search.variant
        _require_known(session.connection(), "variant", variant, UnknownVariant)
        query = query.join(spelt, spelt.c.condition_id == claim.c.condition_id)
        query = query.where(spelt.c.variant == variant)
    else:
        return component.c.number.in_(query)
    here = position.alias("here")
    there = spelt.alias("there")
    on_variant = exists().where(
        here.c.name == fitment.c.position,
        there.c.condition_id == here.c.condition_id,
        there.c.variant == variant,
    )
    return component.c.number.in_(query.where(on_variant))


def _require_options(connection: Connection, vehicle: Vehicle) -> None:
    """Raises UnknownOption for an option that the variant never had."""
    variant = table("variant")
    query = select(variant.c.options).where(variant.c.name == vehicle.variant)
    offered = connection.execute(query).scalar_one().split("; ")
    for option in sorted(vehicle.options - set(offered)):
        raise UnknownOption(option, likest(option, offered), among=UnknownOption.OF_VARIANT)


def _holding(connection: Connection, vehicle: Vehicle) -> list[int]:
    """The conditions that hold for one vehicle: a few hundred at most."""
    condition, spelt = table("condition"), table("condition_variant")
    query = select(condition).join(spelt, spelt.c.condition_id == condition.c.id)
    rows = connection.execute(query.where(spelt.c.variant == vehicle.variant)).mappings()
    return [row["id"] for row in rows if when_of(row).holds(vehicle)]


def _with_value(connection: Connection, asked: CharacteristicAsked) -> Select[Any]:
    kind, value = table("characteristic_kind"), table("characteristic")
    row = connection.execute(select(kind).where(kind.c.name == asked.kind)).first()
    if row is None:
        raise UnknownCharacteristic(asked.kind, names_near(connection, kind.c.name, asked.kind))
    try:
        wanted = read_measure(asked.value, row.quantity, tuple(row.choices.split("; ")))
    except NotAMeasure as error:
        raise InvalidRequest(str(error), pointer="/value") from None
    met = _meets(value, asked.comparator, wanted)
    of_kind = (value.c.kind == asked.kind, value.c.component.is_not(None))
    return select(value.c.component).where(*of_kind, met)


def _meets(value: Table, comparator: Comparator, wanted: Measure) -> ColumnElement[bool]:
    """The recorded value, or the whole recorded span, meets what is asked."""
    low, high = wanted.low, wanted.high
    if low is None or high is None:
        if comparator is not Comparator.equal:
            raise InvalidRequest("words can only be equal", pointer="/comparator")
        met: ColumnElement[bool] = value.c.text == wanted.text
        return met
    slack = 1e-6 * max(abs(low), abs(high), 1e-6)
    at_least: ColumnElement[bool] = value.c.low >= low - slack
    at_most: ColumnElement[bool] = value.c.high <= high + slack
    if comparator is Comparator.at_least:
        return at_least
    if comparator is Comparator.at_most:
        return at_most
    if comparator is Comparator.within:
        return and_(at_least, at_most)
    equal = value.c.low.between(low - slack, low + slack)
    return and_(equal, value.c.high.between(high - slack, high + slack))


def _require_known(connection: Connection, kind: str, name: str, problem: Any) -> None:
    column = table(kind).c.name
    if connection.execute(select(column).where(column == name)).first() is None:
        raise problem(name, names_near(connection, column, name))
