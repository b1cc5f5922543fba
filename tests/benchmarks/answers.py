"""Whole answers on the demo range, every next best included, beside the release d4cf6e3."""

import statistics
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from graftbook.commands.demo import demo_sheets
from tests.benchmarks.releases.beside import OLD, Side, now, then
from tests.benchmarks.releases.transcribed import load_both
from tests.benchmarks.report import Line, Table, at_least, times

Facts = dict[str, Any]
SECONDS = 120.0
"""Time enough for either release to prove everything."""


@dataclass(frozen=True)
class Asked:
    """A question of the demo range, how many times as fast it should be, and in how many milliseconds."""

    what: str
    prefix: str
    serial: int
    question: Facts
    faster: float
    milliseconds: float | None = None

    def on(self, further: int = 0) -> Facts:
        """The question on its vehicle, or on one built so many after it."""
        return self.question | {"chassis": f"{self.prefix}-{self.serial + further:06d}", "seconds": SECONDS}


ASKED = (
    Asked("front discs", "24PL", 18_412, {"fit": [["QB-3310"]]}, 15, 25),
    Asked("injection", "24PL", 18_412, {"fit": [["QF-7000"]]}, 15),
    Asked("alternator", "24PL", 18_412, {"fit": [["QL-7075"]]}, 5),
    Asked("alternator, right-hand drive", "24PR", 12_000, {"fit": [["QL-7075"]]}, 5),
    Asked("every dangerous flaw remedied", "24PL", 18_412, {"remedy": "dangerous"}, 15),
    Asked("every severe flaw remedied", "24PL", 18_412, {"remedy": "severe"}, 15, 60),
    Asked("every moderate flaw remedied", "24PL", 18_412, {"remedy": "moderate"}, 15),
)


@dataclass
class Taken:
    """What one release took for one question, again and again: processor milliseconds."""

    whole: list[float] = field(default_factory=list)
    wall: list[float] = field(default_factory=list)
    written: list[float] = field(default_factory=list)

    def add(self, told: Facts) -> None:
        self.whole.append(told["took"]["cpu"] * 1000)
        self.wall.append(told["took"]["wall"] * 1000)
        self.written.append((told["took"]["cpu"] + told["written"]["cpu"]) * 1000)


def tables(full: bool) -> Iterator[Table]:
    """The same vehicle asked again, and another vehicle of the variant each time."""
    with tempfile.TemporaryDirectory() as folder, now() as ours, then() as theirs:
        load_both(ours, theirs, demo_sheets(), Path(folder))
        yield _same_vehicle(ours, theirs, 7 if full else 3)
        yield _other_vehicles(ours, theirs, 7 if full else 3)


def _same_vehicle(ours: Side, theirs: Side, count: int) -> Table:
    table = Table(
        "Whole answers on the demo range",
        "Median processor time of one process for the whole answer to a question, with every next best, its "
        "reasons and the checker's judgement; the vehicle was asked about before. Both releases hold the "
        "same range, in the words that both read, and are asked in turns.",
        f"the release {OLD} in a process of its own",
        "ms",
        "how many times as fast ours is",
    )
    for asked in ASKED:
        first = ours.ask(do="ask", question=asked.on())
        before = theirs.ask(do="ask", question=asked.on())
        mine, other = _in_turns(ours, theirs, [asked.on()] * count)
        table.lines.append(_line(asked, mine, other, first, before, checked(ours, asked.on(), first, before)))
    return table


def _line(asked: Asked, mine: Taken, other: Taken, first: Facts, before: Facts, same: str) -> Line:
    taken, beside = statistics.median(mine.whole), statistics.median(other.whole)
    wall = times(statistics.median(mine.wall), statistics.median(other.wall))
    written = times(statistics.median(mine.written), statistics.median(other.written))
    more: dict[str, float | str] = {
        "by the clock, ratio": wall,
        "with its document, ms": statistics.median(mine.written),
        "with its document, ratio": written,
        "next bests": first["next_bests"],
        "next bests beside": before["next_bests"],
    }
    if asked.milliseconds is not None:
        more["wanted on a quiet core, ms"] = asked.milliseconds
    ratio = times(taken, beside)
    return Line(asked.what, taken, beside, ratio, checked=same, more=more, **at_least(ratio, asked.faster))


def _other_vehicles(ours: Side, theirs: Side, count: int) -> Table:
    table = Table(
        "The same on another vehicle each time",
        "The same questions, each time about a vehicle of the variant that was not asked about before.",
        f"the release {OLD} in a process of its own",
        "ms",
        "how many times as fast ours is",
    )
    for asked in ASKED:
        mine, other = _in_turns(ours, theirs, [asked.on(7 * n + 3) for n in range(count)])
        taken, beside = statistics.median(mine.whole), statistics.median(other.whole)
        ratio = times(taken, beside)
        table.lines.append(Line(asked.what, taken, beside, ratio, **at_least(ratio, asked.faster)))
    return table


def _in_turns(ours: Side, theirs: Side, questions: list[Facts]) -> tuple[Taken, Taken]:
    """What both take for each, one after the other; the answers must be the same."""
    mine, other = Taken(), Taken()
    for question in questions:
        told, beside = ours.ask(do="ask", question=question), theirs.ask(do="ask", question=question)
        assert (told["outcome"], told.get("cost")) == (beside["outcome"], beside.get("cost")), question
        mine.add(told)
        other.add(beside)
    return mine, other


def checked(ours: Side, question: Facts, told: Facts, beside: Facts) -> str:
    """How an answer was held against the release's and the solver's alone. Raises where it differs."""
    alone = ours.ask(do="ask", question=question | {"solver_alone": True})
    for other in (alone, beside):
        assert told["outcome"] == other["outcome"], question
        assert told.get("cost") == other.get("cost"), (question, told.get("cost"), other.get("cost"))
    routes = {"the release": beside, "the solver alone": alone}
    same = [route for route, other in routes.items() if _set(other) == _set(told)]
    return (
        f"{told['outcome']}; same set as {' and '.join(same)}" if same else "same cost as both, another set"
    )


def _set(told: Facts) -> tuple[Any, Any]:
    return told.get("set"), told.get("loose")
