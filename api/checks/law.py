"""Which body of rules a check answers to, where law differs by market."""

from enum import StrEnum


class Law(StrEnum):
    """UN regulations (and the laws that copy them), or the United States' federal standards."""

    un = "UN"
    us = "US"


_AMERICAN = frozenset({"us", "usa", "united states", "north america", "america"})


def law_for(market: str) -> Law:
    """The law of a market: the United States by any of its usual names, else the UN regulations."""
    return Law.us if market.strip().lower() in _AMERICAN else Law.un
