"""The SQL of the shop's own store: what lies there of a number, and where."""

from collections.abc import Iterable

from sqlalchemy import func, or_, update
from sqlmodel import Session, col, select

from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.store.tables import table
from graftbook.database import listed
from graftbook.orders.buying.buying import InStore
from graftbook.orders.tables import ShopStockRow, StockStateRow


def stock_for(session: Session, numbers: Iterable[str]) -> list[InStore]:
    """What lies in the store of these numbers, by number."""
    these = listed(session.connection(), sorted(set(numbers)))
    query = select(ShopStockRow).where(col(ShopStockRow.component).in_(these), ShopStockRow.quantity > 0)
    rows = session.exec(query.order_by(ShopStockRow.component))
    return [InStore(row.component, row.quantity, row.place) for row in rows]


def stock_version(session: Session) -> int:
    """A number that rises whenever the store changes."""
    state = session.get(StockStateRow, 1)
    return state.version if state else 0


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
