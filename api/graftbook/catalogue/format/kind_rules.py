"""What a kind of characteristic permits: its quantity, its words, and the range of what it can be."""

from collections.abc import Mapping
from typing import Any, NamedTuple

from graftbook.catalogue.store.conditions import split
from graftbook.rulebook.sane import ANY, Span, sane_range
from graftbook.rulebook.slips import in_unit, meant, or_meant
from graftbook.rulebook.units import WORDED, NotAMeasure, number_and_unit, read_measure


class KindRule(NamedTuple):
    """`span` is in SI; `least` and `most` are the kind's own bounds as written, "" where it gives none."""

    quantity: str
    choices: tuple[str, ...] = ()
    least: str = ""
    most: str = ""
    span: Span = ANY


KindRules = Mapping[str, KindRule]
"""The rules of characteristic kinds by name."""


def rule_of(name: str, quantity: str, choices: tuple[str, ...], least: str, most: str) -> KindRule:
    """The rule of a kind: its own bounds, and what is known of its name where it gives none."""
    if quantity in WORDED:
        return KindRule(quantity, choices)
    known = sane_range(name, quantity)
    low = read_measure(least, quantity).si if least else None
    high = read_measure(most, quantity).si if most else None
    span = (known[0] if low is None else low, known[1] if high is None else high)
    if span[0] > span[1]:  # its one bound lies beyond all that we know of: ours says nothing of it
        span = (ANY[0] if low is None else low, ANY[1] if high is None else high)
    return KindRule(quantity, choices, least, most, span)


def rule_of_row(row: Any) -> KindRule:
    """The rule of a kind's row."""
    return rule_of(row.name, row.quantity, split(row.choices), row.least, row.most)


class Absurd(NotAMeasure):
    """A value is in a unit of its kind, and yet it cannot be: a slip of the pen."""

    def __init__(self, written: str, kind: str, rule: KindRule) -> None:
        self.written, self.kind, self.rule = written, kind, rule
        super().__init__(self.sentence())

    def sentence(self, peers: Span | None = None) -> str:
        """The sentence: the value, what it could be, what was likely meant.

        `peers` is what is recorded elsewhere for the kind, least and most in SI.
        """
        quantity, span = self.rule.quantity, self.rule.span
        likely = meant(self.written, quantity, span, peers)
        field = "least" if number_and_unit(self.written)[0].startswith("-") else "most"
        or_else = or_meant(likely) or f"; if it is right, say so with `{field}` on the kind"
        return f"'{self.written}' cannot be: `{self.kind}` is {self._range()}{or_else}"

    def _range(self) -> str:
        unit = number_and_unit(self.written)[2]
        low, high = (in_unit(bound, self.rule.quantity, unit) for bound in self.rule.span)
        if self.rule.span[1] == ANY[1]:
            return f"at least {low}"
        return f"at most {high}" if self.rule.span[0] == ANY[0] else f"between {low} and {high}"
