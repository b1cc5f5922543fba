"""What the shop's own store holds: read, put, emptied, counted; each in one transaction."""

from dataclasses import dataclass, field
from hashlib import sha256

import orjson
from sqlalchemy import Engine, select
from sqlalchemy.exc import IntegrityError
from sqlmodel import Session

from graftbook.catalogue.format.sheets import Mistake, Place
from graftbook.catalogue.loading.load import EnoughMistakes, LoadReport
from graftbook.catalogue.store.tables import table
from graftbook.database import reading, writing
from graftbook.http.preconditions import document_etag, names_etag, require_match
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.orders.lists.schemas import LiesOut, StockCountOut, StockDifferenceOut, StockOut
from graftbook.orders.stock import store
from graftbook.orders.stock.sheet import Counted, read_sheet, settle, sheet_of
from graftbook.orders.tables import ShopStockRow
from graftbook.problems import NotInStore, PreconditionFailed, PreconditionRequired, UnknownComponent

MOST_TOLD = 1_000
"""So many differences of a count are told."""


class NamedStock(StockOut):
    name: str


@dataclass(slots=True)
class CountReport(LoadReport):
    """What a count did, or what stops it: each number that is otherwise now, with what was and what is.

    `etag`: of the whole store as the count found it.
    """

    rows: int = 0
    differences: list[StockDifferenceOut] = field(default_factory=list)

    def document(self) -> StockCountOut:
        """As facts."""
        return {
            "dry_run": self.dry_run,
            "rows": self.rows,
            "changed": self.changed,
            "differences": self.differences[:MOST_TOLD],
        }


def stock_etag(facts: StockOut) -> str:
    """The strong ETag of a place in the store as it is."""
    return document_etag("stock", facts)


def _facts(row: ShopStockRow) -> StockOut:
    return {"number": row.component, "quantity": row.quantity, "place": row.place, "version": row.version}


def holds(engine: Engine, number: str) -> StockOut:
    """What the store holds of a number. Raises NotInStore."""
    with reading(engine) as session:
        row = store.stock_row(session, number)
        if row is None:
            raise NotInStore(number)
        return _facts(row)


def page_of_stock(engine: Engine, after: str, limit: int) -> list[StockOut]:
    """A page of the store in number order."""
    with reading(engine) as session:
        return [_facts(row) for row in store.stock_after(session, after, limit)]


def found(engine: Engine, text: str, after: str, limit: int) -> list[NamedStock]:
    """Lines of the store with the components' names: all, or where number, name or place are like a text."""
    with reading(engine) as session:
        return [{**_facts(row), "name": name} for row, name in store.stock_found(session, text, after, limit)]


def whole_sheet(engine: Engine) -> tuple[str, str]:
    """All that lies in the store as CSV, and its ETag."""
    with reading(engine) as session:
        rows = [_facts(row) for row in store.whole_stock(session)]
    return sheet_of(rows), _store_etag(rows)


def _store_etag(rows: list[StockOut]) -> str:
    return f'"store-{sha256(orjson.dumps(rows, option=orjson.OPT_SORT_KEYS)).hexdigest()[:24]}"'


class _Undo(Exception):
    """Leave the transaction without keeping anything."""


def count(
    engine: Engine,
    sheet: str,
    *,
    whole: bool = False,
    dry_run: bool = False,
    if_match: str | None = None,
    once: Once = EACH_TIME,
    file: str = "sheet",
) -> CountReport:
    """The store was counted: each row of a sheet says what lies there of a number now.

    Numbers that the sheet does not name stay; with `whole` they have no place in the store any more.
    With any mistake, or with `dry_run`, nothing is kept. Raises PreconditionFailed when `if_match`
    does not name the whole store as it is, and what `once` raises.
    """
    report = CountReport(dry_run=dry_run)

    def wrong(line: int, field: str, message: str) -> None:
        report.add(Mistake(Place(file, line), "", field, message))

    try:
        rows = read_sheet(sheet, wrong)
        if not rows and report.ok:
            wrong(1, "", "the sheet has no rows: nothing was counted")
        report.rows = len(rows)
        with writing(engine) as session:
            once.begin(session.connection())
            store.lock_stock(session)
            before = {row.component: row for row in store.whole_stock(session)}
            report.etag = _store_etag([_facts(row) for row in before.values()])
            if if_match is not None and not names_etag(if_match, report.etag):
                raise PreconditionFailed("The store has changed since; read it again and count what differs")
            rows = settle(session, rows, wrong)
            if not report.ok:
                raise _Undo
            report.differences = _count_rows(session, before, rows, whole=whole)
            report.changed = len(report.differences)
            if report.changed:
                store.touch_stock(session)
            session.flush()
            once.keep(session.connection(), report)
            if dry_run:
                raise _Undo
    except (_Undo, EnoughMistakes):
        pass
    except IntegrityError as error:
        raise PreconditionFailed("The catalogue changed at the same time; count again") from error
    report.mistakes.sort(key=lambda one: one.place.line)
    return report


