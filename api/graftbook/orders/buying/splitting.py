"""Which supplier gets which lines: the split that costs least, with what cannot be had told apart.

What is compared is parts and carriage. Tax is on top: its rate goes with the line and the market, not
with the supplier, and a house claims it back. Deposits come back too. Of splits of one cost, the one
with fewer suppliers, then the one that is there earlier, then the one of the earlier names.

Lines come first: no line is left out to save money. Nothing is bought that no line needs: a surplus
comes from packs and least pieces only, never to reach a least order or free carriage.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date

from graftbook.closure.search.deadline import Deadline
from graftbook.orders.buying.model import Offer, Supplier
from graftbook.orders.buying.offers import Choices, Unsupplied, Why, choices_for
from graftbook.orders.buying.split_model import SplitModel, SplitSolved
from graftbook.orders.buying.split_sets import MOST_ASKED, cheapest_of_sets, narrowed
from graftbook.orders.buying.split_start import Picks, carriage, cost, start, worth

SECONDS = 10.0
SHARE_OF_LIMITS = 0.4
"""Of the seconds left, what finding days and numbers of suppliers may take before the split itself."""


@dataclass(frozen=True, slots=True)
class Bought:
    """Pieces of a component from one offer."""

    component: str
    offer: Offer
    packs: int
    arrives: date

    @property
    def pieces(self) -> int:
        return self.packs * self.offer.pack

    @property
    def parts(self) -> int:
        """Without tax, carriage and deposits."""
        return self.pieces * self.offer.price

    @property
    def deposits(self) -> int:
        return self.pieces * self.offer.deposit


@dataclass(frozen=True, slots=True)
class SupplierOrder:
    """What one supplier is sent. `arrives` is the day on which all of it is there."""

    supplier: Supplier
    lines: tuple[Bought, ...]
    carriage: int

    @property
    def parts(self) -> int:
        return sum(line.parts for line in self.lines)

    @property
    def deposits(self) -> int:
        return sum(line.deposits for line in self.lines)

    @property
    def total(self) -> int:
        """Parts and carriage."""
        return self.parts + self.carriage

    @property
    def arrives(self) -> date:
        return max(line.arrives for line in self.lines)


@dataclass(frozen=True, slots=True)
class Instead:
    """What would supply more: so many suppliers, or so late a day; `left_out` lines still stay out.

    `least`: no earlier day, or no fewer suppliers, would supply as much.
    """

    at_most: int | None
    by: date | None
    total: int
    suppliers: tuple[str, ...]
    arrives: date
    left_out: int
    proved: bool
    least: bool = False


@dataclass(frozen=True, slots=True)
class Split:
    """The whole split. `proved`: none costs less and none supplies more lines.

    Otherwise `gap` is the share of the cost that may be too much (0.02: two in a hundred), None when
    nothing is known. `by` is the day asked for, or the earliest one when the fastest split was
    asked for; `fastest_proved` says that no earlier one exists. `instead` is filled when a date or
    the number of suppliers leaves lines out.
    """

    orders: tuple[SupplierOrder, ...]
    unsupplied: tuple[Unsupplied, ...]
    surplus: Mapping[str, int]
    proved: bool
    gap: float | None = None
    by: date | None = None
    fastest_proved: bool | None = None
    instead: tuple[Instead, ...] = ()

    @property
    def parts(self) -> int:
        return sum(order.parts for order in self.orders)

    @property
    def carriage(self) -> int:
        return sum(order.carriage for order in self.orders)

    @property
    def deposits(self) -> int:
        return sum(order.deposits for order in self.orders)

    @property
    def total(self) -> int:
        """Parts and carriage: what was made least."""
        return self.parts + self.carriage

    @property
    def suppliers(self) -> tuple[str, ...]:
        return tuple(order.supplier.name for order in self.orders)

    @property
    def arrives(self) -> date | None:
        """The day on which everything that was bought is there; None when nothing was bought."""
        return max((order.arrives for order in self.orders), default=None)


def split(
    needs: Mapping[str, int],
    offers: Iterable[Offer],
    suppliers: Iterable[Supplier],
    today: date,
    by: date | None = None,
    at_most: int | None = None,
    fastest: bool = False,
    seconds: float = SECONDS,
) -> Split:
    """The cheapest split of `needs` (component → pieces) by a date, over at most so many suppliers.

    `fastest`: the cheapest of those that are there on the earliest day on which everything can be.
    Days are calendar days after `today`, on which everything is ordered. Raises ValueError for
    negative needs, for an offer of an unknown supplier, and for sums beyond the solver's range.
    """
    until = Deadline(seconds)
    everything = choices_for(needs, offers, suppliers, today)
    proved_fastest = None
    if fastest and everything.by(by).ways:
        earliest, proved_fastest = earliest_day(everything.by(by), at_most, _part(until))
        by = min(by, earliest) if by else earliest
    found = cheapest(everything.by(by), at_most, until)
    found = replace(found, by=by, fastest_proved=proved_fastest)
    if any(line.why in (Why.none_in_time, Why.suppliers) for line in found.unsupplied):
        found = replace(found, instead=tuple(_instead(everything, by, at_most, until)))
    return found


def cheapest(choices: Choices, at_most: int | None, until: Deadline) -> Split:
    """The cheapest split of the most lines that can be supplied."""
    if not choices.ways:
        return _as_split(choices, Picks(), [], proved=True, gap=None)
    first = start(choices, at_most, until)
    known = None if at_most is None else narrowed(choices, at_most, first, until)
    if known and len(known.sets) <= MOST_ASKED:
        solved = cheapest_of_sets(choices, known, until)
    else:
        first = known.first if known else first
        solved = _solve(choices, at_most, first, until)
    picks = solved.picks
    if picks is None or worth(choices, first) < worth(choices, picks):
        picks = first
    unsupplied = _left_out(choices, picks, at_most, solved, until)
    gap = None if solved.proved or solved.picks is None else _gap(cost(choices, picks), solved.bound)
    return _as_split(choices, picks, unsupplied, solved.proved, gap)


def _solve(choices: Choices, at_most: int | None, first: Picks, until: Deadline) -> SplitSolved:
    """All lines, where that is possible; else as many as possible, where that number is proved."""
    whole = len(first) == len(choices.ways)
    solved = SplitModel(choices, at_most).cheapest(until, first if whole else None)
    if not solved.impossible:
        return solved
    model = SplitModel(choices, at_most, whole=False)
    if model.fewest_left_out(until) is None:
        return SplitSolved(None, False)
    return model.cheapest(until)


def earliest_day(choices: Choices, at_most: int | None, until: Deadline) -> tuple[date, bool]:
    """The first day by which all lines that can be supplied can be there, and whether that is proved.

    Needs a line with ways.
    """
    left_out = _fewest_left_out(choices, at_most, until)
    days = choices.days
    if left_out == 0 and (soonest := choices.complete_from):
        days = tuple(day for day in days if day >= soonest)
    proved = left_out is not None
    low, middle, high = 0, 0, len(days) - 1
    while low < high and proved:
        reached = _reaches(choices, days[middle], at_most, left_out or 0, until)
        proved = reached is not None
        if reached:
            high = middle
        else:
            low = middle + 1 if proved else low
        middle = (low + high) // 2
    return days[high], proved


def _reaches(choices: Choices, day: date, at_most: int | None, left_out: int, until: Deadline) -> bool | None:
    """Whether by this day no more than `left_out` of the lines stay out; None when time ran out."""
    in_time = choices.by(day)
    late = len(choices.ways) - len(in_time.ways)
    if late > left_out:
        return False
    found = _fewest_left_out(in_time, at_most, until)
    return None if found is None else found + late <= left_out


def _fewest_left_out(choices: Choices, at_most: int | None, until: Deadline) -> int | None:
    """How many lines restrictions leave out at least; None when time ran out."""
    first = start(choices, at_most, until)
    if len(first) == len(choices.ways):
        return 0
    known = None if at_most is None else narrowed(choices, at_most, first, until)
    if known and len(choices.ways) - len(known.first) == known.fewest:
        return known.fewest
    if SplitModel(choices, at_most).possible(until):
        return 0
    return SplitModel(choices, at_most, whole=False).fewest_left_out(until)


def _instead(everything: Choices, by: date | None, at_most: int | None, until: Deadline) -> list[Instead]:
    """A later day, or more suppliers, where they help; neither limit if it takes that."""
    found = [*_later(everything, by, at_most, until), *_more(everything, by, at_most, until)]
    never = len(everything.unsupplied)
    if by is not None and at_most is not None and all(one.left_out > never for one in found):
        found += _cheapest_with(everything, None, None, until)
    return found


def _later(everything: Choices, by: date | None, at_most: int | None, until: Deadline) -> Iterable[Instead]:
    if by is not None and not until.passed:
        day, proved = earliest_day(everything, at_most, _part(until))
        if day > by:
            yield from _cheapest_with(everything.by(day), at_most, day, until, proved)


def _more(everything: Choices, by: date | None, at_most: int | None, until: Deadline) -> Iterable[Instead]:
    if at_most is not None and not until.passed:
        in_time = everything.by(by)
        model = SplitModel(in_time, whole=False)
        if model.fewest_left_out(until) is None:
            return
        fewest = model.fewest_suppliers(until)
        if fewest is not None and fewest > at_most:
            yield from _cheapest_with(in_time, fewest, by, until, True)


def _cheapest_with(
    choices: Choices, at_most: int | None, by: date | None, until: Deadline, least: bool = False
) -> Iterable[Instead]:
    found = cheapest(choices, at_most, until)
    if found.arrives is not None:
        left_out = len(found.unsupplied)
        yield Instead(
            at_most,
            by,
            found.total,
            found.suppliers,
            found.arrives,
            left_out,
            found.proved,
            least and found.proved,
        )


def _left_out(
    choices: Choices, picks: Picks, at_most: int | None, solved: SplitSolved, until: Deadline
) -> list[Unsupplied]:
    """Every line with ways that is not bought, with its reason."""
    missing = [name for name in choices.ways if name not in picks]
    if not missing:
        return []
    if solved.picks is None:
        return [choices.missing(name, Why.no_time) for name in missing]
    if at_most is None:
        return [choices.missing(name, Why.least_order) for name in missing]
    whys = {line.component: line.why for line in cheapest(choices, None, until).unsupplied}
    return [choices.missing(name, whys.get(name, Why.suppliers)) for name in missing]


def _gap(total: int, bound: int) -> float | None:
    return round(1 - bound / total, 6) if total else None


def _as_split(
    choices: Choices, picks: Picks, left_out: list[Unsupplied], proved: bool, gap: float | None
) -> Split:
    charges = carriage(choices, picks.parts())
    lines: dict[str, list[Bought]] = {name: [] for name in sorted(charges)}
    surplus = {}
    for name in sorted(picks):
        pieces = 0
        for way, packs in picks[name].items():
            bought = Bought(name, way.offer, packs, way.arrives)
            lines[way.offer.supplier].append(bought)
            pieces += bought.pieces
        if pieces > choices.needs[name]:
            surplus[name] = pieces - choices.needs[name]
    return Split(
        orders=tuple(
            SupplierOrder(choices.suppliers[name], tuple(some), charges[name]) for name, some in lines.items()
        ),
        unsupplied=tuple(sorted((*choices.unsupplied, *left_out), key=lambda line: line.component)),
        surplus=surplus,
        proved=proved,
        gap=gap,
    )


def _part(until: Deadline) -> Deadline:
    left = until.left()
    return Deadline(math.inf if math.isinf(left) else left * SHARE_OF_LIMITS)
