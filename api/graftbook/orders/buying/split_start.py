"""A split found by rule of thumb: where the solver starts, and what stands when it finds nothing in time."""

from collections import defaultdict
from collections.abc import Mapping

from graftbook.closure.search.deadline import Deadline
from graftbook.orders.buying.offers import Choices, Way

Packs = dict[Way, int]
"""How many packs of each way of one line."""


class Picks(dict[str, Packs]):
    """Component → what is bought of it; a line that is missing is not bought."""

    def parts(self) -> dict[str, int]:
        """Supplier → the value of its parts."""
        sums: dict[str, int] = defaultdict(int)
        for packs in self.values():
            for way, count in packs.items():
                sums[way.offer.supplier] += way.pack_price * count
        return dict(sums)


def carriage(choices: Choices, parts: Mapping[str, int]) -> dict[str, int]:
    """Supplier → its carriage, for suppliers with parts of these values."""
    return {
        name: 0
        if (free := choices.suppliers[name].carriage_free_from) is not None and value >= free
        else choices.suppliers[name].carriage
        for name, value in parts.items()
    }


def cost(choices: Choices, picks: Picks) -> int:
    """Parts and carriage of a split, which is what is compared."""
    parts = picks.parts()
    return sum(parts.values()) + sum(carriage(choices, parts).values())


def worth(choices: Choices, picks: Picks) -> tuple[int, int]:
    """What splits are compared by: the lines that stay out, then the cost."""
    return len(choices.ways) - len(picks), cost(choices, picks)


def start(choices: Choices, at_most: int | None, until: Deadline) -> Picks:
    """A valid split of most lines: each from where it is cheapest, then suppliers are given up.

    First those whose least order is not reached and those beyond `at_most`, then those without whom
    the same lines cost less.
    """
    allowed = set(choices.suppliers)
    picks = Picks()
    _fill(choices, picks, allowed, choices.ways)
    _obey(choices, picks, allowed, at_most)
    for name in sorted(picks.parts(), key=lambda n: (picks.parts()[n], n)):
        if until.passed:
            break
        fewer = allowed - {name}
        other = Picks(picks)
        _fill(choices, other, fewer, _bought_from(other, name))
        _obey(choices, other, fewer, at_most)
        if len(other) >= len(picks) and cost(choices, other) < cost(choices, picks):
            picks, allowed = other, fewer
    return picks


def _obey(choices: Choices, picks: Picks, allowed: set[str], at_most: int | None) -> None:
    """Give up suppliers, the one with the least parts first, until no restriction is broken."""
    while True:
        parts = picks.parts()
        under = [name for name, value in parts.items() if value < choices.suppliers[name].least_order]
        if not under and at_most is not None and len(parts) > at_most:
            under = list(parts)
        if not under:
            return
        given_up = min(under, key=lambda name: (parts[name], name))
        allowed.discard(given_up)
        _fill(choices, picks, allowed, _bought_from(picks, given_up))


def _bought_from(picks: Picks, supplier: str) -> list[str]:
    return [name for name, packs in picks.items() if any(w.offer.supplier == supplier for w in packs)]


def _fill(choices: Choices, picks: Picks, allowed: set[str], lines: Mapping[str, object] | list[str]) -> None:
    for name in lines:
        ways = [way for way in choices.ways[name] if way.offer.supplier in allowed]
        packs = _cheapest(ways, choices.needs[name])
        if packs:
            picks[name] = packs
        else:
            picks.pop(name, None)


def _cheapest(ways: list[Way], needed: int) -> Packs:
    """The cheapest of one way alone and of filling up in order of price; empty when nothing suffices."""
    found: list[Packs] = []
    for way in ways:
        packs = max(way.least, -(-needed // way.offer.pack))
        if packs <= way.most:
            found.append({way: packs})
    if not found or any(way.offer.stock is not None for way in ways):
        found += _filled_up(sorted(ways, key=lambda w: (w.offer.price, w.least)), needed)
    return min(found, key=lambda packs: sum(w.pack_price * n for w, n in packs.items()), default={})


def _filled_up(ways: list[Way], needed: int) -> list[Packs]:
    packs: Packs = {}
    left = needed
    for way in ways:
        if left <= 0:
            break
        packs[way] = min(way.most, max(way.least, -(-left // way.offer.pack)))
        left -= packs[way] * way.offer.pack
    if left > 0:
        return []
    for way in reversed(list(packs)):
        while way in packs and -left > way.most_left_over(packs[way]):
            dropped = 1 if packs[way] > way.least else packs[way]
            packs[way] -= dropped
            left += dropped * way.offer.pack
            if not packs[way]:
                del packs[way]
    return [packs]
