"""Stable names: how each kind of record is called, numbers as people type them, members that stand once."""

import re
import unicodedata
from collections.abc import Sequence
from datetime import date
from typing import Any

from graftbook.catalogue.format import records as r
from graftbook.problems import printable

_NOT_IN_A_NUMBER = re.compile(r"[\s.\-_/]+")
END = "\U0010ffff"
"""Behind whatever a text may go on with: what begins with it lies between it and it with this."""
_DASHES = re.compile("[\u2010-\u2015\u2212\u2e3a\u2e3b\ufe58\ufe63\u30fc]")
_DIGITS = re.compile(r"\d+")
_WORD = re.compile(r"[^\W_]+")


def without_accents(text: str) -> str:
    """A text with the plain letter for each that bears an accent or two dots."""
    return "".join(sign for sign in unicodedata.normalize("NFKD", text) if not unicodedata.combining(sign))


def plain_text(text: str) -> str:
    """A text as a keyboard would have typed it: every kind of dash and minus is `-`, full-width letters and
    digits are plain (NFKC), and marks that nobody sees (zero width, writing direction) are gone.
    """
    if text.isascii():
        return text
    dashed = _DASHES.sub("-", unicodedata.normalize("NFKC", text))
    return "".join(letter for letter in dashed if unicodedata.category(letter) != "Cf")


def as_typed(number: str) -> str:
    """A part number without what people leave out or add: case, spaces, dashes, dots, strokes."""
    return _NOT_IN_A_NUMBER.sub("", plain_text(number)).upper()


def as_called(name: str) -> str:
    """A name that is no number, without what people leave out or add: case, dashes, underscores."""
    return " ".join(plain_text(name).replace("_", " ").replace("-", " ").lower().split())


def sort_key(number: str) -> str:
    """A key by which "9" stands before "10" and case does not count, alike on every engine."""
    return _DIGITS.sub(lambda digits: digits.group().zfill(10), number.upper())[:400]


def words_of(*texts: str) -> set[str]:
    """The distinct words of some texts in small letters, each at most 60 letters long."""
    return {word[:60] for text in texts for word in _WORD.findall(text.lower())}


def fitment_name(component: str, position: str) -> str:
    """What a fitment without a name of its own is called."""
    return f"{component}@{position}"


def substitute_name(original: str, component: str) -> str:
    """What a substitute without a name of its own is called."""
    return f"{original}>{component}"


def supersession_name(old: str, new: str) -> str:
    """What a supersession without a name of its own is called."""
    return f"{old}>>{new}"


def characteristic_name(component: str, variant: str, kind: str) -> str:
    """What a characteristic is called: it has no column for a name."""
    return f"{component}:{kind}" if component else f"variant {variant}:{kind}"


def offer_name(supplier: str, component: str, valid_from: date | None) -> str:
    """What an offer without a name of its own is called."""
    return f"{supplier}:{component}" + (f"@{valid_from}" if valid_from else "")


def exchange_rate_name(currency: str, valid_from: date) -> str:
    """What an exchange rate is called: it has no column for a name."""
    return f"{currency}@{valid_from}"


def mark_name(position: str, view: str, range_: str) -> str:
    """What a mark is called: it has no column for a name."""
    return f"{position}@{view} of {range_}"


def report_name(record: r.ReportRecord) -> str:
    """What a report without a name of its own is called: a workshop tries a thing once a day on a vehicle."""
    tried = record.claim or fitment_name(record.component, record.position)
    return f"{record.workshop} {record.on} {record.chassis} {tried}"[:300]


def name_of(record: r.Record) -> str:
    """The stable name of a record, unique among the records of its kind (claims: among all claims)."""
    match record:
        case r.ComponentRecord():
            return record.number
        case r.OtherWordRecord():
            return record.said
        case r.ChassisSpanRecord():
            return f"{record.variant} {record.first}"
        case r.CharacteristicRecord():
            return characteristic_name(record.component, record.variant, record.kind)
        case r.FitmentRecord():
            return record.name or fitment_name(record.component, record.position)
        case r.SubstituteRecord():
            return record.name or substitute_name(record.original, record.component)
        case r.SupersessionRecord():
            return record.name or supersession_name(record.old, record.new)
        case r.ReportRecord():
            return record.name or report_name(record)
        case r.OfferRecord():
            return record.name or offer_name(record.supplier, record.component, record.valid_from)
        case r.MarkRecord():
            return mark_name(record.position, record.view, record.range)
        case r.ExchangeRateRecord():
            return exchange_rate_name(record.currency, record.valid_from)
    return str(vars(record)["name"])


class SaidTwice(ValueError):
    """A member stands twice in an object, so that the JSON can be read in two ways (RFC 8259, section 4)."""

    def __init__(self, name: str) -> None:
        super().__init__(f"'{printable(name)}' stands twice in one object; take one out")


def each_once(pairs: Sequence[tuple[str, Any]]) -> None:
    """The members of an object, as `json` hands them to its `object_pairs_hook`. Raises SaidTwice."""
    if len(dict(pairs)) < len(pairs):
        names = [name for name, _ in pairs]
        raise SaidTwice(next(name for at, name in enumerate(names) if name in names[:at]))
