"""What a component gives to a budget and takes from it: one definition, for the search and for the checks."""

from collections.abc import Mapping
from types import MappingProxyType

from graftbook.rulebook.units import Measure

LOAD, TIME, SHARE = "current_drawn", "load_time", "load_share"
"""The kinds of an electrical load: its current when on, when that is, and for what part of a drive."""

USUAL_SHARE: Mapping[str, float] = MappingProxyType({"brief": 0.0})
"""The share of a load that records none, by when it is on: a brief one draws on the battery; else 1."""

Characteristics = Mapping[str, Measure]


def share_of(time: str | None, recorded: float | None) -> float:
    """The part of a load that the charging machine must carry."""
    return USUAL_SHARE.get(time or "", 1.0) if recorded is None else recorded


def given(characteristics: Characteristics, kind: str) -> float | None:
    """The least that one piece gives, in SI; None when it is not recorded."""
    measure = characteristics.get(kind)
    return None if measure is None else measure.low or 0.0


def taken(characteristics: Characteristics, kind: str) -> float | None:
    """The most that one piece takes, in SI, an electrical load by its share; None when it is not recorded."""
    measure = characteristics.get(kind)
    if measure is None:
        return None
    most = measure.high or 0.0
    if kind != LOAD:
        return most
    time, recorded = characteristics.get(TIME), characteristics.get(SHARE)
    return most * share_of(time.text if time else None, recorded.high if recorded else None)
