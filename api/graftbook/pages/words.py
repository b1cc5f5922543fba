"""How values stand on a page: money, time, days; the words of grades and efforts."""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from decimal import Decimal
from typing import Any

from markupsafe import Markup, escape

from graftbook.http.values import MONTHS, day_in_words, said_once
from graftbook.http.values import capital as begun
from graftbook.problems import Problem
from graftbook.questions.schemas import DIFFERENCES, PREFERRED

NO_BREAK = "\u00a0"
MINUS = "\u2212"
_TYPED = re.compile("`([^`]+)`")
SIDES = frozenset(("left", "right"))
SIDE = re.compile(r"\b(left|right)\b")
_AT_THE_END = re.compile(r"[0-9]*$")
_WORD = re.compile(r"\w+|\W+")


def money(amount: str | None, unknown: str = "price unknown") -> str:
    """`1234.50` as `1,234.50`."""
    if amount is None:
        return unknown
    value = Decimal(amount)
    return f"{value:,.2f}".replace("-", MINUS)


def signed(amount: str | int | float | None) -> str:
    """A difference with its sign: `+62.00`, `−12`."""
    if amount is None:
        return ""
    text = f"{Decimal(amount):+,.2f}" if isinstance(amount, str) else f"{amount:+,}"
    return text.replace("-", MINUS)


def hours(minutes: int) -> str:
    """`580` as `9 h 40 min`."""
    whole, rest = divmod(abs(minutes), 60)
    words = [f"{whole}{NO_BREAK}h"] if whole else []
    words += [f"{rest}{NO_BREAK}min"] if rest or not whole else []
    return (MINUS if minutes < 0 else "") + " ".join(words)


def more_hours(minutes: int | None) -> str:
    """A difference of work with its sign: `+40 min`, `−1 h`."""
    if minutes is None:
        return ""
    return ("+" if minutes > 0 else "") + hours(minutes)


def coded(text: str) -> Markup:
    """Words to be typed as they stand, which the text puts in backticks, as code."""
    return Markup(_TYPED.sub(r"<code>\1</code>", str(escape(text))))


def day(value: str | date) -> str:
    """`1968-03-01` as `1 March 1968`."""
    known = date.fromisoformat(value) if isinstance(value, str) else value
    return day_in_words(known).replace(" ", NO_BREAK, 1)


def month(value: str | date) -> str:
    """`1968-03-01` as `March 1968`."""
    known = date.fromisoformat(value) if isinstance(value, str) else value
    return f"{MONTHS[known.month - 1]} {known.year}"


def figure(value: float | None) -> str:
    """A figure of the arithmetic with three digits that count."""
    if value is None:
        return "not known"
    if value == 0 or abs(value) >= 1000:
        return f"{value:,.0f}".replace("-", MINUS)
    return f"{value:.3g}".replace("-", MINUS)


def counted(number: int, one: str, many: str = "") -> str:
    """`1 change`, `2,000 changes`."""
    return f"{number:,}{NO_BREAK}{one if number == 1 else many or one + 's'}"


def capital(text: str) -> str:
    """A sentence as it is printed: its first letter large, signs as `printed` has them."""
    return printed(begun(text))


def printed(text: str) -> str:
    """Arrow, square and degrees as their own characters."""
    return text.replace(" -> ", " → ").replace("m/s2", "m/s²").replace(" degC", " °C")


def without_side(text: str) -> str:
    """A name or a title as both sides of a pair have it."""
    return SIDE.sub("", text) if "left" in text or "right" in text else text


def both_sides(titles: Sequence[str]) -> str:
    """`front hub, left` and `front hub, right` as `front hub, both sides`; other titles one by one."""
    words = [_WORD.findall(title) for title in titles] if len(titles) > 1 else []
    if len({len(side) for side in words}) == 1:
        columns = [set(column) for column in zip(*words, strict=True)]
        if all(len(column) == 1 or column == SIDES for column in columns):
            return "".join("both sides" if len(column) > 1 else next(iter(column)) for column in columns)
    return "; ".join(titles)


def paired(rows: Iterable[Mapping[str, Any]], *said: str) -> list[list[Mapping[str, Any]]]:
    """Rows that say the same in these members but for left and right, together; in their order."""
    together: dict[tuple[Any, ...], list[Mapping[str, Any]]] = {}
    for row in rows:
        words = (row[name] for name in said)
        key = tuple(without_side(word) if isinstance(word, str) else word for word in words)
        together.setdefault(key, []).append(row)
    return list(together.values())


