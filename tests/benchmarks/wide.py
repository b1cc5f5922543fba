"""Questions that reach hundreds of places, beside the release d4cf6e3 and beside general tools."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from graftbook.closure.answering import scope_of
from graftbook.closure.question import FitComponent, Question
from graftbook.closure.search.reach import reach
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
QUICK = {"sections": (125, 1000), "anywhere": (125, 500), "chains": (60, 125), "packages": (30, 60)}
FULL = {
    "sections": (125, 250, 500, 1000, 2000, 4000),
    "anywhere": (125, 250, 500, 1000, 2000),
    "chains": (60, 125, 250, 500, 1000, 2000),
    "packages": (30, 60, 125, 250, 500),
}
QUICK_SECONDS, FULL_SECONDS = 120.0, 600.0
"""What each gets, by the clock: on a busy machine far more than it needs."""

TOOLS = {
    "whole numbers": "a program of whole numbers of the whole book, by HiGHS, gives one best set",
    "resolver": "a package resolver gives some set, not the best",
    "recursive query": "one recursive query of SQLite gives the places that can change at all",
    "walk": "a graph library's walk gives the same places",
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
    yield _beside_tools(found)


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
    """The first seed of which a question reaches most places and has an answer."""
    for seed in range(100):
        rules = Rules(rule_sets.SHAPES[shape](model, places, seed))
        wishes = rule_sets.wishes_that_reach_far(shape, places, seed)
        if _reached(rules, wishes) >= places / 2 and _has_a_set(rules, wishes):
            return rules, seed, wishes
    raise AssertionError(f"no question to '{shape}' reaches most of {places} places and has an answer")


def _reached(rules: Rules, wishes: list[list[str]]) -> int:
    asked = Question(rule_sets.vehicle(model, 500), tuple(FitComponent(*wish) for wish in wishes))
    return len(reach(scope_of(rules.book, asked), asked).positions)


def _has_a_set(rules: Rules, wishes: list[list[str]]) -> bool:
    """What cannot be told in time counts as one that has."""
    try:
        return Whole(rules, [(c, p) for c, p in wishes]).best(QUICK_SECONDS) is not None
    except TooLong:
        return True


def _compare(told: Found, rules: Rules, wishes: Wishes, seconds: float) -> None:
    """By every other route; raises where one of them knows better."""
    graph, database = graph_of(rules), database_of(rules)
    walked, told.took["walk"] = timed(lambda: walk(graph, rules, wishes))
    queried, told.took["recursive query"] = timed(lambda: query(database, rules, wishes))
    assert walked == queried, (told.name, "the query and the walk reach other places")
    proved = told.ours["outcome"] == "proved"
    if proved:
        assert rules.fulfils(rules.today | told.ours["set"], wishes), (told.name, "a rule is broken")
        assert told.ours["set"].keys() <= walked, (told.name, "a place changes that nothing reaches")
        told.agreed.append("fulfils every rule")
    best = _in_time(told, "whole numbers", lambda: Whole(rules, wishes).best(seconds))
    some = _in_time(told, "resolver", lambda: resolve(rules, wishes, seconds / 3))
    if proved and "whole numbers" in told.took:
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
    table = Table(
        "Wide questions",
        "Processor time of one whole answer, every next best included. *sections*: rules mostly inside "
        "a section, one in fifty anywhere; *anywhere*: rules join anything; *chains*: long chains with two "
        "ways on at each link and parts that all share; *packages*: as package managers have, versions that "
        "want others at least so new, some wanted by very many. A figure with an outcome other than proved "
        "is the time after which it gave up.",
        f"the release {OLD} in a process of its own",
        "ms",
        "how many times as fast ours is; at least so many where only the release gave up",
        plots=_plots(found),
    )
    for one in found:
        mine, beside = one.milliseconds
        ratio = times(mine, beside)
        whole = _outcome(one.ours) == "proved"
        more: dict[str, float | str] = {
            "outcome": _outcome(one.ours), "outcome beside": _outcome(one.beside),
            "engine": one.ours["engine"], "changes": len(one.ours.get("set", ())),
            "next bests": one.ours["next_bests"],
        }  # fmt: skip
        line = Line(
            f"{one.name}, {one.size} places", mine, beside, ratio, f"at least {FASTER}, whole",
            whole and ratio >= FASTER, ", ".join(one.agreed), more,
        )  # fmt: skip
        table.lines.append(line)
    return table


def _outcome(told: Facts) -> str:
    """A proved set without all its next bests is no whole answer, and its time not that of one."""
    return str(told["outcome"]) + (", not whole" if told["cut_short"] else "")


def _plots(found: list[Found]) -> list[Plot]:
    """One a shape; what did not end, or was not proved, has no point."""
    plots: dict[str, Plot] = {}
    for one in found:
        title = f"Questions to the shape '{one.name}'"
        plot = plots.setdefault(one.name, Plot(title, "places reached", "processor time, ms"))
        for name, told in (("ours", one.ours), (OLD, one.beside)):
            if _outcome(told) == "proved":
                plot.add(name, one.size, told["took"]["cpu"] * 1000)
        for tool in TOOLS:
            plot.add(tool, one.size, one.took.get(tool, 0.0))
    return list(plots.values())


def _beside_tools(found: list[Found]) -> Table:
    table = Table(
        "Wide questions beside general tools",
        "The same questions. What has no figure beside it did not end in the time that it was given.",
        "; ".join(TOOLS.values()),
        "ms",
        "how many times as fast our whole answer is",
    )
    for tool in TOOLS:
        for one in found:
            mine, beside = one.milliseconds[0], one.took.get(tool)
            whole = _outcome(one.ours) == "proved"
            ratio = None if beside is None or not whole else times(mine, beside)
            what = f"{tool}: {one.name}, {one.size} places"
            more = {"outcome": _outcome(one.ours)}
            table.lines.append(Line(what, mine, beside, ratio, more=more))
    return table
