"""What people write in a cell, as the format has it: days, numbers, money, yes and no, measures.

What can be read in one way only is taken, and said (`Reading.assume`); what can be read in two ways raises
Unclear, whose message names the option that settles it. What cannot be read at all is left as it is, for the
record's own class to refuse.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date

from graftbook.catalogue.format.grid import Place
from graftbook.catalogue.format.reading import SheetReading, long_day

_ISO = re.compile(r"^\d{4}-\d{2}-\d{2}$")
_WITH_MIDNIGHT = re.compile(r"^(\d{4}-\d{2}-\d{2})[T ]00:00(?::00(?:\.0+)?)?Z?$")
_YEAR_FIRST = re.compile(r"^(\d{4})[./-](\d{1,2})[./-](\d{1,2})$")
_NUMBERS = re.compile(r"^(\d{1,2})([./-]) ?(\d{1,2})[./-] ?(\d{4}|\d{2})$")
_DAY_MONTH = re.compile(r"^(\d{1,2})(?:st|nd|rd|th)?[ .-]+([A-Za-z]{3,9})\.?[ ,-]+(\d{4}|\d{2})$")
_MONTH_DAY = re.compile(r"^([A-Za-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4}|\d{2})$")
_MONTHS = (
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
    "november", "december",
)  # fmt: skip

_PLAIN = re.compile(r"^[+-]?\d+(\.\d+)?$", re.ASCII)
_SPACES = " \u00a0\u2009\u202f'\u2019"
_NUMBER = re.compile(rf"[+-]?\d[\d.,{_SPACES}]*", re.ASCII)
_IN_MEASURE = re.compile(r"(?<![\w.,])\d[\d.]*,[\d.,]*\d(?![\d.,])", re.ASCII)
_THOUSANDS = re.compile(r"(?<![\w.,])\d{1,3}(?:['\u2019]\d{3})+(?!\d)", re.ASCII)
_GROUPED = re.compile(rf"^[+-]?\d{{1,3}}(?:([.,{_SPACES}])\d{{3}})(?:\1\d{{3}})*$", re.ASCII)
_SIGNS: Mapping[str, tuple[str, ...]] = {
    "£": ("GBP", "EGP", "FKP", "GIP", "SHP"),
    "€": ("EUR",),
    "$": ("USD", "AUD", "CAD", "NZD", "HKD", "SGD", "MXN"),
    "¥": ("JPY", "CNY"),
    "kr": ("SEK", "NOK", "DKK", "ISK"),
    "zł": ("PLN",),
    "Kč": ("CZK",),
    "Fr.": ("CHF",),
}
_MONEY = re.compile(
    rf"^(?P<front>[A-Z]{{3}}|{'|'.join(map(re.escape, _SIGNS))})?\s*(?P<number>[+-]?\d.*?)(?:[.,][-–—])?"
    rf"\s*(?P<back>[A-Z]{{3}}|{'|'.join(map(re.escape, _SIGNS))})?$"
)
_YES_NO = {"true": "yes", "false": "no", "y": "yes", "n": "no"}


class Unclear(ValueError):
    """The text can be read in two ways, or holds what would be lost; the message says what settles it."""


_CHASSIS = re.compile(r"([A-Za-z0-9]{1,8})\s*[-/_\s]\s*([0-9]{1,9})", re.ASCII)


def is_day(text: str) -> bool:
    """Whether a text is written as the format writes a day."""
    return _ISO.match(text) is not None


def day(text: str, reading: SheetReading, place: Place) -> str:
    """A day as `1964-03-02`: `2.3.1964`, `31/12/1964`, `2 March 1964`, `1964-03-02 00:00:00`."""
    if _ISO.match(text):
        return text
    if found := _WITH_MIDNIGHT.match(text):
        return found[1]
    if found := _YEAR_FIRST.match(text):
        return _day(text, int(found[1]), int(found[2]), int(found[3]), reading, place)
    if found := _NUMBERS.match(text):
        return _of_numbers(text, found, reading, place)
    if found := _DAY_MONTH.match(text):
        month, first, year = found[2], found[1], found[3]
    elif found := _MONTH_DAY.match(text):
        month, first, year = found[1], found[2], found[3]
    else:
        return text
    months = [n for n, name in enumerate(_MONTHS, start=1) if name.startswith(month.lower())]
    if len(months) != 1:
        return text
    return _day(text, _year(text, year), months[0], int(first), reading, place)


def _of_numbers(text: str, found: re.Match[str], reading: SheetReading, place: Place) -> str:
    first, second, year = int(found[1]), int(found[3]), _year(text, found[4])
    if found[2] == ".":
        if first <= 12 and reading.dates == "month-first":
            raise Unclear(f"'{text}' has points, which stand behind the day: write it as 1964-03-02")
        return _day(text, year, second, first, reading, place)
    if first == second or reading.dates == "day-first" or first > 12:
        return _day(text, year, second, first, reading, place)
    if reading.dates == "month-first" or second > 12:
        return _day(text, year, first, second, reading, place)
    one, other = date(year, second, first), date(year, first, second)
    raise Unclear(
        f"'{text}' is {long_day(one)} or {long_day(other)}: say which with the option `dates`, "
        "day-first or month-first"
    )


def _year(text: str, year: str) -> int:
    if len(year) == 2:
        raise Unclear(f"'{text}' does not say the century; write the year with four digits")
    return int(year)


def _day(text: str, year: int, month: int, day_: int, reading: SheetReading, place: Place) -> str:
    try:
        found = date(year, month, day_)
    except ValueError:
        return text
    reading.assume("read as a day", place, f"'{text}' is {long_day(found)}")
    return found.isoformat()


def number(text: str, reading: SheetReading, place: Place, *, places: int = 9) -> str:
    """A number with a point and no thousands: `80,00`, `1.234,50`. It may have so many decimal `places`."""
    if _PLAIN.match(text) and not (reading.decimals == "comma" and "." in text):
        if places < 3 and not reading.decimals and _GROUPED.match(text) and not text.startswith("0"):
            raise _either(text)
        return _whole(text) if not places else text
    if not _NUMBER.fullmatch(text):
        return text
    digits = _without_spaces(text)
    mark = _mark_of(digits, reading)
    if mark is None:
        raise _either(text)
    whole, _, behind = digits.rpartition(mark) if mark in digits else (digits, "", "")
    thousands = "," if mark == "." else "."
    if (
        not digits
        or mark in whole
        or thousands in behind
        or (thousands in whole and not _GROUPED.match(whole))
    ):
        if reading.decimals:
            raise Unclear(f"'{text}' is no number with a decimal {reading.decimals}, as the option says")
        return text
    found = whole.replace(thousands, "") + (f".{behind}" if behind else "")
    if mark == "," and behind:
        reading.assume("a comma is the decimal comma", place, f"'{text}' is {found}")
    else:
        reading.assume("what stands between thousands is left out", place, f"'{text}' is {found}")
    return _whole(found) if not places else found


def number_typed(text: str) -> str:
    """The number that somebody typed into a field: `500,50` is 500.50. What is none, or can be read in two
    ways, stays as it is, to be refused."""
    try:
        return number(text.strip(), SheetReading(), Place("field", 0))
    except Unclear:
        return text.strip()


def _whole(text: str) -> str:
    """`12.0`, as programs write a whole number, is 12."""
    head, _, behind = text.partition(".")
    return head if not behind.strip("0") else text


def _without_spaces(text: str) -> str:
    """The number without spaces between its thousands; spaces elsewhere stay, and make it no number."""
    head = re.match(rf"^[+-]?\d{{1,3}}(?:[{_SPACES}]\d{{3}})+(?!\d)", text, re.ASCII)
    if head is None:
        return "" if any(space in text for space in _SPACES) else text
    return "".join(c for c in head[0] if c not in _SPACES) + text[head.end() :]


def _mark_of(digits: str, reading: SheetReading) -> str | None:
    """The decimal mark of a number; None where it may be either."""
    if reading.decimals:
        return "," if reading.decimals == "comma" else "."
    if "," in digits and "." in digits:
        return max(",.", key=digits.rfind)
    mark = "," if "," in digits else "."
    if digits.count(mark) > 1:
        return "." if mark == "," else ","
    if _GROUPED.match(digits) and not digits.lstrip("+-").startswith("0"):
        return None
    return mark


def _either(text: str) -> Unclear:
    plain = re.sub("[,.]", "", text)
    small = text.replace(",", ".")
    return Unclear(
        f"'{text}' is {plain} or {small}: say which with the option `decimals`, point or comma, or write it"
        " without thousands"
    )


def money(text: str, reading: SheetReading, place: Place, currency: str = "") -> str:
    """A sum: `£120`, `1.234,50 €`, `EUR 24.50`. Its sign must mean `currency`, else the catalogue's."""
    if _PLAIN.match(text):
        return number(text, reading, place, places=2)
    found = _MONEY.match(text)
    if not found or (found["front"] and found["back"]):
        return number(text, reading, place, places=2)
    sign, expected = found["front"] or found["back"] or "", currency or reading.currency
    if sign:
        if expected not in _SIGNS.get(sign, (sign,)):
            whose = "the row's currency" if currency else "the catalogue's currency"
            raise Unclear(
                f"'{text}' is not in {expected or 'a currency that is known'}, {whose}; write the sum in it"
                " (an offer names another in its column `currency`)"
            )
        if sign != expected:
            reading.assume(f"{sign} is {expected}", place, f"'{text}'")
    return number(found["number"].strip(), reading, place, places=2)


