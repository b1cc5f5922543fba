"""Invented rule sets, from a seed, made of the classes of whichever release is asked.

Each is one variant's book; what is fitted from new breaks no rule. Every component has one place, and rules
are companions and conflicts alone, so that a walk, a query, a resolver and a program of whole numbers can be
given the same rules without reading them in our way. *sparse*, *typical*, *hard*: places of four candidates
with five rules each; rules stay inside a dozen places, one in ten leaves its section, or they join anything.
*sections*, *anywhere*: half as many rules, of which one in fifty leaves its section, or all may.
*chains*: from one place long chains of which each link has two ways on, and parts that all share.
*packages*: what a package manager has: places empty today, each version of each wants several others at least
so new, and some are wanted by a great many.
"""

import random
from collections.abc import Callable
from datetime import date
from types import ModuleType
from typing import Any

CANDIDATES = 4
RULES_EACH, CONFLICTS_EACH = 5, 2 / 3
SECTION = 30
CHAIN = 50
VERSIONS = 5
SHARED_EVERY = 10

Make = Callable[[ModuleType, int, int], Any]


def place(number: int) -> str:
    """The name of a position."""
    return f"p{number:04d}"


def part(number: int, candidate: int) -> str:
    """The number of a candidate of a place; 0 is today's, where there is one."""
    return f"C{number:04d}-{candidate}"


def vehicle(model: ModuleType, serial: int) -> Any:
    """A vehicle of the variant; which one it is changes no rule."""
    return model.Vehicle("v", "24L", serial, date(1968, 3, 1))


class Builder:
    """A book while it is made."""

    def __init__(self, model: ModuleType, name: str) -> None:
        self.model = model
        self.chance = random.Random(name)
        self.positions: dict[str, Any] = {}
        self.components: dict[str, Any] = {}
        self.fitments: list[Any] = []
        self.companions: list[Any] = []
        self.conflicts: list[Any] = []

    def add_place(self, number: int, candidates: range, *, seen: float = 0.2) -> None:
        """A position with so many candidates; one without candidate 0 is empty today and may stay so."""
        fitted = candidates.start == 0
        name = place(number)
        self.positions[name] = self.model.Position(name, "s", f"place {number}", fitted)
        for candidate in candidates:
            self._add_part(part(number, candidate), loose=False, visible=self.chance.random() < seen)
            fitment = self.model.Fitment(
                name=f"{part(number, candidate)}@{name}",
                component=part(number, candidate),
                position=name,
                effort=self.chance.choice(list(self.model.Effort)),
                minutes=self.chance.randrange(5, 240),
                from_new=candidate == 0,
            )
            self.fitments.append(fitment)

    def _add_part(self, number: str, *, loose: bool, visible: bool) -> None:
        price, origin = self.chance.randrange(500, 50_000), self.model.Origin.modern
        self.components[number] = self.model.Component(
            number, "part", "s", origin, price=price, visible=visible, loose=loose
        )

    def add_loose(self, number: str) -> None:
        """A part without a place, ordered by the piece."""
        self._add_part(number, loose=True, visible=False)

    def need(self, demander: str, *wanted: tuple[int, int]) -> None:
        """A component needs one of these, each a place and its candidate."""
        ways = tuple(self.model.Alternative(part(*one), place(one[0])) for one in dict.fromkeys(wanted))
        self._companion(demander, ways)

    def need_loose(self, demander: str, number: str) -> None:
        """A component needs a piece of a part that one piece serves all of."""
        self._companion(demander, (self.model.Alternative(number, loose=True),), one_serves_all=True)

    def _companion(self, demander: str, ways: tuple[Any, ...], **more: Any) -> None:
        name = f"r{len(self.companions):05d}"
        rule = self.model.Companion(name=name, component=demander, reason="needs", alternatives=ways, **more)
        self.companions.append(rule)

    def clash(self, one: str, other: str) -> None:
        """Two components that may not be there together."""
        sides = self.model.Side(one), self.model.Side(other)
        name = f"k{len(self.conflicts):05d}"
        self.conflicts.append(self.model.Conflict(name=name, one=sides[0], other=sides[1], reason="clash"))

    def book(self) -> Any:
        """The finished book."""
        variant = self.model.Variant("v", "r", "variant", "g", "van", "e", "rear", "left", "home")
        return self.model.RuleBook(
            variant,
            1,
            sections={"s": self.model.Section("s", "section", 1)},
            positions=self.positions,
            components=self.components,
            fitments=tuple(self.fitments),
            companions=tuple(self.companions),
            conflicts=tuple(self.conflicts),
        )


