"""The kept lists side by side: all, or those that are open, late, or one person's; and which name is free."""

from collections.abc import Iterable, Sequence
from datetime import date
from itertools import count, groupby
from operator import itemgetter
from typing import Literal

from sqlalchemy import Engine
from sqlmodel import Session

from graftbook.database import in_utc, reading
from graftbook.orders.buying.not_bought import of_before
from graftbook.orders.lists import store
from graftbook.orders.lists.deliveries import PARTLY, SENT, Counts, progress_of
from graftbook.orders.lists.schemas import OrderListShortOut
from graftbook.orders.lists.service import DRAFT, STATES
from graftbook.orders.schemas import OrderLineOut
from graftbook.orders.tables import OrderListRow

ShownWord = Literal["open", "late"]
OPEN: ShownWord = "open"
LATE: ShownWord = "late"
_STATES = {OPEN: (DRAFT, SENT, PARTLY), LATE: (SENT, PARTLY)}
LONGEST_NAME = 80


def lists(
    engine: Engine, after: str, limit: int, show: ShownWord | None = None, made_by: str = ""
) -> list[OrderListShortOut]:
    """A page of lists in name order, without their lines.

    `open`: not everything has come; `late`: sent, and the day promised for something has passed.
    """
    found: list[OrderListShortOut] = []
    with reading(engine) as session:
        while len(found) < limit:
            rows = store.lists_after(session, after, limit, _STATES[show] if show else (), made_by)
            found += [one for one in _short_ones(session, rows) if show != LATE or _late(one)]
            if len(rows) < limit:
                break
            after = rows[-1].name
    return found[:limit]


def lists_of(engine: Engine, chassis: str) -> list[OrderListShortOut]:
    """Every list for a vehicle, whatever the list calls it, in name order."""
    with reading(engine) as session:
        rows = store.lists_naming(session, chassis)
        its = [row for row in rows if any(v["chassis"] == chassis for v in of_before(row.facts)["vehicles"])]
        return _short_ones(session, its)


def newest_open(engine: Engine, limit: int) -> list[OrderListShortOut]:
    """The lists that are open, the one made last first."""
    with reading(engine) as session:
        return _short_ones(session, store.newest_lists(session, _STATES[OPEN], limit))


def _late(one: OrderListShortOut) -> bool:
    return one["due"] is not None and one["due"] < date.today().isoformat()


def _short_ones(session: Session, rows: Sequence[OrderListRow]) -> list[OrderListShortOut]:
    names = [row.name for row in rows]
    makers = store.makers(session, names)
    standing = groupby(store.standing_of(session, names), itemgetter(0))
    booked = {name: [counts for _, counts in of] for name, of in standing}
    return [_short(row, makers.get(row.name, ""), booked.get(row.name, [])) for row in rows]


def _short(row: OrderListRow, maker: str, booked: Sequence[Counts]) -> OrderListShortOut:
    facts = of_before(row.facts)
    return {
        "name": row.name,
        "state": next(word for word in STATES if word == row.state),
        "version": row.version,
        "note": row.note,
        "made": in_utc(row.made).isoformat(),
        "made_by": maker,
        "complete": facts["complete"],
        "not_bought": facts["not_bought"],
        "vehicles": [vehicle["label"] for vehicle in facts["vehicles"]],
        "wishes": list(dict.fromkeys(wish for vehicle in facts["vehicles"] for wish in vehicle["wishes"])),
        "lines": len(facts["lines"]),
        "due": due(facts["lines"], booked) if row.state in _STATES[LATE] else None,
        "total": facts["totals"]["total"],
        "currency": facts["currency"],
    }


def due(lines: Iterable[OrderLineOut], booked: Sequence[Counts]) -> str | None:
    """The first day on which something that is still open should be there; None when nothing is.

    `booked`: the rows of the bookings that stand. What a booking promised for later counts from its own
    day, once all that is open of the line was promised.
    """
    known = {line["line"]: line for line in lines}
    come = progress_of({number: line["pieces"] for number, line in known.items()}, booked)
    later = {row["line"]: row["promised"] for row in booked if row["back_ordered"] and row["promised"]}
    days = [
        later[number].isoformat()
        if number in later and progress.back_ordered == progress.open
        else known[number]["arrives"]
        for number, progress in come.items()
        if progress.open
    ]
    return min((day for day in days if day), default=None)


def free_name(engine: Engine, wanted: str) -> str:
    """The name, or the same with the first number behind it that no list has."""
    stem = wanted[: LONGEST_NAME - 5]
    with reading(engine) as session:
        taken = store.names_beginning(session, stem)
    if wanted not in taken:
        return wanted
    return next(name for number in count(2) if (name := f"{stem}-{number}") not in taken)
