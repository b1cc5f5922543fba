"""Dates and numbers as the reader's country writes them (CLDR's short forms, from memory; ISO 8601).

The words stay English, so a month is named in English wherever it is named. What somebody recorded stays as
it was recorded: a part's name, a measure, a remark.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from jinja2 import pass_context
from jinja2.runtime import Context

from graftbook.http.values import MONTHS
from graftbook.pages import words
from graftbook.pages.words import NO_BREAK

THIN = "\u202f"


class Country(StrEnum):
    """How a reader wants dates and numbers written."""

    british = "british"
    american = "american"
    german = "german"
    french = "french"
    swiss = "swiss"
    iso = "iso"


@dataclass(frozen=True, slots=True)
class _Way:
    """What stands between thousands and before decimals, and the forms of a day and of a month."""

    thousands: str
    point: str
    day: str = "{day} {name} {year}"
    month: str = "{name} {year}"


_WAYS = {
    Country.british: _Way(",", "."),
    Country.american: _Way(",", ".", "{name} {day}, {year}"),
    Country.german: _Way(".", ",", "{day}. {name} {year}"),
    Country.french: _Way(THIN, ","),
    Country.swiss: _Way("’", ".", "{day}. {name} {year}"),
    Country.iso: _Way(THIN, ".", "{year}-{month:02}-{day:02}", "{year}-{month:02}"),
}
_SHOWN = (date(1968, 3, 31), "1,234.50")
_NAMES = {
    Country.british: "British",
    Country.american: "American",
    Country.german: "German",
    Country.french: "French",
    Country.swiss: "Swiss",
    Country.iso: "ISO",
}

_NUMBER = re.compile(r"\d+(?:,\d{3})*(?:\.\d+)?")
_DAY = re.compile(rf"\b(\d{{1,2}})[ {NO_BREAK}]({'|'.join(MONTHS)}) (\d{{4}})\b")
_ISO_DAY = re.compile(r"“[^”]*”|(?<!\w)'[^']*'|(?<![\w-])(?P<day>\d{4}-\d\d-\d\d)(?![\w-])")
"""What is quoted, as it was typed; or a day by itself."""
_AMOUNT = re.compile(r"(?<![\w.,-])(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+\.\d\d(?= [A-Z]{3}\b))(?![\w,]|\.\d)")
"""In a sentence: what has its thousands parted, and what stands before a currency. Anything else may be a
number of a part or a measure."""


def day(value: str | date, country: Country) -> str:
    """`1968-03-01` as `1 March 1968`, `March 1, 1968`, `1968-03-01`."""
    known = date.fromisoformat(value) if isinstance(value, str) else value
    return _filled(_WAYS[country].day, known)


def short_day(value: str | date, country: Country) -> str:
    """A day in a column of a table, on one line: `1 Mar 1968`, `Mar 1, 1968`, `1968-03-01`."""
    known = date.fromisoformat(value) if isinstance(value, str) else value
    name = MONTHS[known.month - 1]
    return day(known, country).replace(name, name[:3]).replace(" ", NO_BREAK)


def month(value: str | date, country: Country) -> str:
    """`1968-03-01` as `March 1968`."""
    known = date.fromisoformat(value) if isinstance(value, str) else value
    return _filled(_WAYS[country].month, known)


def _filled(form: str, known: date) -> str:
    text = form.format(day=known.day, name=MONTHS[known.month - 1], month=known.month, year=known.year)
    return text.replace(" ", NO_BREAK, 1) if " " in text else text


def number(text: str, country: Country) -> str:
    """The numbers of a text, `1,234.50`, with the country's signs."""
    way = _WAYS[country]
    return _NUMBER.sub(lambda found: _signs(found.group(), way), text)


def _signs(written: str, way: _Way) -> str:
    whole, point, rest = written.partition(".")
    return whole.replace(",", way.thousands) + (way.point if point else "") + rest


def sentence(text: str, country: Country) -> str:
    """A sentence of an answer: its days and its sums of money; nothing else of it."""
    if country is Country.british:
        return text
    way = _WAYS[country]
    text = _AMOUNT.sub(lambda found: _signs(found.group(), way), text)
    return _DAY.sub(lambda found: _of_words(found, country), text)


def refusal(text: str, country: Country) -> str:
    """What is refused or asked: its days too that stand as `1968-03-01`, but for what is quoted."""
    return _ISO_DAY.sub(lambda found: _of_iso(found, country), sentence(text, country))


def _of_iso(found: re.Match[str], country: Country) -> str:
    try:
        return day(found["day"], country) if found["day"] else found.group()
    except ValueError:  # no such day
        return found.group()


def _of_words(found: re.Match[str], country: Country) -> str:
    try:
        return day(date(int(found[3]), MONTHS.index(found[2]) + 1, int(found[1])), country)
    except ValueError:  # no such day: somebody wrote it
        return found.group()


def converted(text: str, country: Country) -> str:
    """A measure as the reader's units tell it, `0.874 in (22.20 mm)`: what is in brackets was recorded."""
    figure, bracket, recorded = text.partition(" (")
    return number(figure, country) + bracket + recorded if bracket else text


COUNTRY_WORDS = {
    country: f"{_NAMES[country]}: {day(_SHOWN[0], country)}, {number(_SHOWN[1], country)}"
    for country in Country
}


def of(context: Context) -> Country:
    """What the page's reader chose."""
    found: Country = context.get("country", Country.british)
    return found


def _numbers(write: Callable[..., str]) -> Any:
    @pass_context
    def written(context: Context, *given: Any) -> str:
        return number(write(*given), of(context))

    return written


@pass_context
def _day(context: Context, value: str | date) -> str:
    return day(value, of(context))


@pass_context
def _short_day(context: Context, value: str | date) -> str:
    return short_day(value, of(context))


@pass_context
def _month(context: Context, value: str | date) -> str:
    return month(value, of(context))


@pass_context
def _capital(context: Context, text: str) -> str:
    return sentence(words.capital(text), of(context))


@pass_context
def _printed(context: Context, text: str) -> str:
    return sentence(words.printed(text), of(context))


@pass_context
def _refused(context: Context, text: str) -> str:
    return refusal(words.capital(text), of(context))


@pass_context
def _moment(context: Context, at: str) -> str:
    return f"{day(at[:10], of(context))} {at[11:16]}"


GLOBALS: dict[str, Any] = {"counted": _numbers(words.counted)}
FILTERS: dict[str, Any] = {
    "money": _numbers(words.money),
    "signed": _numbers(words.signed),
    "figure": _numbers(words.figure),
    "day": _day,
    "short_day": _short_day,
    "month": _month,
    "moment": _moment,
    "capital": _capital,
    "printed": _printed,
    "refused": _refused,
}
