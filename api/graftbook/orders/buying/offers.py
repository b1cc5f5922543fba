"""Which offers a line can be bought from, and why some lines cannot be bought at all.

A line is a component and the pieces needed of it. Pure; money is in minor units.
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum

from graftbook.orders.buying.model import Offer, Supplier


class Why(StrEnum):
    """Why a line is not supplied."""

    no_offer = "no offer"
    none_in_time = "none by that date"
    stock = "stock too small"
    least_order = "least order not reached"
    suppliers = "more suppliers needed"
    no_time = "not found in time"


@dataclass(frozen=True, slots=True)
class Way:
    """One offer for one line: none, or between `least` and `most` packs of it."""

    offer: Offer
    arrives: date
    least: int
    most: int

    @property
    def pack_price(self) -> int:
        return self.offer.price * self.offer.pack

    @property
    def pieces(self) -> int:
        """The most pieces that may come this way."""
        return self.most * self.offer.pack

    def most_left_over(self, packs: int) -> int:
        """The surplus of a line bought this way too may not be greater: else a pack could stay away."""
        return (self.offer.pack if packs > self.least else packs * self.offer.pack) - 1


@dataclass(frozen=True, slots=True)
class Unsupplied:
    """A line that is not bought, and why.

    `obtainable` pieces could be had from all `offered_by` together; `earliest` is the day by which
    all needed pieces could be there, None when that is never. `first` is how to have them that day,
    looked at for this line alone: the cheapest offer that has all of them, else those that come first.
    """

    component: str
    needed: int
    why: Why
    obtainable: int = 0
    earliest: date | None = None
    offered_by: tuple[str, ...] = ()
    first: tuple[Way, ...] = ()


@dataclass(frozen=True, slots=True)
class Choices:
    """What may be bought where: lines that can be supplied with their ways, and the others."""

    needs: Mapping[str, int]
    suppliers: Mapping[str, Supplier]
    ways: Mapping[str, tuple[Way, ...]]
    unsupplied: tuple[Unsupplied, ...] = ()

    @property
    def days(self) -> tuple[date, ...]:
        """Every day on which something can arrive, first to last."""
        return tuple(sorted({way.arrives for ways in self.ways.values() for way in ways}))

    @property
    def complete_from(self) -> date | None:
        """No split can have all lines there before this day."""
        return max((_complete(self.needs[name], ways) for name, ways in self.ways.items()), default=None)

    def by(self, day: date | None) -> "Choices":
        """The same with what arrives by a day; a line that then cannot be supplied says so."""
        if day is None:
            return self
        ways, late = {}, []
        for name, all_ways in self.ways.items():
            in_time = tuple(way for way in all_ways if way.arrives <= day)
            if sum(way.pieces for way in in_time) >= self.needs[name]:
                ways[name] = in_time
            else:
                late.append(self.missing(name, Why.none_in_time, in_time))
        return Choices(self.needs, self.suppliers, ways, (*self.unsupplied, *late))

    def of(self, suppliers: Collection[str]) -> "Choices":
        """The same from some suppliers alone; a line that they cannot supply is no line any more."""
        ways = {}
        for name, all_ways in self.ways.items():
            theirs = tuple(way for way in all_ways if way.offer.supplier in suppliers)
            if sum(way.pieces for way in theirs) >= self.needs[name]:
                ways[name] = theirs
        return Choices(self.needs, self.suppliers, ways)

    def missing(self, name: str, why: Why, ways: Iterable[Way] | None = None) -> Unsupplied:
        """A line that has ways and is not supplied nevertheless; `ways` are those that count."""
        counted = self.ways[name] if ways is None else tuple(ways)
        return Unsupplied(
            name,
            self.needs[name],
            why,
            min(self.needs[name], sum(way.pieces for way in counted)),
            _complete(self.needs[name], self.ways[name]),
            tuple(sorted({way.offer.supplier for way in self.ways[name]})),
            _first(self.needs[name], self.ways[name]),
        )


def choices_for(
    needs: Mapping[str, int], offers: Iterable[Offer], suppliers: Iterable[Supplier], today: date
) -> Choices:
    """What can be bought today for `needs` (component → pieces; nothing needed is no line).

    Of several offers of one supplier for one component in one pack, the one valid from the latest day
    counts: it is the price that the supplier asks now. Raises ValueError for a negative need and for
    an offer of a supplier that is not given.
    """
    known = {supplier.name: supplier for supplier in sorted(suppliers, key=lambda s: s.name)}
    if any(pieces < 0 for pieces in needs.values()):
        raise ValueError("pieces needed cannot be negative")
    wanted = {name: needs[name] for name in sorted(needs) if needs[name]}
    by_line = _todays(wanted, offers, known, today)
    ways: dict[str, tuple[Way, ...]] = {}
    unsupplied = []
    for name, needed in wanted.items():
        found = tuple(way for offer in by_line[name] if (way := _way(offer, needed, today)))
        had = sum(way.pieces for way in found)
        if had >= needed:
            ways[name] = found
        else:
            why = Why.stock if by_line[name] else Why.no_offer
            who = tuple(sorted({offer.supplier for offer in by_line[name]}))
            unsupplied.append(Unsupplied(name, needed, why, had, offered_by=who, first=found))
    return Choices(wanted, known, ways, tuple(unsupplied))


def _todays(
    wanted: Mapping[str, int], offers: Iterable[Offer], known: Mapping[str, Supplier], today: date
) -> dict[str, list[Offer]]:
    latest: dict[tuple[str, str, int], list[Offer]] = defaultdict(list)
    for offer in offers:
        if offer.component not in wanted or not offer.holds_on(today):
            continue
        if offer.supplier not in known:
            raise ValueError(f"the offer for {offer.component} names a supplier that is not known")
        same = latest[offer.component, offer.supplier, offer.pack]
        start = offer.valid_from or date.min
        held = same[0].valid_from or date.min if same else date.min
        if same and start > held:
            same.clear()
        if (not same or start >= held) and offer not in same:
            same.append(offer)
    by_line: dict[str, list[Offer]] = defaultdict(list)
    for (component, _, _), some in sorted(latest.items()):
        by_line[component] += sorted(some, key=lambda o: (o.price, o.lead_days, o.least, o.stock or 0))
    return by_line


def _way(offer: Offer, needed: int, today: date) -> Way | None:
    """None when the stock does not hold the least that is sold."""
    least = max(1, -(-offer.least // offer.pack))
    most = max(least, -(-needed // offer.pack))
    if offer.stock is not None:
        most = min(most, offer.stock // offer.pack)
    if most < least:
        return None
    return Way(offer, today + timedelta(days=offer.lead_days), least, most)


def _first(needed: int, ways: Iterable[Way]) -> tuple[Way, ...]:
    """Of ways that suffice, those that give all pieces on the first day on which that is possible."""
    known = sorted(ways, key=lambda w: (w.arrives, w.offer.price, w.offer.supplier))
    in_time = [way for way in known if way.arrives <= _complete(needed, known)]
    whole = [way for way in in_time if way.pieces >= needed]
    if whole:
        return (min(whole, key=lambda w: (_packs(needed, w) * w.pack_price, w.arrives, w.offer.supplier)),)
    pieces, some = 0, []
    for way in in_time:
        if pieces < needed:
            some.append(way)
            pieces += way.pieces
    return tuple(some)


def _packs(needed: int, way: Way) -> int:
    return max(way.least, -(-needed // way.offer.pack))


def _complete(needed: int, ways: Iterable[Way]) -> date:
    """The first day by which these ways, which suffice, give all pieces."""
    pieces, day = 0, date.min
    for way in sorted(ways, key=lambda w: w.arrives):
        pieces, day = pieces + way.pieces, way.arrives
        if pieces >= needed:
            break
    return day
