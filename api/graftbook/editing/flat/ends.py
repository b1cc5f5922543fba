"""From and to of a row: chassis numbers, bare numbers, days; read by what the row fits. Pure."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any

from graftbook.catalogue.finding.numbers import LIKE_DIGITS
from graftbook.catalogue.store.lookup import readings
from graftbook.editing.flat.cells import Days, days_in, year_in
from graftbook.editing.flat.known import KnownRecords, Vehicles
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.parts import ListRow
from graftbook.editing.flat.questions import Asking

Condition = dict[str, Any]
ALONE = "numbers alone"
"""What is said for the prefix of chassis numbers that have none."""
NONE = ("none", "no fitment from this row")
WITHOUT = ("without", "no limit at this end")
MOST_OFFERED = 8


class Waits(Exception):
    """Something of the row is asked; nothing of it can be said until that is answered."""


class NoFitmentMade(Exception):
    """It was decided that no fitment is made of the row."""


@dataclass(frozen=True, slots=True)
class Chassis:
    """A chassis number with the spans of its prefix, and the variants that have them."""

    prefix: str
    serial: int


@dataclass(frozen=True, slots=True)
class Bare:
    """A number without a prefix."""

    serial: int


End = Chassis | Bare | Days | None


class RowEnds:
    """The conditions that from and to of one row make with the vehicles that it fits.

    `vehicles` None: the row does not say which. Raises Waits, NoFitment.
    """

    def __init__(
        self,
        asking: Asking,
        known: KnownRecords,
        mapping: FlatMapping,
        row: ListRow,
        vehicles: Vehicles | None,
    ) -> None:
        self.asking, self.known, self.mapping, self.row = asking, known, mapping, row
        self.vehicles = vehicles
        self.spans = known.spans

    def conditions(self) -> list[Condition]:
        """One condition, or one for each prefix that the numbers are meant for."""
        first, last = self._end("from"), self._end("to")
        if first is None and last is None:
            return [self._of_vehicles()]
        if isinstance(first, Chassis) and isinstance(last, Bare):
            last = Chassis(first.prefix, last.serial)
        if isinstance(last, Chassis) and isinstance(first, Bare):
            first = Chassis(last.prefix, first.serial)
        if isinstance(first, Bare) or isinstance(last, Bare):
            return [c for prefix in self._prefixes() for c in self._within(prefix, first, last)]
        prefixes = list(dict.fromkeys(end.prefix for end in (first, last) if isinstance(end, Chassis)))
        if len(prefixes) == 2:
            span = f"{self.row['from']} to {self.row['to']}"
            self._ask("end", span, f"The ends of {span} have different prefixes.", [NONE])
        if prefixes:
            return self._of_prefix(prefixes[0], first, last)
        return [self._of_vehicles() | self._span(first, last)]

    def _typed_span(self) -> str:
        """The ends that the row names, as it writes them."""
        return " to ".join(filter(None, (self.row["from"], self.row["to"])))

    def _of_vehicles(self) -> Condition:
        if self.vehicles is None:
            return {}
        return {
            column: values[0] if column == "steering" else list(values)
            for column, values in self.vehicles.condition
        }

    def _ask(
        self,
        kind: str,
        about: str,
        sentence: str,
        choices: list[tuple[str, str]],
        *,
        typed: str = "",
        reads: Callable[[str], bool] = lambda _: True,
        for_all: bool = False,
    ) -> str:
        """The answer. Raises Waits where there is none, NoFitment where it is that."""
        answer = self.asking.ask(kind, about, sentence, choices, typed=typed, reads=reads, for_all=for_all)
        if answer is None:
            raise Waits
        if answer == NONE[0]:
            raise NoFitmentMade
        return answer

    def _end(self, side: Any) -> End:
        text = self.row[side]
        if not text:
            return None
        if found := self._end_in(text, side):
            return found
        sentence = (
            f"“{text}” in the column {self.mapping.columns[side]} is no chassis number that the catalogue "
        )
        answer = self._ask(
            "end", f"{side} {text}", f"{sentence}knows, and no day.",
            [*self._with_digits(text), WITHOUT, NONE],
            typed="chassis", reads=lambda typed: bool(self._end_in(typed, side)), for_all=True,
        )  # fmt: skip
        return None if answer == WITHOUT[0] else self._end_in(answer, side)

    def _with_digits(self, text: str) -> list[tuple[str, str]]:
        """The chassis number that is meant where letters stand for digits that look like them."""
        before, sign, serial = text.rpartition("-")
        mended = before + sign + serial.upper().translate(LIKE_DIGITS)
        for prefix, number in readings(mended) if mended != text else ():
            if prefix in self.spans:
                written = self._number_of(Chassis(prefix, number))
                return [(written, f"{written}: a digit is meant, not the letter like it")]
        return []

    def _end_in(self, text: str, side: str) -> End:
        for prefix, serial in readings(text):
            if prefix and prefix in self.spans:
                return Chassis(prefix, serial)
        ways = days_in(text, {"day first": True, "month first": False}.get(self.mapping.days))
        if len(ways) > 1:
            offered = [
                ("day first", f"{ways[0].first}: the day stands first"),
                ("month first", f"{ways[1].first}: the month stands first"),
            ]
            sentence = f"“{text}” can be read as {ways[0].first} or {ways[1].first}."
            return ways[self._ask("day_order", text, sentence, offered, for_all=True) != "day first"]
        if ways:
            return ways[0]
        if year := year_in(text):
            return self._year_or_number(text, year)
        return Bare(int(text)) if re.fullmatch(r"\d{1,9}", text, re.ASCII) else None

    def _year_or_number(self, text: str, year: Days) -> End:
        offered = [("year", "a year"), ("number", f"the chassis number that ends in {text}")]
        sentence = f"“{text}” as a from or to may be a year or a chassis number."
        return year if self._ask("year", text, sentence, offered, for_all=True) == "year" else Bare(int(text))

    def _prefixes(self) -> list[str]:
        """The prefixes that a bare number is meant for."""
        typed = self._typed_span()
        if self.vehicles is None:
            return [self._prefix_asked(typed)]
        prefixes = sorted(
            p for p, spans in self.spans.items() if {v for v, _ in spans} & self.vehicles.variants
        )
        if len(prefixes) > 1:
            about = f"{typed} for {self.row['fits'] or ', '.join(sorted(self.vehicles.variants))[:60]}"
            sentence = f"{typed} is a bare number, but what the row fits has {len(prefixes)} prefixes."
            each = ("each", "in each of them, by its own number")
            only = [(p or ALONE, f"only {p or ALONE}: {self._titles(p)}") for p in prefixes[:MOST_OFFERED]]
            answer = self._ask("several", about, sentence, [each, *only, NONE], for_all=True)
            return prefixes if answer == "each" else ["" if answer == ALONE else answer]
        return prefixes

    def _prefix_asked(self, said: str) -> str:
        serial = re.sub(r"\D", "", self.row["from"] or self.row["to"])
        holding = [
            (span.prefix or ALONE, f"{span.number(int(serial))}: {self._titles(span.prefix)}")
            for spans in self.spans.values()
            for _, span in spans
            if serial and span.first <= int(serial) <= span.last
        ]
        sentence = f"{said} is a number without a prefix, and the row does not say which variant it fits."
        answer = self._ask(
            "no_variant", f"{self.asking.number} {said}", sentence, [*holding[:MOST_OFFERED], NONE],
            typed="prefix", reads=lambda typed: typed in self.spans, for_all=True,
        )  # fmt: skip
        return "" if answer == ALONE else answer

    def _titles(self, prefix: str) -> str:
        return ", ".join(dict.fromkeys(self.known.variants[name].title for name, _ in self.spans[prefix]))

    def _within(self, prefix: str, first: End, last: End) -> list[Condition]:
        """The condition of one prefix, bare numbers being its own."""
        one, other = (Chassis(prefix, e.serial) if isinstance(e, Bare) else e for e in (first, last))
        return [self._of(prefix) | self._span(one, other)]

    def _of(self, prefix: str) -> Condition:
        """The variants of a prefix that the row fits."""
        variants = {name for name, _ in self.spans[prefix]}
        if self.vehicles is not None:
            variants &= self.vehicles.variants
        return {"variants": sorted(variants)}

    def _of_prefix(self, prefix: str, first: End, last: End) -> list[Condition]:
        if self.vehicles is None:
            return self._within(prefix, first, last)
        own = {name for name, _ in self.spans[prefix]}
        typed = self._typed_span()
        about = f"{typed} for {self.row['fits']}"
        if not own & self.vehicles.variants:
            sentence = f"{typed} is a chassis number of {self._titles(prefix)}, which the row does not fit."
            chassis = ("chassis", "it fits the variant of the chassis number, not what the row says")
            without = ("without", "it fits what the row says, from the first to the last")
            if self._ask("other_variant", about, sentence, [chassis, without, NONE]) == "without":
                return [self._of_vehicles()]
            self.vehicles = None
            return self._within(prefix, first, last)
        others = self.vehicles.variants - own
        if not others:
            return self._within(prefix, first, last)
        sentence = f"{typed} is a chassis number of {self._titles(prefix)}; the row fits {len(others)} other "
        sentence += "variant too." if len(others) == 1 else "variants too."
        rest = ("rest", "within these numbers there, and all of the other variants")
        only = ("only", "only within these numbers")
        answer = self._ask("other_variant", about, sentence, [rest, only, NONE], for_all=True)
        return self._within(prefix, first, last) + [{"variants": sorted(others)}] * (answer == "rest")

    def _span(self, first: End, last: End) -> Condition:
        """The columns of a condition for two ends of which none is bare."""
        first, last = self._inside(first, "from"), self._inside(last, "to")
        if self._upside_down(first, last):
            span = f"{self.row['from']} to {self.row['to']}"
            answer = self._ask(
                "upside_down", f"{self.asking.number} {span}", f"The span {span} ends before it begins.",
                [("swap", f"it is {self.row['to']} to {self.row['from']}"),
                 ("from", f"only from {self.row['from']}"), ("to", f"only to {self.row['to']}"), NONE],
                for_all=True,
            )  # fmt: skip
            first, last = {"swap": (last, first), "from": (first, None), "to": (None, last)}[answer]
        found: Condition = {}
        for end, column, of_day in ((first, "from", "first"), (last, "to", "last")):
            if isinstance(end, Chassis):
                found[f"chassis_{column}"] = self._number_of(end)
            elif isinstance(end, Days):
                day: date = getattr(end, of_day)
                found[f"built_{column}"] = day.isoformat()
        return found

    @staticmethod
    def _upside_down(first: End, last: End) -> bool:
        if isinstance(first, Chassis) and isinstance(last, Chassis):
            return last.serial < first.serial
        return isinstance(first, Days) and isinstance(last, Days) and last.last < first.first

    def _inside(self, end: End, side: str) -> End:
        """The end, unless no span of its prefix holds it and it was decided that it is no limit."""
        if not isinstance(end, Chassis):
            return end
        spans = [span for _, span in self.spans[end.prefix]]
        if any(span.first <= end.serial <= span.last for span in spans):
            return end
        first, last = min(s.first for s in spans), max(s.last for s in spans)
        bounds = f"{spans[0].number(first)} to {spans[0].number(last)}"
        sentence = f"{self._number_of(end)} is outside the numbers that were built, {bounds}."
        self._ask("outside", f"{side} {self._number_of(end)}", sentence, [WITHOUT, NONE], for_all=True)
        return None

    def _number_of(self, end: Chassis) -> str:
        return self.spans[end.prefix][0][1].number(end.serial)
