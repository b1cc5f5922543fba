"""Single cells of a flat list: money, counts, days. Each says in how many ways it can be read. Pure."""

import calendar
import re
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from graftbook.catalogue.format.names import plain_text

SIGNS = {"£": "GBP", "€": "EUR"}
"""Signs that stand for one currency; others, `$` among them, stand for several."""

_MONEY = re.compile(
    r"(?P<before>[^\W\d_]{3}|[^\w\s.,'-])?\s*(?P<number>\d[\d.,' ]*)(?:,-|\.-)?\s*"
    r"(?P<after>[^\W\d_]{3}|[^\w\s.,'-])?"
)
_AS = {
    "point": re.compile(r"(\d{1,3}(?:[,' ]\d{3})+|\d+)(?:\.(\d{1,4}))?"),
    "comma": re.compile(r"(\d{1,3}(?:[.' ]\d{3})+|\d+)(?:,(\d{1,4}))?"),
}
_COUNT = re.compile(
    r"(?P<count>\d{1,6})(?:[.,]0+)?\s*(?:x|off|pcs?|pieces?|ea|each|days?)?\.?", re.IGNORECASE
)
_ISO = re.compile(r"(\d{4})-(\d{1,2})(?:-(\d{1,2}))?")
_DAY = re.compile(r"(\d{1,2})([./])(\d{1,2})\2(\d{4})")
_MONTH = re.compile(r"(\d{1,2})[./](\d{4})")
_NAMED = re.compile(r"(?:(\d{1,2})\.? )?([a-z]{3,9})\.? (\d{4})")
_MONTHS = {name.lower(): n for n, name in enumerate(calendar.month_name) if name}


@dataclass(frozen=True, slots=True)
class Sum:
    """A sum of money as it may be meant: style of the decimal mark → amount; `sign`: of its currency.

    `finer`: it can also be read as an amount that is finer than two decimals.
    """

    ways: dict[str, Decimal]
    sign: str
    finer: bool

    @property
    def doubtful(self) -> bool:
        """Whether it can be read as two amounts."""
        return self.finer or len(set(self.ways.values())) > 1


def money_in(text: str) -> Sum | None:
    """A sum of money; None when the text is none, or is finer than two decimals in every reading."""
    match = _MONEY.fullmatch(plain_text(text).replace("\u00a0", " ").strip())
    if not match or (match["before"] and match["after"]):
        return None
    ways: dict[str, Decimal] = {}
    finer = False
    for style, pattern in _AS.items():
        if found := pattern.fullmatch(match["number"].strip()):
            whole = re.sub(r"\D", "", found[1])
            amount = Decimal(f"{whole}.{found[2] or 0}")
            finer |= amount != round(amount, 2)
            if len(whole) <= 10 and amount == round(amount, 2):
                ways[style] = amount.quantize(Decimal("0.01"))
    return Sum(ways, match["before"] or match["after"] or "", finer) if ways else None


def count_in(text: str) -> int | None:
    """A whole number of pieces or days; None when the text is none."""
    match = _COUNT.fullmatch(plain_text(text).strip())
    return int(match["count"]) if match else None


@dataclass(frozen=True, slots=True)
class Days:
    """A day, month or year, from its first day to its last."""

    first: date
    last: date


def days_in(text: str, day_first: bool | None) -> list[Days]:
    """The ways in which a day, a month or a year can be read; none: it is none of these.

    A year alone (`1968`) is not read here, since it may be a chassis number. With `day_first` given a day
    with strokes is read in one way; with points it is always the day that comes first.
    """
    plain = " ".join(plain_text(text).casefold().split())
    if found := _ISO.fullmatch(plain):
        return _period(int(found[1]), int(found[2]), int(found[3] or 0))
    if found := _DAY.fullmatch(plain):
        one, other, year = int(found[1]), int(found[3]), int(found[4])
        read = [_period(year, other, one), _period(year, one, other)]
        if found[2] == "." or day_first:
            return read[0]
        both = read[1] if day_first is False else read[0] + read[1]
        return list(dict.fromkeys(both))
    if found := _MONTH.fullmatch(plain):
        return _period(int(found[2]), int(found[1]), 0)
    if (found := _NAMED.fullmatch(plain)) and (month := _month_called(found[2])):
        return _period(int(found[3]), month, int(found[1] or 0))
    return []


def year_in(text: str) -> Days | None:
    """A year of four digits in which vehicles may have been built."""
    plain = plain_text(text).strip()
    if re.fullmatch(r"(18[89]|19\d|20\d)\d", plain, re.ASCII):
        return Days(date(int(plain), 1, 1), date(int(plain), 12, 31))
    return None


def _month_called(word: str) -> int:
    found = [number for name, number in _MONTHS.items() if name.startswith(word)]
    return found[0] if len(found) == 1 else 0


def _period(year: int, month: int, day: int) -> list[Days]:
    """One day, or the whole month for day 0; nothing for what is in no calendar."""
    try:
        if day:
            return [Days(date(year, month, day), date(year, month, day))]
        return [Days(date(year, month, 1), date(year, month, calendar.monthrange(year, month)[1]))]
    except ValueError:
        return []
