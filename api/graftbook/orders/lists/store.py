"""The SQL of kept order lists; each function works inside its caller's session."""

import json
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, update
from sqlmodel import Session, col, select

from graftbook.orders.lists.deliveries import Counts
from graftbook.orders.schemas import OrderLineOut
from graftbook.orders.tables import (
    OrderBookingLineRow,
    OrderBookingRow,
    OrderEventRow,
    OrderLineRow,
    OrderListRow,
)


def list_row(session: Session, name: str, *, alone: bool = False) -> OrderListRow | None:
    """The list; None if there is none of this name. `alone`: from here to its end no other transaction
    changes it (on SQLite there is one writer anyway)."""
    return session.get(OrderListRow, name, with_for_update=alone or None)


def lists_after(
    session: Session, after: str, limit: int, states: Sequence[str], made_by: str
) -> list[OrderListRow]:
    """Lists behind the name `after`, in name order: all, or those in these states, or that this one made."""
    query = select(OrderListRow).where(col(OrderListRow.name) > after)
    if states:
        query = query.where(col(OrderListRow.state).in_(states))
    if made_by:
        event = OrderEventRow
        theirs = select(col(event.list)).where(col(event.what) == "made", col(event.who) == made_by)
        query = query.where(col(OrderListRow.name).in_(theirs))
    return list(session.exec(query.order_by(OrderListRow.name).limit(limit)))


def lists_naming(session: Session, text: str) -> list[OrderListRow]:
    """Lists whose facts have a text as a whole word of theirs, in name order."""
    facts = col(OrderListRow.facts)
    query = select(OrderListRow).where(facts.contains(json.dumps(text), autoescape=True))
    return list(session.exec(query.order_by(OrderListRow.name)))


def makers(session: Session, names: Sequence[str]) -> dict[str, str]:
    """Who made each of these lists."""
    event = OrderEventRow
    query = select(event.list, event.who).where(col(event.what) == "made", col(event.list).in_(names))
    return dict(session.exec(query).all())


def names_beginning(session: Session, beginning: str) -> set[str]:
    """The names of lists that begin so."""
    query = select(OrderListRow.name).where(col(OrderListRow.name).startswith(beginning, autoescape=True))
    return set(session.exec(query))


def newest_lists(session: Session, states: Iterable[str], limit: int) -> list[OrderListRow]:
    """Lists in one of these states, the one made last first."""
    query = select(OrderListRow).where(col(OrderListRow.state).in_(list(states)))
    return list(session.exec(query.order_by(col(OrderListRow.made).desc(), OrderListRow.name).limit(limit)))


def list_names(session: Session) -> list[str]:
    """Names to look for near matches in."""
    return list(session.exec(select(OrderListRow.name).order_by(OrderListRow.name).limit(2_000)))


def change_list(session: Session, name: str, version: int, values: Mapping[str, Any]) -> bool:
    """Change a list that still has this version, and raise it; False if it has another by now."""
    changed = session.exec(
        update(OrderListRow)
        .where(col(OrderListRow.name) == name, col(OrderListRow.version) == version)
        .values(version=version + 1, **values)
    )
    return changed.rowcount == 1


def delete_list(session: Session, name: str, version: int) -> bool:
    """Delete a list that still has this version; False if it has another by now."""
    gone = session.exec(
        delete(OrderListRow).where(col(OrderListRow.name) == name, col(OrderListRow.version) == version)
    )
    return gone.rowcount == 1


def lines_of(session: Session, name: str) -> list[OrderLineRow]:
    """What is ordered, by line."""
    query = select(OrderLineRow).where(OrderLineRow.list == name)
    return list(session.exec(query.order_by(col(OrderLineRow.line))))


def put_lines(session: Session, name: str, lines: Sequence[OrderLineOut]) -> None:
    """Replace the lines of a draft by those of its facts."""
    session.exec(delete(OrderLineRow).where(col(OrderLineRow.list) == name))
    session.add_all(
        OrderLineRow(
            list=name,
            line=line["line"],
            component=line["number"],
            supplier=line["supplier"] or "",
            pieces=line["pieces"],
        )
        for line in lines
    )


