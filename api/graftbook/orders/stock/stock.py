"""The shop's own store: what lies there of a number, and where."""

from collections.abc import Iterable

from sqlmodel import Session, col, select

from graftbook.catalogue.loading.staging import listed
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