def _count_rows(
    session: Session, before: dict[str, ShopStockRow], rows: list[Counted], *, whole: bool
) -> list[StockDifferenceOut]:
    differences: list[StockDifferenceOut] = []
    for counted in rows:
        row = before.pop(counted.number, None)
        place = counted.place if counted.place is not None else row.place if row else ""
        if row and (row.quantity, row.place) == (counted.quantity, place):
            continue
        was = _facts(row) if row else None
        row = row or ShopStockRow(component=counted.number, quantity=0, version=0)
        row.quantity, row.place, row.version = counted.quantity, place, row.version + 1
        session.add(row)
        differences.append(_difference(counted.number, was, _facts(row)))
    for number, row in before.items() if whole else ():
        differences.append(_difference(number, _facts(row), None))
        session.delete(row)
    return sorted(differences, key=lambda one: one["number"])


def _difference(number: str, was: StockOut | None, now: StockOut | None) -> StockDifferenceOut:
    def told(facts: StockOut | None) -> LiesOut | None:
        return {"quantity": facts["quantity"], "place": facts["place"]} if facts else None

    return {"number": number, "was": told(was), "now": told(now)}


def difference_lines(differences: list[StockDifferenceOut]) -> list[str]:
    """The differences of a count in words, a number a line."""

    def lies(facts: LiesOut | None) -> str:
        if facts is None:
            return "no place"
        return f"{facts['quantity']} ({facts['place']})" if facts["place"] else str(facts["quantity"])

    return [f"{one['number']}: {lies(one['was'])}, now {lies(one['now'])}" for one in differences]


def put(engine: Engine, number: str, quantity: int, place: str, if_match: str | None) -> StockOut:
    """What lies there now; new, or instead of what has the ETag `if_match`.

    Raises UnknownComponent, PreconditionRequired, PreconditionFailed.
    """
    try:
        with writing(engine) as session:
            component = table("component").c.number
            if session.connection().execute(select(component).where(component == number)).first() is None:
                raise UnknownComponent(number)
            store.lock_stock(session)
            row = _require_as_read(store.stock_row(session, number), if_match)
            row = row or ShopStockRow(component=number, quantity=0, version=0)
            row.quantity, row.place, row.version = quantity, place, row.version + 1
            session.add(row)
            store.touch_stock(session)
            session.flush()
            return _facts(row)
    except IntegrityError as error:
        raise PreconditionFailed("The catalogue changed at the same time; read it again") from error


def empty(engine: Engine, number: str, if_match: str | None) -> None:
    """The number has no place in the store any more.

    Raises NotInStore, PreconditionRequired, PreconditionFailed.
    """
    with writing(engine) as session:
        store.lock_stock(session)
        row = store.stock_row(session, number)
        if row is None:
            raise NotInStore(number)
        _require_as_read(row, if_match)
        session.delete(row)
        store.touch_stock(session)


def _require_as_read(row: ShopStockRow | None, if_match: str | None) -> ShopStockRow | None:
    if if_match is None:
        if row is not None:
            raise PreconditionRequired("It lies there already; send If-Match with the ETag that you read")
    else:
        require_match(if_match, None if row is None else stock_etag(_facts(row)), "it")
    return row