def add_booking(session: Session, booking: OrderBookingRow, rows: Sequence[Counts]) -> None:
    """Keep a delivery as it was booked, with a row a line."""
    session.add(booking)
    session.flush()
    session.add_all(
        OrderBookingLineRow(
            list=booking.list,
            booking=booking.booking,
            line=row["line"],
            received=row["received"],
            back_ordered=row["back_ordered"],
            promised=row["promised"],
            given_up=row["given_up"],
        )
        for row in rows
    )
    session.flush()


def booking_row(session: Session, name: str, booking: int) -> OrderBookingRow | None:
    """One booking of a list; None if there is none of this number."""
    return session.get(OrderBookingRow, (name, booking))


def bookings_after(session: Session, name: str, after: int, limit: int) -> list[OrderBookingRow]:
    """The bookings of a list behind the number `after`, the oldest first."""
    query = select(OrderBookingRow).where(OrderBookingRow.list == name, col(OrderBookingRow.booking) > after)
    return list(session.exec(query.order_by(col(OrderBookingRow.booking)).limit(limit)))


def newest_booking(session: Session, name: str) -> int:
    """The number of the newest booking of a list, 0 before the first."""
    query = select(func.max(col(OrderBookingRow.booking))).where(OrderBookingRow.list == name)
    return session.exec(query).one() or 0


def standing(session: Session, name: str) -> list[Counts]:
    """What the bookings that were not taken back say of each line, in their order."""
    return [counts for _, counts in standing_of(session, [name])]


def standing_of(session: Session, names: Sequence[str]) -> list[tuple[str, Counts]]:
    """The same of several lists, each with the name of its list, one list after the other."""
    row, booking = OrderBookingLineRow, OrderBookingRow
    query = (
        select(row)
        .join(booking, (col(booking.list) == col(row.list)) & (col(booking.booking) == col(row.booking)))
        .where(col(row.list).in_(names), col(booking.taken_back).is_(None))
        .order_by(col(row.list), col(row.booking), col(row.line))
    )
    return [
        (
            one.list,
            {
                "line": one.line,
                "received": one.received,
                "back_ordered": one.back_ordered,
                "given_up": one.given_up,
                "promised": one.promised,
            },
        )
        for one in session.exec(query)
    ]


def rows_of(session: Session, name: str, first: int, last: int) -> list[OrderBookingLineRow]:
    """What the bookings of a list say of each line, for the numbers from `first` to `last`."""
    row = OrderBookingLineRow
    query = select(row).where(col(row.list) == name, col(row.booking) >= first, col(row.booking) <= last)
    return list(session.exec(query.order_by(col(row.booking), col(row.line))))


def noted(session: Session, note_key: str, supplier: str) -> list[OrderBookingRow]:
    """Bookings that stand and carry this delivery note of this supplier; "" is any supplier."""
    row = OrderBookingRow
    query = select(row).where(col(row.note_key) == note_key, col(row.taken_back).is_(None))
    if supplier:
        query = query.where(col(row.supplier).in_([supplier, ""]))
    return list(session.exec(query.order_by(col(row.at), col(row.list), col(row.booking)).limit(5)))


def take_back(session: Session, row: OrderBookingRow, at: datetime, who: str, why: str) -> None:
    """A booking counts no more."""
    row.taken_back, row.taken_back_by, row.taken_back_why = at, who, why
    session.add(row)
    session.flush()


def add_event(
    session: Session, name: str, at: datetime, who: str, what: str, detail: Mapping[str, Any]
) -> None:
    """Record a step."""
    text = json.dumps(detail, ensure_ascii=False, sort_keys=True)
    session.add(OrderEventRow(list=name, at=at, who=who, what=what, detail=text))


def events_of(session: Session, name: str, after: int, limit: int) -> list[OrderEventRow]:
    """The steps of a list behind the id `after`, the oldest first."""
    query = select(OrderEventRow).where(OrderEventRow.list == name, col(OrderEventRow.id) > after)
    return list(session.exec(query.order_by(col(OrderEventRow.id)).limit(limit)))
