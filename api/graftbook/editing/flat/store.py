"""The flat lists that are kept, and what the catalogue knows of the words in one; a few set-based queries."""

from collections import defaultdict
from collections.abc import Iterable, Sequence

from sqlalchemy import Connection, select, update
from sqlmodel import Session, col

from graftbook.catalogue.finding.numbers import with_digits
from graftbook.catalogue.format.names import as_typed, offer_name, supersession_name
from graftbook.catalogue.history.snapshots import Fields, images, rows_in
from graftbook.catalogue.store.lookup import numbers_near
from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.editing.flat.known import KnownPosition, KnownRecords, KnownSpan, KnownVariant, pieces
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.parts import ListedPart
from graftbook.editing.flat.rows import Rows, heads_of
from graftbook.editing.flat.tables import FlatListRow
from graftbook.problems import InvalidRequest, PreconditionFailed

MOST_NEAR = 50
"""So many unknown replaced numbers are told with numbers like them."""
MOST_STEPS = 50
"""So far supersessions are followed to find circles."""


def flat_list(session: Session, name: str) -> FlatListRow | None:
    """A list by its name; None when there is none."""
    return session.get(FlatListRow, name)


def flat_lists(session: Session, after: str, most: int) -> Sequence[FlatListRow]:
    """Lists by name."""
    query = select(FlatListRow).where(col(FlatListRow.name) > after).order_by(col(FlatListRow.name))
    return session.scalars(query.limit(most)).all()


def ranges(connection: Connection) -> list[str]:
    """The names of the ranges."""
    range_ = table("range")
    return list(connection.execute(select(range_.c.name).order_by(range_.c.name)).scalars())


def known_for(
    connection: Connection, mapping: FlatMapping, rows: Rows, before: dict[str, ListedPart]
) -> KnownRecords:
    """What the catalogue knows of everything that an issue names. Raises InvalidRequest where the catalogue
    has several ranges and the mapping names none of them."""
    every = ranges(connection)
    if mapping.range not in every and (mapping.range or len(every) > 1):
        raise InvalidRequest(f"Say which range the list is of: {', '.join(every[:20])}.")
    own = mapping.range or next(iter(every), "")
    written = [*_cells(mapping, rows, "number"), *_replaced_numbers(mapping, rows)]
    numbers = _numbers(connection, [*written, *before])
    mine = sorted({number for some in numbers.values() for number in some})
    return KnownRecords(
        variants=_variants(connection, own),
        positions=_positions(connection, own),
        sections=_titles(connection, "section"),
        suppliers=_titles(connection, "supplier"),
        range=own if len(every) > 1 else "",
        numbers=numbers,
        records=_records(connection, mine),
        successors=_successors(connection, mine),
        near=_near(connection, mapping, rows, numbers),
        with_digits=_with_digits(connection, _cells(mapping, rows, "number"), numbers),
    )


def _cells(mapping: FlatMapping, rows: Rows, field: str) -> list[str]:
    """What stands in a field's column."""
    head = dict(mapping.columns).get(field)  # type: ignore[call-overload]  # any text may be asked for
    heads = heads_of(rows, mapping.head_line)
    if head not in heads:
        return []
    at = heads.index(head)
    return [row[at] for row in rows[mapping.head_line :] if at < len(row) and row[at]]


def _replaced_numbers(mapping: FlatMapping, rows: Rows) -> list[str]:
    return [one for cell in _cells(mapping, rows, "replaces") for one in pieces(cell, ";,\n")]


def _numbers(connection: Connection, written: Iterable[str]) -> dict[str, list[str]]:
    component = table("component")
    typed = sorted({as_typed(one) for one in written} - {""})
    query = select(component.c.number, component.c.typed).where(
        component.c.typed.in_(listed(connection, typed))
    )
    found: dict[str, list[str]] = defaultdict(list)
    for row in connection.execute(query.order_by(component.c.number)):
        found[row.typed].append(row.number)
    return dict(found)


def _with_digits(
    connection: Connection, written: Iterable[str], numbers: dict[str, list[str]]
) -> dict[str, list[str]]:
    unknown = {typed for one in written if (typed := as_typed(one)) not in numbers}
    readings = {typed: read for typed in sorted(unknown) if (read := with_digits(typed))}
    there = _numbers(connection, {one for read in readings.values() for one in read}) if readings else {}
    found = {typed: [n for one in read for n in there.get(one, [])] for typed, read in readings.items()}
    return {typed: some for typed, some in found.items() if some}


