"""Questions that reach hundreds of places, beside the release d4cf6e3 and beside general tools."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from graftbook.rulebook import model
from tests.benchmarks.plot import Plot
from tests.benchmarks.releases import rule_sets
from tests.benchmarks.releases.beside import OLD, Side, now, then
from tests.benchmarks.report import Line, Table, times
from tests.benchmarks.routes import (
    Rules,
    TooLong,
    Whole,
    Wishes,
    database_of,
    graph_of,
    query,
    resolve,
    timed,
    walk,
)

Facts = dict[str, Any]
FASTER = 5
QUICK = {"sections": (125, 500), "anywhere": (125,), "chains": (125, 500), "packages": (30, 60)}
FULL = {
    "sections": (125, 250, 500, 1000, 2000),
    "anywhere": (125, 250, 500, 1000, 2000),
    "chains": (125, 250, 500, 1000, 2000),
    "packages": (30, 60, 125, 250, 500),
}
QUICK_SECONDS, FULL_SECONDS = 60.0, 300.0
"""What each gets, by the clock: on a busy machine far more than it needs."""

TOOLS = {
    "program of whole numbers": "a program of whole numbers of the whole book, by HiGHS",
    "resolver": "a package resolver, which finds some set and not the best",
    "recursive query": "one recursive query of SQLite for the places that can change at all",
    "walk of a graph": "a graph library's walk to the places that can change at all",
}


@dataclass
class Found:
    """What came of one question by every route; a tool that did not end in time is not in `took`."""

    name: str
    size: int
    ours: Facts
    beside: Facts
    took: dict[str, float] = field(default_factory=dict)
    agreed: list[str] = field(default_factory=list)

    @property
    def milliseconds(self) -> tuple[float, float]:
        return self.ours["took"]["cpu"] * 1000, self.beside["took"]["cpu"] * 1000


def tables(full: bool) -> Iterator[Table]:
    """Beside the old release; then beside the tools."""
    found = []
    with now() as ours, then() as theirs:
        for shape, sizes in (FULL if full else QUICK).items():
            for places in sizes:
                found.append(_asked(ours, theirs, shape, places, FULL_SECONDS if full else QUICK_SECONDS))
                print(f"  {shape}, {places} places", flush=True)
    yield _beside_release(found)
    yield from (_beside_tool(tool, says, found) for tool, says in TOOLS.items())


def _asked(ours: Side, theirs: Side, shape: str, places: int, seconds: float) -> Found:
    rules, seed, wishes = _question(shape, places)
    name = f"{shape} {places}"
    for side in (ours, theirs):
        side.ask(do="invent", name=name, shape=shape, places=places, seed=seed)
    asked = {"set": name, "fit": wishes, "seconds": seconds}
    for side in (ours, theirs):  # what is worked out once a vehicle
        side.ask(do="ask", question=asked | {"fit": wishes[:1], "seconds": 0.5})
    told = Found(shape, places, ours.ask(do="ask", question=asked), theirs.ask(do="ask", question=asked))
    told.size = told.ours["reached"]
    _compare(told, rules, [(component, place) for component, place in wishes], seconds)
    return told


def _question(shape: str, places: int) -> tuple[Rules, int, list[list[str]]]:
    """The first seed of which the wishes reach most places."""
    for seed in range(100):
        rules = Rules(rule_sets.SHAPES[shape](model, places, seed))
        wishes = rule_sets.wishes_that_reach_far(shape, places, seed)
        if len(walk(graph_of(rules), rules, [(c, p) for c, p in wishes])) >= places * 0.7:
            return rules, seed, wishes
    raise AssertionError(f"no seed of '{shape}' reaches most of {places} places")


def _compare(told: Found, rules: Rules, wishes: Wishes, seconds: float) -> None:
    """By every other route; raises where one of them knows better."""
    graph, database = graph_of(rules), database_of(rules)
    walked, told.took["walk of a graph"] = timed(lambda: walk(graph, rules, wishes))
    queried, told.took["recursive query"] = timed(lambda: query(database, rules, wishes))
    assert walked == queried, (told.name, "the query and the walk reach other places")
    proved = told.ours["outcome"] == "proved"
    if proved:
        assert rules.fulfils(rules.today | told.ours["set"], wishes), (told.name, "a rule is broken")
        assert told.ours["set"].keys() <= walked, (told.name, "a place changes that nothing reaches")
        told.agreed.append("fulfils every rule")
    best = _in_time(told, "program of whole numbers", lambda: Whole(rules, wishes).best(seconds))
    some = _in_time(told, "resolver", lambda: resolve(rules, wishes, seconds / 3))
    if proved and "program of whole numbers" in told.took:
        cost = best and best[0]
        assert cost == told.ours["cost"], (told.name, cost, told.ours["cost"])
        told.agreed.append("cost of the program of whole numbers")
    if proved and told.beside["outcome"] == "proved":
        assert told.beside["cost"] == told.ours["cost"], (told.name, told.beside["cost"], told.ours["cost"])
        told.agreed.append("cost of the release")
    if some is not None:
        assert rules.fulfils(some, wishes), (told.name, "the resolver's set breaks a rule")


def _in_time(told: Found, tool: str, work: Callable[[], Any]) -> Any:
    try:
        found, told.took[tool] = timed(work)
    except TooLong:
        return None
    return found


# Tables -------------------------------------------------------------------------------------------


def _beside_release(found: list[Found]) -> Table:
    plot = Plot("Whole answers of wide questions", "places reached", "processor time, ms")
    table = Table(
        "Wide questions",
        "Processor time of one whole answer, every next best included. *sections*: rules mostly inside "
        "a section, one in twenty anywhere; *anywhere*: rules join anything; *chains*: long chains with two "
        "ways on at each link and parts that all share; *packages*: as package managers have, versions that "
        "want others at least so new, some wanted by very many. A figure with an outcome other than proved "
        "is the time after which it gave up.",
        f"the release {OLD} in a process of its own",
        "ms",
        "how many times as fast ours is; at least so many where only the release gave up",
        plots=[plot],
    )
    for one in found:
        mine, beside = one.milliseconds
        ratio = times(mine, beside)
        proved = one.ours["outcome"] == "proved"
        more: dict[str, float | str] = {
            "outcome": one.ours["outcome"], "outcome beside": one.beside["outcome"],
            "engine": one.ours["engine"], "changes": len(one.ours.get("set", ())),
            "next bests": one.ours["next_bests"],
        }  # fmt: skip
        line = Line(
            f"{one.name}, {one.size} places", mine, beside, ratio, f"at least {FASTER}, proved",
            proved and ratio >= FASTER, ", ".join(one.agreed), more,
        )  # fmt: skip
        table.lines.append(line)
        if proved:
            plot.add(f"{one.name}, ours", one.size, mine)
        if one.beside["outcome"] == "proved":
            plot.add(f"{one.name}, {OLD}", one.size, beside)
    return table


def _beside_tool(tool: str, says: str, found: list[Found]) -> Table:
    plot = Plot(f"Wide questions beside a {tool}", "places reached", "processor time, ms")
    table = Table(
        f"Wide questions beside a {tool}",
        "The same questions. What has no figure beside it did not end in the time that it was given.",
        says,
        "ms",
        "how many times as fast ours is",
        plots=[plot],
    )
    for one in found:
        mine, beside = one.milliseconds[0], one.took.get(tool)
        proved = one.ours["outcome"] == "proved"
        ratio = None if beside is None or not proved else times(mine, beside)
        more = {"outcome": one.ours["outcome"]}
        table.lines.append(Line(f"{one.name}, {one.size} places", mine, beside, ratio, more=more))
        if proved:
            plot.add(f"{one.name}, ours", one.size, mine)
        if beside is not None:
            plot.add(f"{one.name}, beside", one.size, beside)
    return table
