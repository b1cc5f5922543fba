"""Text, money and dates as papers show them."""

import re
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

Facts = Mapping[str, Any]
"""A part of an order, as `parts.part_of` cuts it out, or one item of it."""

REPLACEMENT = "\N{REPLACEMENT CHARACTER}"
UNKNOWN_PRICE = "not known"

_BLANK = re.compile(r"[\t\n\v\f\r\x85\u2028\u2029]+")
_NOT_FOR_PAPER = re.compile(
    r"[\x00-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)
"""Controls, lone surrogates, what is no character, and the marks that turn the order of letters round:
with those a number could read otherwise than it is."""


def plain(value: Any) -> str:
    """A value as one line of text: line ends and tabs become a blank, other controls are shown as �."""
    if value is None:
        return ""
    return _NOT_FOR_PAPER.sub(REPLACEMENT, _BLANK.sub(" ", str(value)))


def in_order(place: str) -> list[str | int]:
    """What sorts places as one walks past them: drawer 2 before drawer 14."""
    return [int(part) if at % 2 else part for at, part in enumerate(re.split(r"(\d{1,9})", place))]


def amount(value: Any) -> Decimal | None:
    """Money or another decimal of the facts; None when it is not known."""
    if value is None or value == "":
        return None
    try:
        return Decimal(str(value))
    except InvalidOperation as wrong:
        raise ValueError(f"{value!r} is not a decimal number") from wrong


def shown(value: Any) -> str:
    """Money with its thousands apart, as many places as the facts give: "1486.20" is "1,486.20"."""
    number = amount(value)
    return UNKNOWN_PRICE if number is None else f"{number:,f}"


def day_of(value: Any) -> date | None:
    """A date of the facts, given as a date or in the form 2026-11-25; None when there is none."""
    if not value:
        return None
    return value if isinstance(value, date) else date.fromisoformat(str(value)[:10])


def percent(value: Any) -> str:
    """A rate without the zeros that say nothing: "20.00" is "20 %"; nothing when it is not known."""
    number = amount(value)
    if number is None:
        return ""
    text = f"{number:f}"
    return f"{text.rstrip('0').rstrip('.') if '.' in text else text} %"


def listed(values: Iterable[Any], between: str = ", ") -> str:
    """Several values in one line, empty ones left out."""
    return between.join(text for text in map(plain, values) if text)


def went_before(line: Facts) -> list[str]:
    """The old numbers behind the number ordered, oldest first, each once."""
    older = [*line.get("asked_numbers", ()), *line.get("chain", ())]
    return [number for number in dict.fromkeys(map(plain, older)) if number != plain(line["number"])]


def goes_to(line: Facts, name_vehicles: bool) -> list[str]:
    """Where the pieces of a line go, a sentence a vehicle; the vehicle is named when there are several."""
    found = []
    for place in line.get("for", ()):
        where = listed(place.get("positions", ()), "; ")
        pieces = f"{place['quantity']} pieces" if place.get("quantity", 1) != 1 else "1 piece"
        vehicle = plain(place.get("vehicle")) if name_vehicles else ""
        found.append(": ".join(part for part in (vehicle, where or pieces) if part))
        if where and place.get("quantity", 1) != len(place.get("positions", ())):
            found[-1] += f" ({pieces})"
    return found


def side(line: Facts) -> str:
    """The hand of a part, and whether it is one of a pair."""
    hand = f"{plain(line['hand'])}-hand" if line.get("hand") else ""
    return listed((hand, "one of a pair" if line.get("pair") else ""))


def dangers(line: Facts) -> list[str]:
    """What can hurt someone: the hazard first, then the cautions."""
    hazard = [f"Hazard: {plain(line['hazard'])}"] if line.get("hazard") else []
    return [*hazard, *(f"Caution: {plain(caution)}" for caution in line.get("cautions", ()))]


def came(line: Facts) -> str:
    """How far a line of a kept list has come, in pieces; empty before anything was booked."""
    received, too_many = line.get("received") or 0, line.get("too_many") or 0
    later, never = line.get("back_ordered") or 0, line.get("given_up") or 0
    if not (received or later or never):
        return ""
    counts = [
        f"Came: {received} of {line['pieces']}",
        f"{too_many} too many" if too_many else "",
        f"{later} promised for later" if later else "",
        f"{never} will not come" if never else "",
    ]
    return listed(counts)


def bought_only(facts: Facts) -> str:
    """What a sum is called that leaves out lines that are not bought."""
    needed = facts["lines_needed"]
    return f"For {needed - facts['not_bought']} of {needed} {'line' if needed == 1 else 'lines'}"


def hours(minutes: int) -> str:
    """Minutes as hours and minutes: 95 is "1 h 35 min"."""
    full, left = divmod(minutes, 60)
    return listed((f"{full} h" if full else "", f"{left} min" if left or not full else ""), " ")
