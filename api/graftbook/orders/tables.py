"""The tables of orders: the shop's own store, lists from draft to closed, and what was booked of deliveries.

A list keeps what it was made from (`asked`) and what it said when it was made or last changed
(`facts`), so that it can be printed for good and compared with what the catalogue says later.
"""

from datetime import date, datetime

from sqlalchemy import BigInteger, Column, ForeignKeyConstraint, Integer
from sqlmodel import Field, SQLModel

from graftbook.access.tables import Moment
from graftbook.catalogue.store.columns import NAME, at_least, key, one_of, refers, words

STATES = ("draft", "sent", "partly received", "received", "closed")


class ShopStockRow(SQLModel, table=True):
    """Pieces of a number in the shop's own store."""

    __tablename__ = "shop_stock"
    __table_args__ = (at_least("quantity", "quantity"), at_least("version", "version", 1))
    component: str = refers("component.number", primary=True)
    quantity: int
    place: str = words()
    version: int = 1


class StockStateRow(SQLModel, table=True):
    """One row: a number that rises whenever the store changes, so that an order knows its age."""

    __tablename__ = "stock_state"
    number: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    version: int = 0


class OrderListRow(SQLModel, table=True):
    """A list that is kept. `version` rises with every change; `asked` and `facts` are JSON text."""

    __tablename__ = "order_list"
    __table_args__ = (one_of("state", "state", STATES), at_least("version", "version", 1))
    name: str = key()
    state: str = Field(default="draft", max_length=20)
    version: int = 1
    catalogue_revision: int
    made: datetime = Field(sa_column=Column(Moment, nullable=False, index=True))
    changed: datetime = Field(sa_column=Column(Moment, nullable=False))
    asked: str = words("{}")
    facts: str = words("{}")
    note: str = words()


class OrderLineRow(SQLModel, table=True):
    """A line of a list: what is ordered from whom. How far it has come is told by the bookings."""

    __tablename__ = "order_line"
    __table_args__ = (at_least("pieces", "pieces"),)
    list: str = refers("order_list.name", primary=True, cascade=True)
    line: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    component: str = refers("component.number")
    supplier: str = Field(default="", sa_column=Column(NAME, nullable=False))
    pieces: int


class OrderBookingRow(SQLModel, table=True):
    """A delivery as somebody booked it; it stays when it is taken back, and counts no more then.

    `note_key`: the delivery note's number as it is known again; `accepted`: words, joined by `;`, of what
    was doubted and booked all the same.
    """

    __tablename__ = "order_booking"
    __table_args__ = (at_least("booking", "booking", 1),)
    list: str = refers("order_list.name", primary=True, cascade=True)
    booking: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    at: datetime = Field(sa_column=Column(Moment, nullable=False))
    who: str = words()
    supplier: str = Field(default="", sa_column=Column(NAME, nullable=False))
    delivery_note: str = words()
    note_key: str = Field(default="", sa_column=Column(NAME, nullable=False, index=True))
    remark: str = words()
    accepted: str = words()
    taken_back: datetime | None = Field(default=None, sa_column=Column(Moment, nullable=True))
    taken_back_by: str = words()
    taken_back_why: str = words()


class OrderBookingLineRow(SQLModel, table=True):
    """What one booking says of one line, in pieces; `received` may pass what was ordered.

    `back_ordered` pieces were promised for later; `given_up` pieces will not come.
    """

    __tablename__ = "order_booking_line"
    __table_args__ = (
        ForeignKeyConstraint(
            ["list", "booking"],
            ["order_booking.list", "order_booking.booking"],
            name="fk_order_booking_line_list_booking_order_booking",
            ondelete="CASCADE",
            deferrable=True,
        ),
        at_least("received", "received"),
        at_least("back_ordered", "back_ordered"),
        at_least("given_up", "given_up"),
    )
    list: str = Field(sa_column=Column(NAME, primary_key=True))
    booking: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    line: int = Field(sa_column=Column(Integer, primary_key=True, autoincrement=False))
    received: int = 0
    back_ordered: int = 0
    promised: date | None = None
    given_up: int = 0


class OrderEventRow(SQLModel, table=True):
    """One step in the life of a list: when, who, what; `detail` is JSON text."""

    __tablename__ = "order_event"
    id: int | None = Field(
        default=None,
        sa_column=Column(BigInteger().with_variant(Integer, "sqlite"), primary_key=True, autoincrement=True),
    )
    list: str = refers("order_list.name", cascade=True)
    at: datetime = Field(sa_column=Column(Moment, nullable=False))
    who: str = words()
    what: str = words()
    detail: str = words("{}")
