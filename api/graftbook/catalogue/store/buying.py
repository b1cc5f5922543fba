"""Records about buying as rows of their tables, and back."""

from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from sqlalchemy import Connection

from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.money import minor_units, money
from graftbook.catalogue.format.names import exchange_rate_name, offer_name
from graftbook.catalogue.store.tables_beside import RATE_PLACES, TAX_PLACES

_Row = dict[str, Any]


def _supplier(record: r.SupplierRecord) -> _Row:
    free_from = record.carriage_free_from
    return record.model_dump() | {
        "carriage": minor_units(record.carriage),
        "carriage_free_from": None if free_from is None else minor_units(free_from),
        "least_order": minor_units(record.least_order),
    }


def _offer(record: r.OfferRecord) -> _Row:
    name = record.name or offer_name(record.supplier, record.component, record.valid_from)
    prices = {"price": minor_units(record.price), "deposit": minor_units(record.deposit)}
    return record.model_dump() | prices | {"name": name}


def _tax(record: r.TaxRecord) -> _Row:
    return record.model_dump() | {
        "section": record.section or None,
        "rate": int(record.rate.scaleb(TAX_PLACES)),
    }


def _exchange_rate(record: r.ExchangeRateRecord) -> _Row:
    name = exchange_rate_name(record.currency, record.valid_from)
    return record.model_dump() | {"name": name, "rate": int(record.rate.scaleb(RATE_PLACES))}


TO_ROW: dict[str, Callable[[Any], _Row]] = {
    "supplier": _supplier,
    "offer": _offer,
    "tax": _tax,
    "exchange_rate": _exchange_rate,
}


def _written_supplier(row: Any) -> _Row:
    free_from = row.carriage_free_from
    return {
        "carriage": money(row.carriage),
        "carriage_free_from": None if free_from is None else money(free_from),
        "least_order": money(row.least_order),
    }


def _written_offer(row: Any) -> _Row:
    own = row.name != offer_name(row.supplier, row.component, row.valid_from)
    return {"name": row.name if own else "", "price": money(row.price), "deposit": money(row.deposit)}


def _written_tax(row: Any) -> _Row:
    return {"section": row.section or "", "rate": _plain(Decimal(row.rate).scaleb(-TAX_PLACES))}


def _written_rate(row: Any) -> _Row:
    return {"rate": _plain(Decimal(row.rate).scaleb(-RATE_PLACES))}


def _plain(rate: Decimal) -> Decimal:
    """A rate without noughts at its end: 20, not 20.0000 and not 2E+1."""
    return rate.quantize(Decimal(1)) if rate == rate.to_integral() else rate.normalize()


def _maker(written: Callable[[Any], _Row]) -> Callable[[Connection, list[Any]], Iterator[_Row]]:
    def make(_connection: Connection, batch: list[Any]) -> Iterator[_Row]:
        for row in batch:
            yield dict(row._mapping) | written(row)

    return make


TO_RECORD: dict[str, Callable[[Connection, list[Any]], Iterator[_Row]]] = {
    "supplier": _maker(_written_supplier),
    "offer": _maker(_written_offer),
    "tax": _maker(_written_tax),
    "exchange_rate": _maker(_written_rate),
}
