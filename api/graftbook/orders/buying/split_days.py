"""What each day gained costs: the cheapest total for each latest day, as a short table."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from graftbook.closure.search.deadline import Deadline
from graftbook.orders.buying.model import Offer, Supplier
from graftbook.orders.buying.offers import Choices, choices_for
from graftbook.orders.buying.splitting import SECONDS, Split, cheapest, earliest_day

MOST_ROWS = 8
SHARE_OF_FIRST_DAY = 0.3
"""Of the seconds, what finding the earliest day may take."""


@dataclass(frozen=True, slots=True)
class DayPrice:
    """To have everything by a day costs `total`, which is `extra` more than the cheapest split."""

    by: date
    total: int
    extra: int
    suppliers: tuple[str, ...]
    proved: bool


@dataclass(frozen=True, slots=True)
class DayPrices:
    """Earliest day first. `complete`: the total changes on no other day, and that is proved.

    `cut_short`: time had a part in it; with more of it there may be other rows.
    """

    rows: tuple[DayPrice, ...]
    complete: bool
    cut_short: bool = False


def price_of_days(
    needs: Mapping[str, int],
    offers: Iterable[Offer],
    suppliers: Iterable[Supplier],
    today: date,
    at_most: int | None = None,
    seconds: float = SECONDS,
) -> DayPrices:
    """The days at which the cheapest total changes, from the earliest day to the cheapest split.

    It speaks of the lines that can be supplied at all; on each day listed all of those are there.
    Where there are more than `MOST_ROWS` such days, those with the widest steps of money are told.
    Raises ValueError as `split` does.
    """
    until = Deadline(seconds)
    choices = choices_for(needs, offers, suppliers, today)
    if not choices.ways:
        return DayPrices((), True)
    first, proved = earliest_day(choices, at_most, Deadline(until.left() * SHARE_OF_FIRST_DAY))
    search = _Search(choices, at_most, [day for day in choices.days if day >= first], until)
    complete = search.run()
    return DayPrices(tuple(search.rows()), complete and proved, search.late or not proved)


class _Search:
    """Splits for some of the days: the first, the last, then the middle of the widest step of money."""

    def __init__(self, choices: Choices, at_most: int | None, days: list[date], until: Deadline) -> None:
        self.choices = choices
        self.at_most = at_most
        self.days = days
        self.until = until
        self.found: dict[int, Split] = {}
        self._stopped = False

    @property
    def late(self) -> bool:
        """Whether time had a part in what was found."""
        return self._stopped or not all(split.proved for split in self.found.values())

    def run(self) -> bool:
        """Whether every day's total is known and proved at the end."""
        for place in (len(self.days) - 1, 0):
            self._ask(place)
        while (step := self._widest_step()) is not None:
            self._stopped = self.until.passed
            if len(self._first_days()) >= MOST_ROWS or self._stopped:
                return False
            self._ask(sum(step) // 2)
        return all(split.proved for split in self.found.values())

    def _ask(self, place: int) -> None:
        """The split for a day; it also stands for the day on which it is there."""
        if place in self.found:
            return
        split = cheapest(self.choices.by(self.days[place]), self.at_most, self.until)
        self.found[place] = split
        if split.proved and split.arrives in self.days:
            self.found.setdefault(self.days.index(split.arrives), split)

    def _splits_found(self) -> dict[int, Split]:
        """What was found, without splits that leave out more lines because time ran out."""
        fewest = min(len(split.unsupplied) for split in self.found.values())
        return {place: split for place, split in self.found.items() if len(split.unsupplied) == fewest}

    def _widest_step(self) -> tuple[int, int] | None:
        """Two neighbours among the days known, with others between them and different totals."""
        places = sorted(self._splits_found())
        steps = [
            (self.found[one].total - self.found[two].total, one, two)
            for one, two in pairwise(places)
            if two - one > 1 and self.found[one].total > self.found[two].total
        ]
        if not steps:
            return None
        _, one, two = max(steps, key=lambda step: (step[0], -step[1]))
        return one, two

    def _first_days(self) -> dict[int, int]:
        """The places at which the total falls, with the total; dearer than an earlier day never counts."""
        falls: dict[int, int] = {}
        for place in sorted(self._splits_found()):
            total = self.found[place].total
            if not falls or total < min(falls.values()):
                falls[place] = total
        return falls

    def rows(self) -> Iterable[DayPrice]:
        """Earliest day first."""
        falls = self._first_days()
        least = min(falls.values())
        for place, total in falls.items():
            split = self.found[place]
            yield DayPrice(self.days[place], total, total - least, split.suppliers, split.proved)
