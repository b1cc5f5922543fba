"""The life of an order list: draft, sent, partly received, received, closed; each step is recorded.

A function does one thing in one transaction. A change names the ETag of the list that was read; the
list's version is raised in the same statement that checks it, so two steps at once cannot both happen.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any

import orjson
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from graftbook.catalogue.compiling.book_names import near_names
from graftbook.database import in_utc, reading, writing
from graftbook.events.outbox import Kind, record_event
from graftbook.http.preconditions import document_etag, require_match
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.orders.buying.not_bought import of_before
from graftbook.orders.lists import store
from graftbook.orders.lists.deliveries import (
    KINDS,
    PARTLY,
    RECEIVED,
    SENT,
    Delivery,
    Doubt,
    Noted,
    Progress,
    Row,
    doubts_of,
    in_pieces,
    note_key,
    progress_of,
    state_of,
    supplier_of,
)
from graftbook.orders.lists.schemas import (
    BookedLineOut,
    BookingOut,
    KeptLineOut,
    OrderEventOut,
    OrderListOut,
    TakenBackOut,
    ToldOut,
)
from graftbook.orders.schemas import FromStockOut, OrderLineOut, OrderOut, StateWord
from graftbook.orders.stock import store as stock
from graftbook.orders.tables import OrderBookingLineRow, OrderBookingRow, OrderListRow
from graftbook.problems import (
    AlreadyExists,
    BookingTakenBack,
    DeliveryDoubted,
    Incomplete,
    PreconditionFailed,
    StoreChanged,
    UnknownBooking,
    UnknownOrderList,
    WrongState,
)

Body = dict[str, Any]
"""What was asked, as JSON says it; whoever reads it has it validated."""
Detail = Mapping[str, Any]
"""What an event says beside its words."""
DRAFT: StateWord = "draft"
CLOSED: StateWord = "closed"
GONE_OUT = (SENT, PARTLY, RECEIVED)
STATES = (DRAFT, *GONE_OUT, CLOSED)
MOST_EVENTS = 500


def list_etag(document: OrderListOut) -> str:
    """The strong ETag of a list as it reads."""
    return document_etag("order-list", document)


def list_document(engine: Engine, name: str) -> OrderListOut:
    """A list as facts: the order, and how far its lines have come. Raises UnknownOrderList."""
    with reading(engine) as session:
        return _document(session, _row(session, name))


def _row(session: Session, name: str, *, alone: bool = False) -> OrderListRow:
    row = store.list_row(session, name, alone=alone)
    if row is None:
        raise UnknownOrderList(name, near_names(name, store.list_names(session)))
    return row


def _document(session: Session, row: OrderListRow) -> OrderListOut:
    order = of_before(row.facts)
    come = _come(session, row.name)
    lines: list[KeptLineOut] = [
        {**line, **come.get(line["line"], Progress(line["pieces"])).facts()} for line in order["lines"]
    ]
    return {
        **order,
        "lines": lines,
        "name": row.name,
        "state": next(word for word in STATES if word == row.state),
        "version": row.version,
        "note": row.note,
        "made": in_utc(row.made).isoformat(),
        "changed": in_utc(row.changed).isoformat(),
        "newest_booking": store.newest_booking(session, row.name) or None,
    }


def _come(session: Session, name: str) -> dict[int, Progress]:
    """How far each line has come, by what was booked and not taken back."""
    pieces = {line.line: line.pieces for line in store.lines_of(session, name)}
    return progress_of(pieces, store.standing(session, name))


def events(engine: Engine, name: str, after: int, limit: int) -> list[OrderEventOut]:
    """The steps of a list, the oldest first. Raises UnknownOrderList."""
    with reading(engine) as session:
        _row(session, name)
        return [
            {
                "id": event.id or 0,  # None before it is stored
                "at": in_utc(event.at).isoformat(),
                "who": event.who,
                "what": event.what,
                "detail": orjson.loads(event.detail),
            }
            for event in store.events_of(session, name, after, limit)
        ]


def asked_of(engine: Engine, name: str) -> Body:
    """The question that a list was made from. Raises UnknownOrderList."""
    with reading(engine) as session:
        asked: Body = orjson.loads(_row(session, name).asked)
        return asked


def create(
    engine: Engine, name: str, asked: Body, facts: OrderOut, note: str, who: str, once: Once = EACH_TIME
) -> OrderListOut:
    """Store a draft. Raises AlreadyExists, and what `once` raises."""
    now = datetime.now(UTC)
    row = OrderListRow(
        name=name,
        catalogue_revision=facts["catalogue_revision"],
        made=now,
        changed=now,
        asked=orjson.dumps(asked).decode(),
        facts=orjson.dumps(facts).decode(),
        note=note,
    )
    try:
        with writing(engine) as session:
            once.begin(session.connection())
            if store.list_row(session, name) is not None:
                raise AlreadyExists(f"There is an order list '{name}' already", pointer="/name")
            session.add(row)
            session.flush()
            store.put_lines(session, name, facts["lines"])
            store.add_event(session, name, now, who, "made", {"lines": len(facts["lines"])})
            session.flush()
            document = _document(session, row)
            once.keep(session.connection(), document)
            _tell(session, "order_list.created", document, who, "made")
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is an order list '{name}' already", pointer="/name") from error


_KINDS: Mapping[str, Kind] = {
    "sent": "order_list.sent",
    "received": "order_list.received",
    "taken back": "order_list.corrected",
    "closed": "order_list.closed",
}
"""Of a step; every other changes what the list says."""


def _tell(session: Session, kind: Kind, document: OrderListOut, who: str, what: str) -> None:
    data = {
        "name": document["name"],
        "state": document["state"],
        "version": document["version"],
        "who": who,
        "what": what,
        "booking": document["newest_booking"],
    }
    record_event(session.connection(), kind, data)


class _Step:
    """One change of a list in its transaction: read, checked against the ETag, written with a new version."""

    def __init__(self, session: Session, name: str, if_match: str, who: str, once: Once) -> None:
        self.session, self.name, self.who, self.once = session, name, who, once
        self.row = _row(session, name, alone=True)
        self.version = self.row.version
        require_match(if_match, list_etag(_document(session, self.row)), "the list")
        self.now = datetime.now(UTC)

    def in_state(self, *states: str) -> None:
        """Raises WrongState unless the list is in one of these."""
        if self.row.state not in states:
            here, wanted = self.row.state, " or ".join(states)
            raise WrongState(f"This step is for a list in the state {wanted}; this one is {here}", state=here)

    def write(self, what: str, detail: Detail, **values: Any) -> OrderListOut:
        """Write the step. Raises PreconditionFailed when somebody was quicker."""
        if not store.change_list(self.session, self.name, self.version, {"changed": self.now, **values}):
            raise PreconditionFailed("Somebody changed the list at the same time; read it again")
        store.add_event(self.session, self.name, self.now, self.who, what, detail)
        self.session.flush()
        self.session.expire_all()
        document = _document(self.session, _row(self.session, self.name))
        self.once.keep(self.session.connection(), document)
        _tell(self.session, _KINDS.get(what, "order_list.changed"), document, self.who, what)
        return document


@contextmanager
def _step(engine: Engine, name: str, if_match: str, who: str, once: Once = EACH_TIME) -> Iterator[_Step]:
    """A step in a transaction of its own. Raises UnknownOrderList, PreconditionFailed, what `once` raises."""
    with writing(engine) as session:
        once.begin(session.connection())
        yield _Step(session, name, if_match, who, once)


def renote(engine: Engine, name: str, if_match: str, note: str, who: str) -> OrderListOut:
    """Change the note of a list. Raises UnknownOrderList, PreconditionFailed."""
    with _step(engine, name, if_match, who) as step:
        return step.write("note changed", {"before": step.row.note, "after": note}, note=note)


def replace_facts(
    engine: Engine,
    name: str,
    if_match: str,
    asked: Body,
    facts: OrderOut,
    what: str,
    detail: Detail,
    who: str,
) -> OrderListOut:
    """A draft says something else now: recomputed, or with a substitute.

    Raises UnknownOrderList, PreconditionFailed, WrongState.
    """
    with _step(engine, name, if_match, who) as step:
        step.in_state(DRAFT)
        store.put_lines(step.session, name, facts["lines"])
        return step.write(
            what,
            detail,
            asked=orjson.dumps(asked).decode(),
            facts=orjson.dumps(facts).decode(),
            catalogue_revision=facts["catalogue_revision"],
        )


def discard(engine: Engine, name: str, if_match: str, who: str) -> None:
    """Delete a draft. Raises UnknownOrderList, PreconditionFailed, WrongState."""
    with _step(engine, name, if_match, who) as step:
        step.in_state(DRAFT)
        document = _document(step.session, step.row)
        if not store.delete_list(step.session, name, step.version):
            raise PreconditionFailed("Somebody changed the list at the same time; read it again")
        _tell(step.session, "order_list.discarded", document, who, "discarded")


def send(
    engine: Engine, name: str, if_match: str, who: str, once: Once = EACH_TIME, *, incomplete: bool = False
) -> OrderListOut:
    """The list goes out; what it takes from the store leaves the shelf with it.

    `incomplete` says that it goes out although lines are not bought. Raises UnknownOrderList,
    PreconditionFailed, WrongState for a list that was sent, Incomplete, StoreChanged, and what `once`
    raises.
    """
    with _step(engine, name, if_match, who, once) as step:
        step.in_state(DRAFT)
        facts = of_before(step.row.facts)
        if not (facts["complete"] or incomplete):
            raise _not_complete(facts)
        _take_from_store(step.session, facts["from_stock"])
        detail = {
            "suppliers": [supplier["name"] for supplier in facts["suppliers"]],
            "total": facts["totals"]["total"],
            "from_stock": {part["number"]: part["quantity"] for part in facts["from_stock"]},
            "not_bought": [line["number"] for line in facts["not_supplied"]],
        }
        return step.write("sent", detail, state=SENT if facts["lines"] else RECEIVED)


def _not_complete(facts: OrderOut) -> Incomplete:
    lacking = [
        {"number": line["number"], "name": line["name"], "quantity": line["quantity"], "why": line["why"]}
        for line in facts["not_supplied"]
    ]
    words = ", ".join(f"{line['number']} ({line['name']})" for line in lacking)
    verb = "is" if len(lacking) == 1 else "are"
    count = f"{len(lacking)} of {facts['lines_needed']} lines {verb} NOT bought"
    return Incomplete(f"{count}: {words}. Say that it goes out without them (incomplete)", not_bought=lacking)


def _take_from_store(session: Session, parts: Sequence[FromStockOut]) -> None:
    if parts:
        stock.lock_stock(session)
    wanted = [(part["number"], part["quantity"]) for part in parts]
    if lacking := [number for number, some in wanted if not stock.take_from_stock(session, number, some)]:
        words = ", ".join(lacking)
        raise StoreChanged(f"The store no longer holds {words}; work the list out again", lacking=lacking)
    if parts:
        stock.touch_stock(session)


def receive(
    engine: Engine, name: str, if_match: str, delivery: Delivery, who: str, once: Once = EACH_TIME
) -> OrderListOut:
    """Book a delivery: pieces came, are promised for later, or will not come.

    The shop's store stays as it is. Raises UnknownOrderList, PreconditionFailed, WrongState,
    InvalidRequest for lines that cannot be, DeliveryDoubted for what should be looked at first and is
    not accepted, and what `once` raises.
    """
    with _step(engine, name, if_match, who, once) as step:
        step.in_state(*GONE_OUT)
        lines, before = _lines(step.row), _come(step.session, name)
        rows = in_pieces(delivery, lines, before)
        booking = _booking(step, delivery, supplier_of(delivery, lines))
        doubts = doubts_of(delivery, rows, lines, before, _same_note(step.session, booking))
        _require_accepted(doubts, delivery.accept)
        booking.accepted = ";".join(sorted({doubt["kind"] for doubt in doubts}))
        store.add_booking(step.session, booking, rows)
        after = _come(step.session, name)
        detail = {**_booking_told(booking), "lines": [_received_line(row, lines, after) for row in rows]}
        return step.write("received", detail, state=state_of(after.values()))


def _lines(row: OrderListRow) -> dict[int, OrderLineOut]:
    """What a list says of its lines, by number."""
    return {line["line"]: line for line in orjson.loads(row.facts)["lines"]}


def _booking(step: _Step, delivery: Delivery, supplier: str) -> OrderBookingRow:
    return OrderBookingRow(
        list=step.name,
        booking=store.newest_booking(step.session, step.name) + 1,
        at=step.now,
        who=step.who,
        supplier=supplier,
        delivery_note=delivery.delivery_note,
        note_key=note_key(delivery.delivery_note),
        remark=delivery.remark,
    )


def _same_note(session: Session, booking: OrderBookingRow) -> list[Noted]:
    """Where else a delivery note of this number stands; a note without a number is none."""
    if not booking.note_key:
        return []
    return [
        {"list": row.list, "booking": row.booking, "at": in_utc(row.at).isoformat(), "who": row.who}
        for row in store.noted(session, booking.note_key, booking.supplier)
    ]


def _require_accepted(doubts: Sequence[Doubt], accept: frozenset[str]) -> None:
    """Raises DeliveryDoubted unless each doubt's word is among those accepted."""
    if left := [doubt for doubt in doubts if doubt["kind"] not in accept]:
        raise DeliveryDoubted(left, sorted({doubt["kind"] for doubt in doubts}))


