"""Random worlds loaded into a service of their own, and what is asked of it."""

import random
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace
from typing import Any

import httpx

from graftbook.app import create_app
from graftbook.catalogue.compiling.queries import with_components
from graftbook.closure.question import ClearPosition, FitComponent, Limits, Question, RemedyFlaw, Wish
from graftbook.database import reading
from graftbook.process.service import Service
from graftbook.rulebook.model import (
    ALWAYS,
    Alternative,
    Companion,
    Component,
    Fitment,
    RuleBook,
    Supersession,
    Supply,
)
from graftbook.settings import Settings
from tests.closure.worlds import VEHICLE, World
from tests.conftest import client_of
from tests.retold.records import EFFORTS, offers_of, records_of

CHASSIS = "24L-500"
QUESTIONS = 5
"""Questions put to each world."""


class Branching(World):
    """A world in which most rules leave a choice, between parts that differ in price, labour and looks."""

    def __init__(self, seed: int) -> None:
        super().__init__(seed, components=4, dense=0.5)

    def _supersessions(self) -> list[Supersession]:
        return []

    def _components(self) -> list[Component]:
        prices = [None, *range(0, 900, 60)]
        return [
            replace(part, supply=Supply.current, price=self.random.choice(prices), visible=self.chance(0.3))
            for part in super()._components()
        ]

    def _fitments(self) -> list[Fitment]:
        """Nearly all that is recorded holds, and takes between nothing and two hours."""
        found = [replace(one, minutes=self.random.randrange(12) * 10) for one in super()._fitments()]
        return [replace(one, when=ALWAYS) if self.chance(0.9) else one for one in found]

    def _companions(self) -> list[Companion]:
        rules = [*super()._companions(), *super()._companions()]
        return [self._branch(replace(rule, name=f"needs{i}")) for i, rule in enumerate(rules)]

    def _branch(self, rule: Companion) -> Companion:
        """Asked for by something new; any of several will do."""
        places = self.random.sample(self.places, 3)
        asking, *others = places
        ways = [
            Alternative(component=number, position=other)
            for other in others
            for number in self.random.sample(self.at[other][1:], 2)
        ]
        return replace(
            rule, component=self.random.choice(self.at[asking][1:]), position="", alternatives=tuple(ways)
        )

    def limits(self) -> Limits:
        return Limits()


@dataclass
class Served:
    """A world, the rule book that its catalogue compiles to, and a client of its service."""

    world: World
    book: RuleBook
    client: httpx.AsyncClient

    async def asked(self, path: str, body: dict[str, Any]) -> dict[str, Any]:
        """The answer; whatever is refused shows the problem."""
        answer = await self.client.post(path, json=body)
        assert answer.status_code == 200, (answer.status_code, answer.text, body)
        return answer.json()


@asynccontextmanager
async def served(url: str, seed: int, world: World | None = None) -> AsyncIterator[Served]:
    """A service on a world, or on that of a seed; `url` names a migrated, empty database.

    Every other world has half as many rules: more of what is wished there can be had.
    """
    world = world or World(seed, dense=(0.5, 1.0)[seed % 2])
    app = create_app(Settings(database_url=url, seconds_to_reason=30))
    try:
        async with client_of(app, scope="administer") as client:
            loaded = await client.post("/v1/imports", json=[*records_of(world), *offers_of(world, seed)])
            assert loaded.status_code == 200, (seed, loaded.json()["mistakes"])
            yield Served(world, whole_book(app.state.service, world), client)
    finally:
        app.state.service.close()


def whole_book(service: Service, world: World) -> RuleBook:
    """The rule book with every component of the world, as a question that names them all would see it."""
    book = service.books.book("v")
    with reading(service.engine) as session:
        return with_components(session, book, world.components)


def body_of(question: Question) -> dict[str, Any]:
    """A question as it is sent."""
    limits = question.limits
    return {
        "vehicle": {
            "chassis": CHASSIS,
            "built": VEHICLE.built.isoformat(),
            "options": sorted(VEHICLE.options),
            "fitted": dict(question.fitted),
            "on_the_bench": sorted(question.on_the_bench),
        },
        "wishes": [_wish(wish) for wish in question.wishes],
        "limits": {
            "keep": sorted(limits.keep),
            "keep_sections": sorted(limits.keep_sections),
            "refuse": sorted(limits.refuse),
            "effort_at_most": EFFORTS[limits.effort_at_most],
            "price_at_most": None if limits.price_at_most is None else f"{limits.price_at_most / 100:.2f}",
            "nothing_visible": limits.nothing_visible,
        },
        "preference": [criterion.name for criterion in question.preference] or ["irreversible"],
    }


def _wish(wish: Wish) -> dict[str, Any]:
    match wish:
        case FitComponent():
            place = {"position": wish.position} if wish.position else {}
            return {"fit": wish.component, "quantity": wish.quantity} | place
        case ClearPosition():
            return {"clear": wish.position}
        case RemedyFlaw():
            return {"remedy": wish.flaw}
    return {"remedy_all": wish.at_least.name} | ({"section": wish.section} if wish.section else {})


def questions_of(here: Served) -> list[Question]:
    """Some questions to a world, always the same ones, every other one without limits.

    A flaw of other vehicles cannot be asked for.
    """
    known = {flaw.name for flaw in here.book.flaws}
    questions = [here.world.question() for _ in range(QUESTIONS)]
    questions = [q if i % 2 else replace(q, limits=Limits()) for i, q in enumerate(questions)]
    return [q for q in questions if all(getattr(w, "flaw", None) in (None, *known) for w in q.wishes)]


def proposal(world: World, seed: int) -> tuple[list[str], dict[str, str | None]]:
    """A set that somebody might propose: loose numbers, and what sits where."""
    chance = random.Random(f"proposal {seed}")
    places = chance.sample(world.places, chance.randint(1, 3))
    sitting = {p: chance.choice([None, *world.at[p], *world.at[p]]) for p in places}
    return [n for n in world.loose if chance.random() < 0.4], sitting
