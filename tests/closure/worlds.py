"""Small random catalogues and questions, from a seed; every kind of record and condition occurs."""

import random
from dataclasses import replace
from datetime import date
from typing import Any

from graftbook.closure.criteria import DEFAULT_PREFERENCE
from graftbook.closure.question import (
    ClearPosition,
    FitComponent,
    Limits,
    Question,
    RemedyFlaw,
    RemedyFlaws,
    Wish,
)
from graftbook.rulebook.model import (
    ALWAYS,
    Alternative,
    Budget,
    Companion,
    Comparator,
    Component,
    Conflict,
    Effort,
    Evidence,
    Fitment,
    Flaw,
    Grade,
    Joint,
    Origin,
    Position,
    RuleBook,
    Section,
    Severity,
    Side,
    Supersession,
    Supply,
    Variant,
    Vehicle,
    Wanted,
    When,
)
from graftbook.rulebook.units import Measure

VARIANT = Variant("v", "r", "variant", "g1", "van", "e1", "rear", "left", "home")
VEHICLE = Vehicle("v", "24L", 500, date(1968, 3, 1), frozenset({"heater"}))
MEASURED = (Evidence("seen", Grade.measured, "bench"),)
HEARSAY = (Evidence("heard", Grade.hearsay, "talk"),)


def number(value: float) -> Measure:
    return Measure(f"{value:g}", float(value), float(value))


