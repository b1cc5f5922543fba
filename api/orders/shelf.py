"""What the shop's own store holds: read, put, emptied; each in one transaction."""

from typing import Any

from sqlalchemy import Engine, select
from sqlalchemy.exc import IntegrityError

from api.catalogue.staging import table
from api.database import reading, writing
from api.etags import document_etag, names
from api.orders import list_store as store
from api.orders.tables import ShopStockRow
from api.problems import NotInStore, PreconditionFailed, PreconditionRequired, UnknownComponent

Facts = dict[str, Any]


def stock_etag(facts: Facts) -> str:
    """The strong ETag of a place in the store as it is."""
    return document_etag("stock", facts)


def _facts(row: ShopStockRow) -> Facts:
    return {"number": row.component, "quantity": row.quantity, "place": row.place, "version": row.version}


def holds(engine: Engine, number: str) -> Facts:
    """What the store holds of a number. Raises NotInStore."""
    with reading(engine) as session:
        row = store.stock_row(session, number)
        if row is None:
            raise NotInStore(number)
        return _facts(row)


def page_of_stock(engine: Engine, after: str, limit: int) -> list[Facts]:
    """A page of the store in number order."""
    with reading(engine) as session:
        return [_facts(row) for row in store.stock_after(session, after, limit)]


def put(engine: Engine, number: str, quantity: int, place: str, if_match: str | None) -> Facts:
    """What lies there now; new, or instead of what has the ETag `if_match`.

    Raises UnknownComponent, PreconditionRequired, PreconditionFailed.
    """
    try:
        with writing(engine) as session:
            component = table("component").c.number
            if session.connection().execute(select(component).where(component == number)).first() is None:
                raise UnknownComponent(number)
            row = _as_read(store.stock_row(session, number), if_match)
            row = row or ShopStockRow(component=number, quantity=0, version=0)
            row.quantity, row.place, row.version = quantity, place, row.version + 1
            session.add(row)
            store.touch_stock(session)
            session.flush()
            return _facts(row)
    except IntegrityError as error:
        raise PreconditionFailed("Somebody put it there at the same time; read it again") from error


def empty(engine: Engine, number: str, if_match: str | None) -> None:
    """The number has no place in the store any more.

    Raises NotInStore, PreconditionRequired, PreconditionFailed.
    """
    with writing(engine) as session:
        row = store.stock_row(session, number)
        if row is None:
            raise NotInStore(number)
        _as_read(row, if_match)
        session.delete(row)
        store.touch_stock(session)


def _as_read(row: ShopStockRow | None, if_match: str | None) -> ShopStockRow | None:
    if if_match is None:
        if row is not None:
            raise PreconditionRequired("It lies there already; send If-Match with the ETag that you read")
    elif row is None or not names(if_match, stock_etag(_facts(row))):
        raise PreconditionFailed("Read it again and change what you then see")
    return row
