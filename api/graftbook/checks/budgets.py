"""A budget of the rule book read as a check reads it: the same positions, figures, shares and pieces."""

from collections.abc import Iterator

from graftbook.checks.findings import at_least
from graftbook.checks.fitted import BothSides, Fitted, Reading, remembered
from graftbook.rulebook.compare import LOAD, SHARE, TIME, share_of
from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import Budget


def budgets_of(fitted: Fitted, supply: str, demand: str) -> list[Budget]:
    """The rules that balance the two kinds on this vehicle, in name order."""
    found = [b for b in fitted.book.budgets if (b.supply_kind, b.demand_kind) == (supply, demand)]
    mine = [b for b in found if fitted.vehicle is None or b.when.holds(fitted.vehicle)]
    return sorted(mine, key=lambda budget: budget.name)


def places_of(fitted: Fitted, budget: Budget) -> Iterator[str]:
    """Every filled position that the budget sums over, in name order."""
    on_circuit = index_of(fitted.book).positions_of_budget.get(budget.name)
    if on_circuit is None:  # no rule of the book
        places = sorted(fitted.book.positions.items())
        on_circuit = tuple(name for name, place in places if budget.circuit in ("", place.circuit))
    yield from filter(fitted.has, on_circuit)


def recording(fitted: Fitted, budget: Budget, kind: str) -> list[str]:
    """Those of them whose component records `kind`."""
    places = fitted.book.positions
    there = [p for p, _, _ in fitted.recorded(kind) if p in places]
    return [p for p in there if budget.circuit in ("", places[p].circuit)]


@remembered
def supplied(reading: Reading, budget: Budget, place: str) -> float:
    """All that is supplied at the least; missed at `place` where nothing records it."""
    fitted, kind = reading.fitted, budget.supply_kind
    places = recording(fitted, budget, kind)
    if not places:
        return reading.value(place, kind)
    return sum(reading.span(p, kind)[0] * fitted.quantity(p) for p in places)


@remembered
def demanded(reading: Reading, budget: Budget, times: tuple[str, ...] = ()) -> float:
    """All that is taken at the most; of loads those whose time is among `times`, by their share."""
    return sum(
        _share_taken(reading, budget, p, times) for p in recording(reading.fitted, budget, budget.demand_kind)
    )


def wanted_of(rule: Budget, needs: BothSides[float], gives: BothSides[float]) -> tuple[float | None, bool]:
    """What must be given, in SI, and whether that is all that is needed, without the rule's reserve.

    It is without where more is needed than is given, and where the rule lets all be used.
    """
    short = gives.after is not None and not at_least(needs.after).holds(gives.after)
    plain = short or rule.usable >= 1
    return None if needs.after is None else needs.after / (1 if plain else rule.usable), plain


def _share_taken(reading: Reading, budget: Budget, place: str, times: tuple[str, ...]) -> float:
    most = reading.span(place, budget.demand_kind)[1] * reading.fitted.quantity(place)
    if most == 0 or budget.demand_kind != LOAD:
        return most
    time = reading.word(place, TIME)
    share = reading.span(place, SHARE)[1] if _records(reading, place, SHARE) else None
    return most * share_of(time, share) if time in times else 0.0


def _records(reading: Reading, place: str, kind: str) -> bool:
    component = reading.fitted.component(place)
    return component is not None and kind in component.characteristics
