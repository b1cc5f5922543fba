"""A short way to write small rule books by hand."""

from dataclasses import replace
from datetime import date
from typing import Any

from graftbook.closure.answer import Answer
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question, Wish
from graftbook.rulebook.model import (
    Alternative,
    Companion,
    Comparator,
    Component,
    Conflict,
    Effort,
    Evidence,
    Fitment,
    Grade,
    Origin,
    Position,
    RuleBook,
    Section,
    Side,
    Supply,
    Variant,
    Vehicle,
    Wanted,
)
from graftbook.rulebook.units import Measure

VARIANT = Variant("v", "r", "a van", "g1", "van", "e1", "rear", "left", "home")
VEHICLE = Vehicle("v", "24L", 500, date(1968, 3, 1), frozenset({"heater"}))
SEEN = (Evidence("seen", Grade.measured, "bench"),)


def amount(value: float, unit: str = "") -> Measure:
    return Measure(f"{value:g} {unit}".strip(), float(value), float(value))


def word(text: str) -> Measure:
    return Measure(text, text=text)


def at(component: str, position: str) -> Alternative:
    return Alternative(component, position)


def loose(component: str, quantity: int = 1) -> Alternative:
    return Alternative(component, loose=True, quantity=quantity)


def needs(name: str, component: str, *alternatives: Alternative, **more: Any) -> Companion:
    more.setdefault("evidence", SEEN)
    return Companion(
        name=name, component=component, reason=f"{name} says so", alternatives=alternatives, **more
    )


def clash(name: str, one: str | Side, other: str | Side, **more: Any) -> Conflict:
    sides = [Side(x) if isinstance(x, str) else x for x in (one, other)]
    return Conflict(name=name, one=sides[0], other=sides[1], reason=f"{name} says so", **more)


def wanted(kind: str, comparator: Comparator, value: Measure) -> Wanted:
    return Wanted(kind, comparator, value)


class Shelf:
    """Positions with their original first; everything fits directly, costs 1.00 and takes 10 minutes.

    `Shelf(brake="old new other")`; add a `?` after a position's first component for one that may
    be empty.
    """

    def __init__(self, **positions: str) -> None:
        self.positions: dict[str, Position] = {}
        self.components: dict[str, Component] = {}
        self.fitments: list[Fitment] = []
        self._there: set[tuple[str, str]] = set()
        self.rules: dict[str, list] = {}
        for name, numbers in positions.items():
            essential = "?" not in numbers
            self.positions[name] = Position(name, "brakes", f"the {name}", essential)
            for i, number in enumerate(numbers.replace("?", "").split()):
                if number != "-":
                    self.part(number)
                    self.fits(number, name, from_new=i == 0)

    def part(self, number: str, **more: Any) -> "Shelf":
        if number in self.components:
            self.components[number] = replace(self.components[number], **more)
        else:
            values = {"price": 100, **more}
            self.components[number] = Component(number, f"part {number}", "brakes", Origin.original, **values)
        return self

    def fits(self, number: str, position: str, **more: Any) -> "Shelf":
        values = {"effort": Effort.direct, "minutes": 10, "evidence": SEEN, **more}
        if (number, position) in self._there:  # looked for only then: some shelves hold ten thousand
            self.fitments = [f for f in self.fitments if (f.component, f.position) != (number, position)]
        self._there.add((number, position))
        name = f"{number}@{position}"
        self.fitments.append(Fitment(name=name, component=number, position=position, **values))
        return self

    def place(self, name: str, **more: Any) -> "Shelf":
        self.positions[name] = replace(self.positions[name], **more)
        return self

    def kit(self, number: str, **more: Any) -> "Shelf":
        return self.part(number, loose=True, **more)

    def add(self, kind: str, *records: Any) -> "Shelf":
        self.rules.setdefault(kind, []).extend(records)
        return self

    def retire(self, number: str) -> "Shelf":
        return self.part(number, supply=Supply.superseded)

    def book(self) -> RuleBook:
        return RuleBook(
            VARIANT,
            1,
            sections={"brakes": Section("brakes", "Brakes", 1), "trim": Section("trim", "Trim", 2)},
            positions=self.positions,
            components=self.components,
            fitments=tuple(self.fitments),
            **{kind: tuple(records) for kind, records in self.rules.items()},
        )

    def ask(self, *wishes: str | Wish, **more: Any) -> Answer:
        found = tuple(FitComponent(w) if isinstance(w, str) else w for w in wishes)
        return answer_question(self.book(), Question(VEHICLE, found, **more))


def changes(answer: Answer) -> dict[str, str | None]:
    """Position → new component."""
    assert answer.solution is not None, answer.outcome
    return {c.position: c.component for c in answer.solution.changes}


def kits(answer: Answer) -> dict[str, int]:
    """Loose component → pieces."""
    return {part.component: part.quantity for part in answer.solution.loose}


def blamed(answer: Answer) -> list[set[str]]:
    """The names in each contradiction."""
    return [{part.name for part in c.parts} for c in answer.contradictions]
