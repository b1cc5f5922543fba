"""The SQL of kept order lists; each function works inside its caller's session."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import delete, func, or_, update
from sqlmodel import Session, col, select

from api.catalogue.names import as_typed
from api.catalogue.staging import table
from api.orders.tables import (
    OrderEventRow,
    OrderLineRow,
    OrderListRow,
    ShopStockRow,
    StockStateRow,
)

Facts = dict[str, Any]


def list_row(session: Session, name: str) -> OrderListRow | None:
    """The list; None if there is none of this name."""
    return session.get(OrderListRow, name)


def lists_after(session: Session, after: str, limit: int) -> list[OrderListRow]:
    """Lists behind the name `after`, in name order."""
    query = select(OrderListRow).where(col(OrderListRow.name) > after)
    return list(session.exec(query.order_by(OrderListRow.name).limit(limit)))


def list_names(session: Session, limit: int = 2_000) -> list[str]:
    """Names to look for near matches in."""
    return list(session.exec(select(OrderListRow.name).order_by(OrderListRow.name).limit(limit)))


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
    """How far each line has come, by line."""
    query = select(OrderLineRow).where(OrderLineRow.list == name)
    return list(session.exec(query.order_by(OrderLineRow.line)))


def put_lines(session: Session, name: str, lines: Sequence[Mapping[str, Any]]) -> None:
    """Replace the lines of a list by those of its facts; nothing of them has come yet."""
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


def change_line(session: Session, row: OrderLineRow, received: int, back: int, given_up: int) -> None:
    """Write how far a line has come."""
    session.exec(
        update(OrderLineRow)
        .where(col(OrderLineRow.list) == row.list, col(OrderLineRow.line) == row.line)
        .values(received=received, back_ordered=back, given_up=given_up)
    )


def add_event(session: Session, name: str, at: datetime, who: str, what: str, detail: Facts) -> None:
    """Record a step."""
    text = json.dumps(detail, ensure_ascii=False, sort_keys=True)
    session.add(OrderEventRow(list=name, at=at, who=who, what=what, detail=text))


def events_of(session: Session, name: str, after: int, limit: int) -> list[OrderEventRow]:
    """The steps of a list behind the id `after`, the oldest first."""
    query = select(OrderEventRow).where(OrderEventRow.list == name, col(OrderEventRow.id) > after)
    return list(session.exec(query.order_by(col(OrderEventRow.id)).limit(limit)))


def take_from_stock(session: Session, number: str, pieces: int) -> bool:
    """Take pieces off the shelf; False if there are fewer by now."""
    taken = session.exec(
        update(ShopStockRow)
        .where(col(ShopStockRow.component) == number, col(ShopStockRow.quantity) >= pieces)
        .values(quantity=ShopStockRow.quantity - pieces, version=ShopStockRow.version + 1)
    )
    return taken.rowcount == 1


def stock_row(session: Session, number: str) -> ShopStockRow | None:
    """What the store holds of a number; None if it has no place there."""
    return session.get(ShopStockRow, number)


def stock_after(session: Session, after: str, limit: int) -> list[ShopStockRow]:
    """What the store holds behind the number `after`, in number order."""
    query = select(ShopStockRow).where(col(ShopStockRow.component) > after)
    return list(session.exec(query.order_by(ShopStockRow.component).limit(limit)))


def stock_found(session: Session, text: str, after: str, limit: int) -> list[tuple[ShopStockRow, str]]:
    """What the store holds behind the number `after`, with the component's name: all, or where number, name
    or place are like a text."""
    component = table("component").c
    query = select(ShopStockRow, component.name).join(
        table("component"), component.number == col(ShopStockRow.component)
    )
    query = query.where(col(ShopStockRow.component) > after)
    if text:
        texts = (component.name, col(ShopStockRow.place))
        like = [func.lower(column).contains(text.lower(), autoescape=True) for column in texts]
        if typed := as_typed(text):
            like.append(component.typed.startswith(typed, autoescape=True))
        query = query.where(or_(*like))
    rows = session.exec(query.order_by(ShopStockRow.component).limit(limit))
    return [(row, name) for row, name in rows]


def whole_stock(session: Session) -> list[ShopStockRow]:
    """All that the store holds, in number order."""
    return list(session.exec(select(ShopStockRow).order_by(ShopStockRow.component)))


def lock_stock(session: Session) -> None:
    """From here to its end this transaction alone changes the store. Called before the store is read."""
    session.exec(select(StockStateRow).with_for_update()).all()


def touch_stock(session: Session) -> None:
    """The store has changed: orders made before are of another store."""
    session.exec(update(StockStateRow).values(version=StockStateRow.version + 1))