def measure(text: str, reading: SheetReading, place: Place) -> str:
    """A figure with its unit, decimal commas made points: `1,5 in`, `4,5 .. 6 in`, `1'050 mm`."""
    if found := _THOUSANDS.search(text):
        text = _THOUSANDS.sub(lambda one: re.sub("['\u2019]", "", one[0]), text)
        reading.assume("what stands between thousands is left out", place, f"'{found[0]}'")
    if "," not in text:
        if reading.decimals == "comma" and re.match(r"[+-]?\d+\.\d", text):
            raise Unclear(f"'{text}' has a point, but the option `decimals` says comma")
        return text
    return _IN_MEASURE.sub(lambda found: number(found[0], reading, place), text)


def chassis(text: str, reading: SheetReading, place: Place) -> str:
    """A chassis number with a dash between its halves: `28/0001`, `28 0001`, `28-0001`."""
    found = _CHASSIS.fullmatch(text)
    if found is None:
        return text
    meant = f"{found[1].upper()}-{found[2]}"
    if meant != text:
        reading.assume("a chassis number has capitals and a dash", place, f"'{text}' is {meant}")
    return meant


def word(text: str, words: Sequence[str], reading: SheetReading, place: Place) -> str:
    """One of the words that may stand here, whatever its capitals and dashes: `Later model`."""
    meant = [one for one in words if _bare(one) == _bare(text)]
    if text in words or len(meant) != 1:
        return text
    reading.assume("capitals and dashes do not matter", place, f"'{text}' is {meant[0]}")
    return meant[0]


def _bare(text: str) -> str:
    return re.sub(r"[\s_-]+", " ", text.strip()).lower()


def yes_no(text: str, reading: SheetReading, place: Place) -> str:
    """`yes` or `no`, also from `TRUE`, `n`."""
    word = _YES_NO.get(text.lower())
    if word is None:
        return text
    reading.assume("true and false are yes and no", place, f"'{text}' is {word}")
    return word