def _booking_told(booking: OrderBookingRow) -> ToldOut:
    return {
        "booking": booking.booking,
        "supplier": booking.supplier or None,
        "delivery_note": booking.delivery_note,
        "accepted": [kind for kind in sorted(KINDS) if kind in booking.accepted.split(";")],
    }


def _received_line(row: Row, lines: Mapping[int, OrderLineOut], after: Mapping[int, Progress]) -> Detail:
    known = after[row["line"]]
    return {
        "line": row["line"],
        "number": lines[row["line"]]["number"],
        "received": row["received"],
        "given_up": row["given_up"],
        "back_ordered": row["back_ordered"],
        "promised": row["promised"].isoformat() if row["promised"] else None,
        "too_many": known.too_many,
        "open": known.open,
    }


def bookings(engine: Engine, name: str, after: int, limit: int) -> list[BookingOut]:
    """What was booked of a list behind the number `after`, the oldest first; also what was taken back.

    Raises UnknownOrderList.
    """
    with reading(engine) as session:
        lines = _lines(_row(session, name))
        found = store.bookings_after(session, name, after, limit)
        if not found:
            return []
        rows = store.rows_of(session, name, found[0].booking, found[-1].booking)
        return [_booking_of(one, [row for row in rows if row.booking == one.booking], lines) for one in found]


