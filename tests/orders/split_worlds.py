"""Invented needs, offers and suppliers: tiny ones for brute force, large ones for a second solver."""

import random
from dataclasses import dataclass
from datetime import date

from hypothesis import strategies as st

from graftbook.orders.buying.model import Offer, Supplier

TODAY = date(2026, 3, 2)


@dataclass(frozen=True)
class World:
    """What a split is asked for."""

    needs: dict[str, int]
    offers: tuple[Offer, ...]
    suppliers: tuple[Supplier, ...]


@st.composite
def small_worlds(draw: st.DrawFn) -> World:
    """At most three lines and three suppliers, small numbers, so that ties and dead ends are common."""
    suppliers = tuple(
        Supplier(
            name,
            name.title(),
            carriage=draw(st.sampled_from([0, 3, 10])),
            carriage_free_from=draw(st.sampled_from([None, 8, 20])),
            least_order=draw(st.sampled_from([0, 0, 6, 15])),
        )
        for name in ["ash", "birch", "cedar"][: draw(st.integers(1, 3))]
    )
    needs = {f"L{n}": draw(st.integers(1, 4)) for n in range(draw(st.integers(1, 3)))}
    offers = draw(
        st.lists(
            st.builds(
                Offer,
                supplier=st.sampled_from([s.name for s in suppliers]),
                component=st.sampled_from(sorted(needs)),
                price=st.integers(0, 9),
                pack=st.sampled_from([1, 1, 2, 3]),
                least=st.sampled_from([1, 1, 2, 4]),
                lead_days=st.sampled_from([1, 3, 8]),
                stock=st.sampled_from([None, None, 1, 2, 3, 6]),
                deposit=st.sampled_from([0, 0, 5]),
            ),
            max_size=8,
            unique_by=lambda o: (o.supplier, o.component, o.pack),
        )
    )
    return World(needs, tuple(offers), suppliers)


def shop(lines: int, suppliers: int, seed: int, share: float = 0.5) -> World:
    """An order as a counter sees it: parts for a pound to two hundred, half of them at each supplier."""
    chance = random.Random(seed)
    houses = tuple(
        Supplier(
            f"house-{n:02d}",
            f"House {n}",
            carriage=chance.choice([0, 500, 900, 1500, 2500]),
            carriage_free_from=chance.choice([None, 15_000, 30_000, 60_000]),
            least_order=chance.choice([0, 0, 2_000, 5_000]),
        )
        for n in range(suppliers)
    )
    needs = {f"L{n:04d}": chance.choice([1, 1, 2, 2, 4, 8, 12]) for n in range(lines)}
    offers = []
    for place, (number, needed) in enumerate(needs.items()):
        usual = 10 ** chance.uniform(2, 4.3)
        for n, house in enumerate(houses):
            if n == place % suppliers or chance.random() < share:
                offers.append(
                    Offer(
                        house.name,
                        number,
                        price=int(usual * chance.uniform(0.85, 1.25)),
                        pack=chance.choice([1, 1, 1, 2, 5]),
                        least=chance.choice([1, 1, 1, 4]),
                        lead_days=chance.choice([1, 2, 3, 5, 10, 20]),
                        stock=chance.choice([None, None, None, needed // 2 + 1, 40]),
                    )
                )
    return World(needs, tuple(offers), houses)


def hostile(lines: int, suppliers: int, seed: int, price: int = 1_000) -> World:
    """Equal prices, and least orders and free carriage that only some of the suppliers can reach."""
    chance = random.Random(seed)
    usual = shop(lines, suppliers, seed, 0.3)
    share = price * sum(usual.needs.values()) // suppliers
    houses = tuple(
        Supplier(
            house.name,
            house.title,
            carriage=chance.choice([900, 1500, 2500, 4000]),
            carriage_free_from=int(share * chance.uniform(0.5, 2.5)),
            least_order=int(share * chance.uniform(0, 1.5)),
        )
        for house in usual.suppliers
    )
    offers = tuple(
        Offer(o.supplier, o.component, price, o.pack, o.least, o.lead_days, o.stock) for o in usual.offers
    )
    return World(usual.needs, offers, houses)
