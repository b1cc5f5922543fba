"""Impossible questions, with their contradictions and ways out, beside the release d4cf6e3."""

import statistics
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from graftbook.commands.demo import demo_sheets
from graftbook.rulebook import model
from tests.benchmarks.releases import rule_sets
from tests.benchmarks.releases.beside import OLD, Side, now, then
from tests.benchmarks.releases.transcribed import load_both
from tests.benchmarks.report import Line, Table, at_least, times
from tests.benchmarks.routes import Rules, Whole, smallest_contradiction, timed

Facts = dict[str, Any]
FASTER = 10
SECONDS = 120.0
DEMO: dict[str, Facts] = {
    "front discs, wheels kept": {"fit": [["QB-3310"]], "keep_sections": ["wheels"]},
    "alternator for 200": {"fit": [["QL-7075"]], "price_at_most": 20_000},
    "discs and injection for 3,000": {"fit": [["QB-3310"], ["QF-7000"]], "price_at_most": 300_000},
    "severe flaws, engine and fuel kept": {"remedy": "severe", "keep_sections": ["engine", "fuel"]},
}
QUICK = {60: 3, 300: 1}
FULL = {60: 6, 120: 6, 300: 6}
"""How many questions to rule sets of so many places."""


def tables(full: bool) -> Iterator[Table]:
    """Each impossible question, and the worst of them."""
    table = Table(
        "Impossible questions",
        "Processor time until an impossible question is proved, with its contradictions and ways out. First "
        "of the demo range, on one vehicle; then of invented sets, with five rules a place, most of them "
        "inside a section. Of these a program of whole numbers too proves that no set exists, and a library "
        "of satisfiability counts how many wishes and rules the smallest contradiction has.",
        f"the release {OLD} in a process of its own",
        "ms",
        "how many times as fast ours is",
    )
    with tempfile.TemporaryDirectory() as folder, now() as ours, then() as theirs:
        load_both(ours, theirs, demo_sheets(), Path(folder))
        for what, question in DEMO.items():
            table.lines.append(_on_demo(ours, theirs, what, question))
        for places, count in (FULL if full else QUICK).items():
            for seed, rules, wishes in _impossible(places, count):
                table.lines.append(_line(ours, theirs, places, seed, rules, wishes))
                print(f"  {table.lines[-1].what}", flush=True)
    mine, beside = [line.ours for line in table.lines], [line.beside or 0.0 for line in table.lines]
    for name, of in (("median", statistics.median), ("worst", max)):
        ratio = times(of(mine), of(beside))
        target = at_least(ratio, FASTER) if name == "worst" else {}
        table.lines.append(Line(f"the {name} of them", of(mine), of(beside), ratio, **target))
    yield table


def _on_demo(ours: Side, theirs: Side, what: str, question: Facts) -> Line:
    asked = question | {"chassis": "24PL-018412", "seconds": SECONDS}
    mine, beside = ours.ask(do="ask", question=asked), theirs.ask(do="ask", question=asked)
    assert mine["outcome"] == beside["outcome"] == "impossible", (what, mine["outcome"], beside["outcome"])
    taken, other = (one["took"]["cpu"] * 1000 for one in (mine, beside))
    more = {"parts": _parts(mine), "parts beside": _parts(beside), "ways out": len(mine["ways_out"])}
    checked = "impossible, as the release says"
    return Line(f"demo: {what}", taken, other, times(taken, other), checked=checked, more=more)


def _impossible(places: int, count: int) -> Iterator[tuple[int, Rules, list[list[str]]]]:
    """The first seeds of which no set fulfils the wishes, by a program of whole numbers."""
    found = 0
    for seed in range(1000):
        rules = Rules(rule_sets.SHAPES["typical"](model, places, seed))
        wishes = rule_sets.wishes("typical", places, seed, 1)
        if Whole(rules, [(c, p) for c, p in wishes]).best(SECONDS) is None:
            yield seed, rules, wishes
            found += 1
        if found == count:
            return


def _line(ours: Side, theirs: Side, places: int, seed: int, rules: Rules, wishes: list[list[str]]) -> Line:
    name = f"typical {places} {seed}"
    asked = {"set": name, "fit": wishes, "seconds": SECONDS}
    told = []
    for side in (ours, theirs):
        side.ask(do="invent", name=name, shape="typical", places=places, seed=seed)
        told.append(side.ask(do="ask", question=asked))
    mine, beside = told
    assert mine["outcome"] == "impossible", (name, mine["outcome"])
    smallest, took = timed(lambda: smallest_contradiction(rules, [(c, p) for c, p in wishes]))
    taken, other = (one["took"]["cpu"] * 1000 for one in told)
    more: dict[str, float | str] = {
        "parts": _parts(mine), "parts beside": _parts(beside), "fewest parts there are": smallest,
        "the fewest alone, ms": took, "ways out": len(mine["ways_out"]),
        "outcome beside": beside["outcome"] + (", cut short" if beside["cut_short"] else ""),
    }  # fmt: skip
    return Line(
        f"{places} places, seed {seed}", taken, other, times(taken, other),
        checked=_judged(mine, smallest), more=more,
    )  # fmt: skip


def _parts(told: Facts) -> str:
    return ", ".join(str(len(one["parts"])) for one in told["contradictions"])


def _judged(told: Facts, smallest: int) -> str:
    """Raises where the first contradiction is called smallest and is not, or none can have so few parts."""
    assert all(len(one["parts"]) >= smallest for one in told["contradictions"]), (told, smallest)
    first = told["contradictions"][0]
    if first["smallest"]:
        assert len(first["parts"]) == smallest, (first, smallest)
        return "impossible; the smallest contradiction"
    return "impossible; a contradiction, not called the smallest"