class World:
    """One random catalogue and one question to it."""

    def __init__(self, seed: int, positions: int = 4, components: int = 3, dense: float = 1.0) -> None:
        self.random = random.Random(seed)
        self.others = random.Random(seed)
        """A second row of numbers, for what was added since: the catalogue of a seed stays what it was."""
        self.dense = dense
        self.places = [f"p{i}" for i in range(positions)]
        self.positions = self._positions()
        self.loose = [f"l{i}" for i in range(3)]
        self.at: dict[str, list[str]] = {p: [f"c{p}{i}" for i in range(components)] for p in self.places}
        self.numbers = [c for numbers in self.at.values() for c in numbers]
        self.retired: set[str] = set()
        self.supersessions = self._supersessions()
        self.components = {c.number: c for c in self._components()}
        self.fitments = self._fitments()
        self.flaws = self._flaws()
        self.companions = self._companions()
        self.conflicts = self._conflicts()
        self.joints = self._joints()
        self.budgets = self._budgets()

    def chance(self, part: float) -> bool:
        return self.random.random() < part

    def evidence(self) -> tuple[Evidence, ...]:
        return self.random.choice([MEASURED, MEASURED, HEARSAY, ()])

    def when(self) -> When:
        """Mostly always; else a condition that holds, or one that does not."""
        if self.chance(0.75):
            return ALWAYS
        return self.random.choice(
            [
                When(chassis_prefix="24L", chassis_from=500),
                When(chassis_prefix="24L", chassis_to=499),
                When(chassis_prefix="24R"),
                When(built_from=date(1968, 3, 1)),
                When(built_to=date(1968, 2, 29)),
                When(options=frozenset({"heater"})),
                When(without=frozenset({"heater"})),
            ]
        )

    def _positions(self) -> dict[str, Position]:
        found = {}
        for i, name in enumerate(self.places):
            pair = "front" if i < 2 and self.chance(0.3) else ""
            essential = self.chance(0.6)
            circuit = "main" if self.chance(0.6) else ""
            found[name] = Position(name, f"s{i % 2}", f"place {name}", essential, pair=pair, circuit=circuit)
        return found

    def _supersessions(self) -> list[Supersession]:
        found = []
        for p in self.places:
            if self.chance(0.35):
                old, new = self.at[p][0], f"n{p}"
                self.retired.add(old)
                self.numbers.append(new)
                both = self.chance(0.2)
                found.append(Supersession(name=f"{old}>{new}", old=old, new=new, both_ways=both))
                if self.chance(0.3):
                    self.numbers.append(f"m{p}")
                    found.append(Supersession(name=f"{old}>m{p}", old=old, new=f"m{p}"))
        return found

    def _components(self) -> list[Component]:
        found = []
        for n in [*self.numbers, *self.loose]:
            supply = Supply.superseded if n in self.retired else Supply.current
            if self.chance(0.08):
                supply = Supply.no_longer_supplied
            traits = {}
            if n not in self.loose:
                for kind in ("size", "gives", "takes"):
                    if self.chance(0.6):
                        traits[kind] = number(self.random.randint(1, 3))
                if self.chance(0.4):
                    word = self.random.choice(["negative", "positive", "either"])
                    traits["polarity"] = Measure(word, text=word)
            found.append(
                Component(
                    n,
                    f"part {n}",
                    "s0",
                    Origin.original,
                    supply,
                    None if self.chance(0.1) else self.random.randint(0, 5) * 10,
                    visible=self.chance(0.2),
                    twin=self.random.choice(self.numbers) if self.chance(0.1) else "",
                    characteristics=traits,
                    loose=n in self.loose,
                    **(self._work() if n in self.loose else {}),
                )
            )
        return found

    def _work(self) -> dict[str, Any]:
        """What a loose part asks for."""
        effort = self.random.choice([Effort.direct, Effort.direct, Effort.machining, Effort.cutting])
        return {"effort": effort, "minutes": self.random.choice([0, 0, 10, 30])}

    def _fitments(self) -> list[Fitment]:
        found = []
        for p in self.places:
            for i, n in enumerate(self.at[p]):
                found.append(self._fitment(n, p, from_new=i == 0 and self.chance(0.85)))
                if self.chance(0.1):
                    found.append(self._fitment(n, p, from_new=False))
            if self.chance(0.25):
                found.append(self._fitment(self.random.choice(self.numbers), p, from_new=False))
        return found

    def _fitment(self, component: str, position: str, from_new: bool) -> Fitment:
        return Fitment(
            name=f"{component}@{position}#{self.random.randint(0, 10**9)}",
            component=component,
            position=position,
            effort=self.random.choice([Effort.direct, Effort.direct, Effort.machining, Effort.cutting]),
            quantity=self.random.choice([1, 1, 2]),
            minutes=self.random.randint(0, 3) * 10,
            from_new=from_new,
            when=self.when(),
            evidence=self.evidence(),
        )

    def _flaws(self) -> list[Flaw]:
        return [
            Flaw(
                name=f"flaw{i}",
                component=self.random.choice(self.numbers),
                severity=self.random.choice(list(Severity)),
                symptom=f"symptom {i}",
                also_of=tuple(self.others.sample(self.numbers, self.others.choice([0, 0, 1, 2]))),
                add_ons=tuple(
                    self.random.sample([*self.loose, *self.numbers], self.random.choice([0, 0, 1, 2]))
                ),
                when=self.when(),
            )
            for i in range(self.random.randint(0, 3))
        ]

    def _count(self, most: float) -> range:
        return range(self.random.randint(0, round(most * self.dense)))

    def wanted(self) -> tuple[Wanted, ...]:
        if self.chance(0.3):
            word = self.random.choice(["negative", "positive"])
            return (Wanted("polarity", Comparator.equal, Measure(word, text=word)),)
        comparator = self.random.choice([Comparator.at_least, Comparator.at_most, Comparator.equal])
        return (Wanted("size", comparator, number(self.random.randint(1, 3))),)

    def alternative(self) -> Alternative:
        pick = self.random.random()
        position = self.random.choice(self.places)
        if pick < 0.15:
            return Alternative(
                component=self.random.choice(self.loose), loose=True, quantity=self.random.randint(1, 2)
            )
        if pick < 0.3:
            return Alternative(position=position, having=self.wanted())
        if pick < 0.4:
            return Alternative(position=position, empty=True)
        if pick < 0.6:
            return Alternative(component=self.random.choice(self.numbers))
        return Alternative(component=self.random.choice(self.at[position]), position=position)

    def _companions(self) -> list[Companion]:
        return [
            Companion(
                name=f"needs{i}",
                component=self.random.choice(self.numbers),
                position=self.random.choice(self.places) if self.chance(0.2) else "",
                reason=f"reason {i}",
                alternatives=tuple(self.alternative() for _ in range(self.random.choice([1, 1, 2, 3]))),
                required=self.chance(0.85),
                one_serves_all=self.chance(0.3),
                when=self.when(),
                evidence=self.evidence(),
            )
            for i in self._count(8)
        ]

    def side(self) -> Side:
        if self.chance(0.25):
            return Side(position=self.random.choice(self.places), having=self.wanted())
        if self.chance(0.1):
            return Side(component=self.random.choice(self.loose))
        position = self.random.choice(self.places) if self.chance(0.2) else ""
        return Side(component=self.random.choice(self.numbers), position=position)

    def _conflicts(self) -> list[Conflict]:
        return [
            Conflict(
                name=f"clash{i}", one=self.side(), other=self.side(), reason=f"clash {i}", when=self.when()
            )
            for i in self._count(3)
        ]

    def _joints(self) -> list[Joint]:
        return [
            Joint(
                name=f"joint{i}",
                position=self.random.choice(self.places),
                kind=self.random.choice(["size", "size", "polarity"]),
                comparator=self.random.choice([Comparator.equal, Comparator.at_least, Comparator.at_most]),
                other_position=self.random.choice(self.places),
                other_kind="size" if self.chance(0.7) else "polarity",
                margin=self.random.choice([0.0, 0.0, 1.0]),
                reason=f"joint {i}",
                when=self.when(),
            )
            for i in self._count(2)
        ]

    def _budgets(self) -> list[Budget]:
        return [
            Budget(
                name=f"budget{i}",
                supply_kind="gives",
                demand_kind="takes",
                circuit=self.random.choice(["", "main"]),
                usable=self.random.choice([1.0, 0.75]),
                reason=f"budget {i}",
                when=self.when(),
            )
            for i in self._count(1)
        ]

    def book(self, shuffled: bool = False) -> RuleBook:
        def rows(records: list) -> tuple:
            records = list(records)
            if shuffled:
                self.random.shuffle(records)
            return tuple(records)

        return RuleBook(
            VARIANT,
            1,
            sections={s: Section(s, s, i) for i, s in enumerate(("s0", "s1"))},
            positions={p.name: p for p in rows(list(self.positions.values()))},
            components={c.number: c for c in rows(list(self.components.values()))},
            fitments=rows(self.fitments),
            flaws=rows(self.flaws),
            companions=rows(self.companions),
            conflicts=rows(self.conflicts),
            joints=rows(self.joints),
            budgets=rows(self.budgets),
            supersessions=rows(self.supersessions),
        )

    def wish(self) -> Wish:
        pick = self.random.random()
        if pick < 0.1:
            return ClearPosition(self.random.choice(self.places))
        if pick < 0.2 and self.flaws:
            return RemedyFlaw(self.random.choice(self.flaws).name)
        if pick < 0.3:
            return RemedyFlaws(self.random.choice(list(Severity)), self.random.choice(["", "s0"]))
        if pick < 0.35:
            return FitComponent(self.random.choice(self.loose), quantity=self.random.randint(1, 4))
        position = self.random.choice(self.places)
        component = self.random.choice(self.at[position][1:] or self.at[position])
        return FitComponent(component, position if self.chance(0.5) else "")

    def limits(self) -> Limits:
        if self.chance(0.5):
            return Limits()
        return Limits(
            keep=frozenset(p for p in self.places if self.chance(0.15)),
            keep_sections=frozenset({"s1"} if self.chance(0.1) else ()),
            refuse=frozenset(n for n in [*self.numbers, *self.loose] if self.chance(0.08)),
            effort_at_most=self.random.choice([Effort.cutting, Effort.machining, Effort.direct]),
            price_at_most=self.random.choice([None, None, 30, 80]),
            nothing_visible=self.chance(0.15),
        )

    def standard(self) -> list[Wish]:
        """What a specification wishes; the asker's own wishes may name the same with another quantity."""
        if self.chance(0.85):
            return []
        return [self.wish(), FitComponent(self.random.choice(self.loose), quantity=self.random.randint(1, 4))]

    def _asked_again(self, wish: Wish) -> list[Wish]:
        """A wish, and now and then the same with another quantity."""
        if isinstance(wish, FitComponent) and (wish.component in self.loose or self.chance(0.1)):
            return [wish, replace(wish, quantity=self.random.randint(1, 5))][: self.random.randint(1, 2)]
        return [wish]

    def question(self) -> Question:
        own = [self.wish() for _ in range(self.random.choice([1, 1, 2, 3]))]
        asked = [again for wish in (*self.standard(), *own) for again in self._asked_again(wish)]
        wishes = tuple(dict.fromkeys(asked))
        fitted = {p: self.random.choice([None, *self.numbers]) for p in self.places if self.chance(0.08)}
        preference = list(DEFAULT_PREFERENCE)
        if self.chance(0.4):
            self.random.shuffle(preference)
            preference = preference[: self.random.randint(0, len(preference))]
        bench = frozenset(n for n in self.numbers if self.chance(0.05))
        return Question(VEHICLE, wishes, self.limits(), tuple(preference), fitted, bench, seconds=60.0)