def boxes(flaws: Iterable[Mapping[str, Any]], ticked: Sequence[str]) -> list[list[Mapping[str, Any]]]:
    """Flaws, a tick box each: what a pair has on both sides is one, unless one side alone is ticked."""
    found: list[list[Mapping[str, Any]]] = []
    for alike in paired(flaws, "symptom", "severity", "remedies"):
        together = len({row["flaw"] in ticked for row in alike}) == 1
        found += [alike] if together else [[row] for row in alike]
    return found


def once(words: Iterable[str | None]) -> list[str]:
    """Each word once, in their order; none that is not there."""
    return list(dict.fromkeys(word for word in words if word))


def said(rows: Iterable[Mapping[str, Any]], name: str, between: str = ", ") -> str:
    """What rows say in a member, each once."""
    return between.join(once(row[name] for row in rows))


def half_typed(typed: str, chassis: str) -> bool:
    """Whether a number with a nought in front was typed with fewer digits than the house writes: it may be
    the beginning of another vehicle's."""
    digits = _AT_THE_END.findall(typed.strip())[0]
    return digits.startswith("0") and len(digits) < len(chassis.rpartition("-")[2])


def price_of_all(prices: Iterable[str | None]) -> str | None:
    """The price of all; unknown where one is."""
    known = list(prices)
    return None if None in known else str(sum((Decimal(p) for p in known if p), Decimal()))


def called_field(pointer: str) -> str:
    """`/events/0/work/minutes` as "minutes", as whoever fills a form knows it."""
    parts = [part for part in pointer.split("/") if not part.isdigit()]
    return parts[-1].replace("_", " ") if parts else ""


def told_of(problem: Problem) -> str:
    """What is wrong, for a form: each field by its name and not by its place in a body, each thing once."""
    wrong = [(called_field(one["pointer"]), one["message"]) for one in problem.fields.get("errors", ())]
    wrong += [(one["field"] or "", one["message"]) for one in problem.fields.get("mistakes", ())]
    if not wrong:
        return problem.detail or problem.title
    sentences = (f"{begun(field)}: {message}" if field else message for field, message in wrong)
    return " ".join(s if s.endswith((".", "?", "!")) else f"{s}." for s in dict.fromkeys(sentences))


VERDICTS = {
    "holds": "good",
    "caution": "care",
    "fails": "bad",
    "not determined": "open",
}
"""The style of a verdict; the word itself always stands beside it."""

SEVERITIES = ("dangerous", "severe", "moderate", "minor")
EFFORTS = ("direct", "with companions", "machining", "cutting")
EFFORT_WORDS = {
    "direct": "goes straight on",
    "with companions": "fits with its companions",
    "machining": "needs machining",
    "cutting": "needs cutting or welding",
}
RULES = {
    "in service": "Judged as a vehicle in service.",
    "type approval": "Judged by the rules of type approval too.",
}
"""Which rules bind, as the API calls them → what a page says where somebody chose."""

SUMS = {
    "price": "Parts",
    "labour": "Labour",
    "changes": "Changes",
    "visible": "Show",
    "irreversible": "Cut or welded",
    "machined": "Machined",
    "flaws": "Flaws left, by weight",
    "unconfirmed": "Unconfirmed claims",
}
"""The sums of a set as two answers lay them side by side."""

FILTERS: dict[str, Any] = {
    "both_sides": both_sides,
    "boxes": boxes,
    "coded": coded,
    "hours": hours,
    "more_hours": more_hours,
    "once": once,
    "paired": paired,
    "price_of_all": price_of_all,
    "said": said,
    "said_once": said_once,
    "told_of": told_of,
}
GLOBALS: dict[str, Any] = {
    "half_typed": half_typed,
    "VERDICTS": VERDICTS,
    "SEVERITIES": SEVERITIES,
    "EFFORTS": EFFORTS,
    "EFFORT_WORDS": EFFORT_WORDS,
    "CRITERIA": PREFERRED,
    "RULES": RULES,
    "DIFFERENCES": DIFFERENCES,
    "SUMS": SUMS,
}
