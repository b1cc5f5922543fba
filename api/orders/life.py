"""The life of an order list: draft, sent, partly received, received, closed; each step is recorded.

A function does one thing in one transaction. A change names the ETag of the list that was read; the
list's version is raised in the same statement that checks it, so two steps at once cannot both happen.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime
from typing import Any

import orjson
from sqlalchemy import Engine
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from api.database import reading, writing
from api.etags import document_etag, names
from api.once.answers import EACH_TIME, Once
from api.orders import list_store as store
from api.orders.not_bought import are, of_before
from api.orders.tables import OrderLineRow, OrderListRow
from api.problems import (
    AlreadyExists,
    Incomplete,
    InvalidRequest,
    PreconditionFailed,
    StoreChanged,
    UnknownOrderList,
    WrongState,
)
from api.wire.names import near_names

Facts = dict[str, Any]
DRAFT, SENT, PARTLY, RECEIVED, CLOSED = "draft", "sent", "partly received", "received", "closed"
UNDER_WAY = (SENT, PARTLY)
MOST_EVENTS = 500


def list_etag(document: Facts) -> str:
    """The strong ETag of a list as it reads."""
    return document_etag("order-list", document)


def list_document(engine: Engine, name: str) -> Facts:
    """A list as facts: the order, and how far its lines have come. Raises UnknownOrderList."""
    with reading(engine) as session:
        return _document(session, _row(session, name))


def _row(session: Session, name: str) -> OrderListRow:
    row = store.list_row(session, name)
    if row is None:
        raise UnknownOrderList(name, near_names(name, store.list_names(session)))
    return row


def _document(session: Session, row: OrderListRow) -> Facts:
    facts = of_before(orjson.loads(row.facts))
    progress = {line.line: line for line in store.lines_of(session, row.name)}
    for line in facts["lines"]:
        line |= _come(progress.get(line["line"]))
    return facts | {
        "name": row.name,
        "state": row.state,
        "version": row.version,
        "note": row.note,
        "made": row.made.isoformat(),
        "changed": row.changed.isoformat(),
    }


def _come(line: OrderLineRow | None) -> Facts:
    if line is None:
        return {"received": 0, "back_ordered": 0, "given_up": 0}
    return {"received": line.received, "back_ordered": line.back_ordered, "given_up": line.given_up}


def lists(engine: Engine, after: str, limit: int) -> list[Facts]:
    """A page of lists in name order, without their lines."""
    with reading(engine) as session:
        return [_short(row) for row in store.lists_after(session, after, limit)]


def _short(row: OrderListRow) -> Facts:
    facts = of_before(orjson.loads(row.facts))
    return {
        "name": row.name,
        "state": row.state,
        "version": row.version,
        "note": row.note,
        "made": row.made.isoformat(),
        "complete": facts["complete"],
        "not_bought": facts["not_bought"],
        "vehicles": [vehicle["label"] for vehicle in facts["vehicles"]],
        "lines": len(facts["lines"]),
        "total": facts["totals"]["total"],
        "currency": facts["currency"],
    }


def events(engine: Engine, name: str, after: int, limit: int) -> list[Facts]:
    """The steps of a list, the oldest first. Raises UnknownOrderList."""
    with reading(engine) as session:
        _row(session, name)
        return [
            {
                "id": event.id,
                "at": event.at.isoformat(),
                "who": event.who,
                "what": event.what,
                "detail": orjson.loads(event.detail),
            }
            for event in store.events_of(session, name, after, limit)
        ]


def asked_of(engine: Engine, name: str) -> Facts:
    """The question that a list was made from. Raises UnknownOrderList."""
    with reading(engine) as session:
        asked: Facts = orjson.loads(_row(session, name).asked)
        return asked


def create(
    engine: Engine, name: str, asked: Facts, facts: Facts, note: str, who: str, once: Once = EACH_TIME
) -> Facts:
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
            return document
    except IntegrityError as error:
        raise AlreadyExists(f"There is an order list '{name}' already", pointer="/name") from error


class _Step:
    """One change of a list in its transaction: read, checked against the ETag, written with a new version."""

    def __init__(self, session: Session, name: str, if_match: str, who: str) -> None:
        self.session, self.name, self.who = session, name, who
        self.row = _row(session, name)
        self.version = self.row.version
        if not names(if_match, list_etag(_document(session, self.row))):
            raise PreconditionFailed("Read the list again and change what you then see")
        self.now = datetime.now(UTC)

    def in_state(self, *states: str) -> None:
        """Raises WrongState unless the list is in one of these."""
        if self.row.state not in states:
            here, wanted = self.row.state, " or ".join(states)
            raise WrongState(f"The list is {here}; this takes one that is {wanted}", state=here)

    def write(self, what: str, detail: Facts, **values: Any) -> Facts:
        """Write the step. Raises PreconditionFailed when somebody was quicker."""
        if not store.change_list(self.session, self.name, self.version, {"changed": self.now, **values}):
            raise PreconditionFailed("Somebody changed the list at the same time; read it again")
        store.add_event(self.session, self.name, self.now, self.who, what, detail)
        self.session.flush()
        self.session.expire_all()
        return _document(self.session, _row(self.session, self.name))


def renote(engine: Engine, name: str, if_match: str, note: str, who: str) -> Facts:
    """Change the note of a list. Raises UnknownOrderList, PreconditionFailed."""
    with writing(engine) as session:
        step = _Step(session, name, if_match, who)
        return step.write("note changed", {"before": step.row.note, "after": note}, note=note)


def replace_facts(
    engine: Engine, name: str, if_match: str, asked: Facts, facts: Facts, what: str, detail: Facts, who: str
) -> Facts:
    """A draft says something else now: recomputed, or with a substitute.

    Raises UnknownOrderList, PreconditionFailed, WrongState.
    """
    with writing(engine) as session:
        step = _Step(session, name, if_match, who)
        step.in_state(DRAFT)
        store.put_lines(session, name, facts["lines"])
        return step.write(
            what,
            detail,
            asked=orjson.dumps(asked).decode(),
            facts=orjson.dumps(facts).decode(),
            catalogue_revision=facts["catalogue_revision"],
        )


def discard(engine: Engine, name: str, if_match: str, who: str) -> None:
    """Delete a draft. Raises UnknownOrderList, PreconditionFailed, WrongState."""
    with writing(engine) as session:
        step = _Step(session, name, if_match, who)
        step.in_state(DRAFT)
        if not store.delete_list(session, name, step.version):
            raise PreconditionFailed("Somebody changed the list at the same time; read it again")


def send(
    engine: Engine, name: str, if_match: str, who: str, once: Once = EACH_TIME, *, incomplete: bool = False
) -> Facts:
    """The list goes out; what it takes from the store leaves the shelf with it.

    `incomplete` says that it goes out although lines are not bought. Raises UnknownOrderList,
    PreconditionFailed, WrongState for a list that was sent, Incomplete, StoreChanged, and what `once`
    raises.
    """
    with writing(engine) as session:
        once.begin(session.connection())
        step = _Step(session, name, if_match, who)
        step.in_state(DRAFT)
        facts = of_before(orjson.loads(step.row.facts))
        if not (facts["complete"] or incomplete):
            raise _not_complete(facts)
        _take_from_store(session, facts["from_stock"])
        detail = {
            "suppliers": [supplier["name"] for supplier in facts["suppliers"]],
            "total": facts["totals"]["total"],
            "from_stock": {part["number"]: part["quantity"] for part in facts["from_stock"]},
            "not_bought": [line["number"] for line in facts["not_supplied"]],
        }
        document = step.write("sent", detail, state=SENT if facts["lines"] else RECEIVED)
        once.keep(session.connection(), document)
        return document


def _not_complete(facts: Facts) -> Incomplete:
    lacking = [
        {key: line[key] for key in ("number", "name", "quantity", "why")} for line in facts["not_supplied"]
    ]
    words = ", ".join(f"{line['number']} ({line['name']})" for line in lacking)
    said = f"{are(len(lacking))} NOT bought of {facts['lines_needed']} lines"
    return Incomplete(f"{said}: {words}. Say that it goes out without them (incomplete)", not_bought=lacking)


def _take_from_store(session: Session, parts: Sequence[Mapping[str, Any]]) -> None:
    if parts:
        store.lock_stock(session)
    lacking = [
        part["number"]
        for part in parts
        if not store.take_from_stock(session, part["number"], part["quantity"])
    ]
    if lacking:
        words = ", ".join(lacking)
        raise StoreChanged(f"The store no longer holds {words}; compute the list again", lacking=lacking)
    if parts:
        store.touch_stock(session)


def receive(
    engine: Engine,
    name: str,
    if_match: str,
    came: Sequence[Mapping[str, Any]],
    who: str,
    once: Once = EACH_TIME,
) -> Facts:
    """Pieces came, are promised for later, or will not come; `came` has a row a line.

    A row: line, received, back_ordered (pieces promised for later, and `promised`, the day), given_up.
    More than was ordered is taken and told. Raises UnknownOrderList, PreconditionFailed, WrongState,
    InvalidRequest for a line that the list does not have, and what `once` raises.
    """
    with writing(engine) as session:
        once.begin(session.connection())
        step = _Step(session, name, if_match, who)
        step.in_state(*UNDER_WAY)
        lines = {row.line: row for row in store.lines_of(session, name)}
        told = [_received(session, lines, number, row) for number, row in enumerate(came)]
        session.flush()
        session.expire_all()
        document = step.write("received", {"lines": told}, state=_state(store.lines_of(session, name)))
        once.keep(session.connection(), document)
        return document


def _received(
    session: Session, lines: Mapping[int, OrderLineRow], place: int, row: Mapping[str, Any]
) -> Facts:
    line = lines.get(row["line"])
    if line is None:
        raise InvalidRequest(f"The list has no line {row['line']}", pointer=f"/lines/{place}/line")
    received, given_up = line.received + row["received"], line.given_up + row["given_up"]
    left = max(0, line.pieces - received - given_up)
    back = min(left, row["back_ordered"])
    if row["given_up"] > max(0, line.pieces - received - line.given_up):
        message = f"Line {line.line} has no {row['given_up']} pieces left to give up"
        raise InvalidRequest(message, pointer=f"/lines/{place}/given_up")
    store.change_line(session, line, received, back, given_up)
    line.received, line.given_up = received, given_up
    promised: date | None = row.get("promised")
    return {
        "line": line.line,
        "number": line.component,
        "received": row["received"],
        "given_up": row["given_up"],
        "back_ordered": back,
        "promised": promised.isoformat() if promised else None,
        "too_many": max(0, received + given_up - line.pieces),
        "open": left,
    }


def _state(lines: Sequence[OrderLineRow]) -> str:
    """What the lines say: all there (or given up), some there, or nothing yet."""
    if all(line.received + line.given_up >= line.pieces for line in lines):
        return RECEIVED
    return PARTLY if any(line.received or line.given_up for line in lines) else SENT


def close(engine: Engine, name: str, if_match: str, reason: str, who: str) -> Facts:
    """The list is done. What has not come needs a reason in words.

    Raises UnknownOrderList, PreconditionFailed, WrongState.
    """
    with writing(engine) as session:
        step = _Step(session, name, if_match, who)
        step.in_state(SENT, PARTLY, RECEIVED)
        if step.row.state != RECEIVED and not reason.strip():
            raise WrongState("Not everything has come; say why the list is closed", state=step.row.state)
        return step.write("closed", {"reason": reason, "from": step.row.state}, state=CLOSED)
