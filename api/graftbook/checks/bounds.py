"""Where a judged figure may lie, and how far past it a figure is."""

import math
from dataclasses import dataclass

_SLACK = 1e-9
"""What a figure may differ from its bound by rounding alone, as a part of the bound."""

_LEAST_SLACK = 1e-12
"""The same in SI where the bound is nothing, or so small a volume or flow that a part of it says no more."""


@dataclass(frozen=True, slots=True)
class Bound:
    """The least and the greatest SI value of a judged figure, ends included."""

    low: float = -math.inf
    high: float = math.inf

    def holds(self, value: float) -> bool:
        return self._allowed(self.low) >= self.low - value and self._allowed(self.high) >= value - self.high

    def beyond(self, value: float) -> float:
        """How far `value` lies past the nearer end, in SI; less than nothing inside."""
        return max(self.low - value, value - self.high)

    @staticmethod
    def _allowed(end: float) -> float:
        return max(_SLACK * abs(end), _LEAST_SLACK) if math.isfinite(end) else 0.0


def at_least(low: float | None) -> Bound:
    """At least `low`; nothing is enough where the bound itself is not known."""
    return Bound(low=math.inf if low is None else low)


def at_most(high: float | None) -> Bound:
    """At most `high`; anything is too much where the bound itself is not known."""
    return Bound(high=-math.inf if high is None else high)