def _near(
    connection: Connection, mapping: FlatMapping, rows: Rows, numbers: dict[str, list[str]]
) -> dict[str, list[str]]:
    own = {as_typed(one) for one in _cells(mapping, rows, "number")}
    unknown = [
        one
        for one in dict.fromkeys(_replaced_numbers(mapping, rows))
        if as_typed(one) not in {*numbers, *own}
    ]
    with Session(connection) as session:
        return {one: numbers_near(session, one) for one in unknown[:MOST_NEAR]}


def _variants(connection: Connection, range_: str) -> dict[str, KnownVariant]:
    variant, span = table("variant"), table("chassis_span")
    spans: dict[str, list[KnownSpan]] = defaultdict(list)
    query = select(span).join(variant, variant.c.name == span.c.variant).where(variant.c.range == range_)
    for row in connection.execute(query.order_by(span.c.prefix, span.c.first_serial)):
        spans[row.variant].append(KnownSpan(row.prefix, row.first_serial, row.last_serial, row.digits))
    own = select(variant).where(variant.c.range == range_).order_by(variant.c.name)
    return {
        row.name: KnownVariant(
            row.name, row.title, row.generation, row.body, row.engine, row.drive, row.steering, row.market,
            tuple(spans[row.name]),
        )
        for row in connection.execute(own)
    }  # fmt: skip


def _positions(connection: Connection, range_: str) -> dict[str, KnownPosition]:
    position, condition = table("position"), table("condition")
    query = (
        select(position.c.name, position.c.title, position.c.section)
        .join(condition, condition.c.id == position.c.condition_id)
        .where((condition.c.range == range_) | condition.c.range.is_(None))
        .order_by(position.c.name)
    )
    return {row.name: KnownPosition(row.name, row.title, row.section) for row in connection.execute(query)}


def _titles(connection: Connection, kind: str) -> dict[str, str]:
    named = table(kind)
    query = select(named.c.name, named.c.title).order_by(named.c.name)
    return {row.name: row.title for row in connection.execute(query)}


def _records(connection: Connection, numbers: list[str]) -> dict[str, dict[str, Fields]]:
    """The records of some numbers that a list may speak of, as the text format has them."""
    these = listed(connection, numbers)
    fitment, offer, supersession = table("fitment"), table("offer"), table("supersession")
    named: dict[str, Iterable[str]] = {
        "component": numbers,
        "fitment": connection.execute(
            select(fitment.c.claim).where(fitment.c.component.in_(these))
        ).scalars(),
        "offer": [
            offer_name(row.supplier, row.component, None)
            for row in connection.execute(
                select(offer.c.supplier, offer.c.component).where(offer.c.component.in_(these))
            )
        ],
        "supersession": [
            supersession_name(row.old, row.new)
            for row in connection.execute(
                select(supersession.c.old, supersession.c.new).where(supersession.c.new.in_(these))
            )
        ],
    }
    return {
        kind: {
            name: rows_in(image)[0] for name, image in images(connection, kind, dict.fromkeys(names)).items()
        }
        for kind, names in named.items()
    }


def _successors(connection: Connection, numbers: list[str]) -> dict[str, frozenset[str]]:
    """Number → the numbers that supersede it, from some numbers on as far as it goes."""
    supersession = table("supersession")
    found: dict[str, set[str]] = defaultdict(set)
    ahead = set(numbers)
    for _ in range(MOST_STEPS):
        if not ahead:
            break
        these = supersession.c.old.in_(listed(connection, sorted(ahead)))
        query = select(supersession.c.old, supersession.c.new).where(these, ~supersession.c.both_ways)
        for row in connection.execute(query):
            found[row.old].add(row.new)
        ahead = {new for old in ahead for new in found.get(old, ())} - set(found)
    return {old: frozenset(every) for old, every in found.items()}


def names_of(connection: Connection, kind: str) -> list[str]:
    """The names of the records of a kind."""
    named = table(kind)
    return list(connection.execute(select(named.c.name).order_by(named.c.name)).scalars())


def keep_taken(connection: Connection, name: str, version: int, values: dict[str, object]) -> None:
    """Note what was taken, in the transaction that loads it. Raises PreconditionFailed when the list is
    another by now."""
    own = table("flat_list")
    here = update(own).where(own.c.name == name, own.c.version == version).values(values)
    if connection.execute(here).rowcount != 1:
        raise PreconditionFailed("The list changed meanwhile; look at it again")