def _anywhere(shape: str, stray: float, near: int, sizes: tuple[int, ...], rules: float = RULES_EACH) -> Make:
    """Rules between random candidates: mostly of places near each other, `stray` of them anywhere."""

    def make(model: ModuleType, places: int, seed: int) -> Any:
        builder = Builder(model, f"{shape} {places} {seed}")
        chance = builder.chance

        def other(number: int) -> int:
            if chance.random() < stray:
                return chance.randrange(places)
            first = number // near * near
            return chance.randrange(first, min(first + near, places))

        def drawn(number: int, least: int = 1) -> tuple[int, int]:
            return number, chance.randrange(least, CANDIDATES)

        for number in range(places):
            builder.add_place(number, range(CANDIDATES))
        for _ in range(round(places * rules)):
            number = chance.randrange(places)
            builder.need(part(*drawn(number)), *(drawn(other(number)) for _ in range(chance.choice(sizes))))
        for _ in range(round(places * CONFLICTS_EACH)):
            number = chance.randrange(places)
            builder.clash(part(*drawn(number)), part(*drawn(other(number), 0)))
        return builder.book()

    return make


def _chains(model: ModuleType, places: int, seed: int) -> Any:
    builder = Builder(model, f"chains {places} {seed}")
    chance = builder.chance
    shared = [f"L{number:04d}" for number in range(max(1, places // CHAIN))]
    for number in shared:
        builder.add_loose(number)
    for number in range(places):
        builder.add_place(number, range(CANDIDATES), seen=0.1)
    for number in range(1, places):
        for candidate in range(1, CANDIDATES):
            if number % CHAIN and number + 1 < places:
                ways = [(number + 1, chance.randrange(1, CANDIDATES)) for _ in range(2)]
                builder.need(part(number, candidate), *ways)
            if chance.random() < 1 / SHARED_EVERY:
                builder.need_loose(part(number, candidate), chance.choice(shared))
            if chance.random() < 0.05:
                builder.clash(part(number, candidate), part(chance.randrange(1, places), 1))
    for first in range(1, places, CHAIN):
        for candidate in range(1, CANDIDATES):
            builder.need(part(0, candidate), *((first, other) for other in range(1, CANDIDATES)))
    return builder.book()


def _packages(model: ModuleType, places: int, seed: int) -> Any:
    builder = Builder(model, f"packages {places} {seed}")
    chance = builder.chance
    wanted_by = [1] * places
    for number in range(places):
        fitted = number > places * 0.8 and chance.random() < 0.5
        builder.add_place(number, range(0 if fitted else 1, VERSIONS), seen=0.0)
    for number in range(places - 1):
        later = range(number + 1, places)
        weights = wanted_by[number + 1 :]
        others = {*chance.choices(later, weights, k=chance.choice((1, 2, 3, 4))), number + 1}
        for other in sorted(others):
            wanted_by[other] += 5
            for version in range(1, VERSIONS):
                oldest = max(1, min(version - 1 + chance.randrange(2), VERSIONS - 1))
                builder.need(part(number, version), *((other, new) for new in range(oldest, VERSIONS)))
        if chance.random() < 0.1:
            builder.clash(part(number, 1), part(chance.choice(sorted(others)), VERSIONS - 1))
    return builder.book()


SHAPES: dict[str, Make] = {
    "sparse": _anywhere("sparse", 0.0, 12, (1, 1, 1, 2)),
    "typical": _anywhere("typical", 0.1, SECTION, (1, 1, 2, 3)),
    "hard": _anywhere("hard", 1.0, SECTION, (1, 2, 2, 3)),
    "sections": _anywhere("sections", 0.02, SECTION, (1, 2, 2, 3), 2.5),
    "anywhere": _anywhere("anywhere", 1.0, SECTION, (2, 2, 3), 2),
    "chains": _chains,
    "packages": _packages,
}

ONE_BEGINNING = ("chains", "packages")
"""Everything begins at the first place."""


def wishes_that_reach_far(shape: str, places: int, seed: int) -> list[list[str]]:
    """Wishes that together may reach most places."""
    if shape in ONE_BEGINNING:
        return wishes(shape, places, seed, 1)
    return wishes(shape, places, seed, 4)


def wishes(shape: str, places: int, seed: int, count: int) -> list[list[str]]:
    """So many components to fit, each with its place: of random places, or where everything begins."""
    chance = random.Random(f"wishes {shape} {places} {seed} {count}")
    first = shape in ONE_BEGINNING
    chosen = list(range(count)) if first else chance.sample(range(places), count)
    versions = VERSIONS if shape == "packages" else CANDIDATES
    return [[part(number, chance.randrange(1, versions)), place(number)] for number in chosen]
