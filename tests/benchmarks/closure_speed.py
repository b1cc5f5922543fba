"""Time of a closure inside the process, on invented books of the size of one variant.

300 positions, 4 candidates each, 1,500 companion rules with one to three alternatives, 200
conflicts, three wishes. *sparse*: rules stay inside a section and mostly name one alternative;
*typical*: one rule in ten leaves its section; *hard*: rules join anything.
"""

import random
import statistics
import time
from collections import defaultdict
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from functools import partial

from graftbook.closure.answer import Outcome
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.question import FitComponent, Limits, Question
from graftbook.closure.search.constrain import Unsolvable, warm_up
from graftbook.closure.search.reach import reach
from graftbook.closure.search.solve import solve
from graftbook.rulebook.index import index_of
from graftbook.rulebook.model import (
    Alternative,
    Companion,
    Component,
    Conflict,
    Effort,
    Fitment,
    Origin,
    Position,
    RuleBook,
    Section,
    Side,
    Variant,
    Vehicle,
)

POSITIONS, CANDIDATES, COMPANIONS, CONFLICTS, SECTIONS, INSTANCES = 300, 4, 1500, 200, 10, 3
VEHICLE = Vehicle("v", "24L", 500, date(1968, 3, 1))
SHAPES = {"sparse": (0.0, (1, 1, 1, 2)), "typical": (0.1, (1, 1, 2, 3)), "hard": (1.0, (1, 2, 2, 3))}


def part(position: int, candidate: int) -> str:
    return f"C{position:03d}-{candidate}"


def synthetic_book(shape: str, seed: int) -> RuleBook:
    """An invented book; what is fitted from new breaks no rule."""
    chance = random.Random(f"{shape} {seed}")
    stray, sizes = SHAPES[shape]
    near = 12 if shape == "sparse" else POSITIONS // SECTIONS

    def other(position: int) -> int:
        if chance.random() < stray:
            return chance.randrange(POSITIONS)
        start = position // near * near
        return start + chance.randrange(near)

    def alternative(position: int) -> Alternative:
        place = other(position)
        return Alternative(part(place, chance.randrange(1, CANDIDATES)), f"p{place:03d}")

    companions = []
    for number in range(COMPANIONS):
        position = chance.randrange(POSITIONS)
        alternatives = tuple(alternative(position) for _ in range(chance.choice(sizes)))
        demander = part(position, chance.randrange(1, CANDIDATES))
        companions.append(
            Companion(name=f"r{number:04d}", component=demander, reason="needs", alternatives=alternatives)
        )
    conflicts = []
    for number in range(CONFLICTS):
        position = chance.randrange(POSITIONS)
        one, two = (
            part(position, chance.randrange(1, CANDIDATES)),
            part(other(position), chance.randrange(CANDIDATES)),
        )
        conflicts.append(Conflict(name=f"k{number:03d}", one=Side(one), other=Side(two), reason="clash"))
    return _book(chance, companions, conflicts)


def _book(chance: random.Random, companions: list[Companion], conflicts: list[Conflict]) -> RuleBook:
    sections = {f"s{i}": Section(f"s{i}", f"section {i}", i) for i in range(SECTIONS)}
    positions, components, fitments = {}, {}, []
    for position in range(POSITIONS):
        name = f"p{position:03d}"
        section = f"s{position * SECTIONS // POSITIONS}"
        positions[name] = Position(name, section, f"place {position}", essential=True)
        for candidate in range(CANDIDATES):
            number = part(position, candidate)
            price, visible = chance.randrange(500, 50_000), chance.random() < 0.2
            components[number] = Component(
                number, "part", section, Origin.modern, price=price, visible=visible
            )
            fitments.append(
                Fitment(
                    name=f"{number}@{name}",
                    component=number,
                    position=name,
                    effort=chance.choice(list(Effort)),
                    minutes=chance.randrange(5, 240),
                    from_new=candidate == 0,
                )
            )
    variant = Variant("v", "r", "variant", "g", "van", "e", "rear", "left", "home")
    return RuleBook(
        variant,
        1,
        sections=sections,
        positions=positions,
        components=components,
        fitments=tuple(fitments),
        companions=tuple(companions),
        conflicts=tuple(conflicts),
    )


def question(chance: random.Random, wishes: int, limits: Limits | None = None) -> Question:
    places = chance.sample(range(POSITIONS), wishes)
    return Question(
        VEHICLE,
        tuple(FitComponent(part(p, chance.randrange(1, CANDIDATES)), f"p{p:03d}") for p in places),
        limits or Limits(),
    )


def _milliseconds(work: Callable[[], object]) -> tuple[float, object]:
    start = time.perf_counter()
    found = work()
    return (time.perf_counter() - start) * 1000, found


def _best_set(book: RuleBook, asked: Question) -> None:
    """The proved best set alone, without reasons and next bests."""
    with suppress(Unsolvable):
        solve(reach(scope_of(book, asked), asked), asked.seconds)


def _measure(shape: str) -> tuple[list[float], dict[str, list[float]]]:
    """Milliseconds of indexing, and of answers by what they took."""
    indexing: list[float] = []
    times: dict[str, list[float]] = defaultdict(list)
    for seed in range(INSTANCES):
        book = synthetic_book(shape, seed)
        indexing.append(_milliseconds(partial(index_of, book))[0])
        chance = random.Random(seed)
        answer_question(book, question(chance, 1))  # what is worked out once a vehicle
        for wishes in (1, 1, 1, 3):
            asked = question(chance, wishes)
            alone, _ = _milliseconds(partial(_best_set, book, asked))
            whole, answer = _milliseconds(partial(answer_question, book, asked))
            if answer.outcome is not Outcome.proved:
                times[f"{answer.outcome}, with contradictions and ways out"].append(whole)
            elif answer.engine == "propagation":
                times["propagation alone, whole answer"].append(whole)
                times["propagation alone, whole answer, a change"].append(
                    whole / max(1, len(answer.solution.changes))
                )
            else:
                times["with choices, best set alone"].append(alone)
                times["with choices, whole answer with every next best"].append(whole)
    return indexing, times


def run() -> list[tuple[str, str]]:
    """Rows of (what, milliseconds)."""
    warm_up()
    rows = []
    for shape in SHAPES:
        indexing, times = _measure(shape)
        rows.append((f"{shape}: index of a book", f"{statistics.median(indexing):.1f} ms, once a book"))
        for what, taken in sorted(times.items()):
            figures = f"{statistics.median(taken):.2f} ms median, {max(taken):.2f} worst of {len(taken)}"
            rows.append((f"{shape}: {what}", figures))
    return rows


if __name__ == "__main__":
    for what, figures in run():
        print(f"{what:<75} {figures}")