def _booking_of(
    booking: OrderBookingRow, rows: Sequence[OrderBookingLineRow], lines: Mapping[int, OrderLineOut]
) -> BookingOut:
    titles = {line["supplier"]: line["supplier_title"] for line in lines.values()}
    back: TakenBackOut | None = None
    if booking.taken_back:
        back = {
            "at": in_utc(booking.taken_back).isoformat(),
            "who": booking.taken_back_by,
            "why": booking.taken_back_why,
        }
    return {
        **_booking_told(booking),
        "at": in_utc(booking.at).isoformat(),
        "who": booking.who,
        "supplier_title": titles.get(booking.supplier),
        "remark": booking.remark,
        "lines": [_booked_line(row, lines[row.line]) for row in rows],
        "taken_back": back,
    }


def _booked_line(row: OrderBookingLineRow, line: OrderLineOut) -> BookedLineOut:
    return {
        "line": row.line,
        "number": line["number"],
        "name": line["name"],
        "received": row.received,
        "back_ordered": row.back_ordered,
        "promised": row.promised.isoformat() if row.promised else None,
        "given_up": row.given_up,
        "pack": line["pack"],
    }


def take_back(
    engine: Engine,
    name: str,
    booking: int,
    if_match: str,
    why: str,
    who: str,
    *,
    reopen: bool,
    once: Once = EACH_TIME,
) -> OrderListOut:
    """A booking counts no more; the list's state follows from those that are left. It stays on record.

    A closed list is opened again by it, if `reopen` says so. Nothing was put into the shop's store by a
    booking, so nothing is taken from there. Raises UnknownOrderList, UnknownBooking, BookingTakenBack,
    PreconditionFailed, WrongState, and what `once` raises.
    """
    with _step(engine, name, if_match, who, once) as step:
        row = _to_take_back(step.session, name, booking)
        closed = step.row.state == CLOSED
        if closed and not reopen:
            message = "The list is closed; taking a booking back opens it again, if `reopen` says so"
            raise WrongState(message, state=CLOSED)
        store.take_back(step.session, row, step.now, who, why)
        after = _come(step.session, name)
        detail = {**_booking_told(row), "why": why, "reopened": closed}
        return step.write("taken back", detail, state=state_of(after.values()))


def _to_take_back(session: Session, name: str, booking: int) -> OrderBookingRow:
    row = store.booking_row(session, name, booking)
    if row is None:
        raise UnknownBooking(str(booking), detail=f"The list {name} has no booking {booking}")
    if row.taken_back:
        back = in_utc(row.taken_back)
        message = f"Booking {booking} was taken back already, on {back.date()} by {row.taken_back_by}"
        raise BookingTakenBack(message, at=back.isoformat(), who=row.taken_back_by)
    return row


def close(engine: Engine, name: str, if_match: str, reason: str, who: str) -> OrderListOut:
    """The list is done. What has not come needs a reason in words.

    Raises UnknownOrderList, PreconditionFailed, WrongState.
    """
    with _step(engine, name, if_match, who) as step:
        step.in_state(*GONE_OUT)
        if step.row.state != RECEIVED and not reason.strip():
            raise WrongState("Not everything has come; say why the list is closed", state=step.row.state)
        return step.write("closed", {"reason": reason, "from": step.row.state}, state=CLOSED)
