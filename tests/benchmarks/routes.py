"""Other ways to ask an invented rule set, none of which uses this program's reasoning.

A walk of a graph library and a recursive query tell which places a question can reach; a resolver of the kind
that package managers have finds some set that fulfils it; a program of whole numbers finds the best one; a
library of satisfiability finds the smallest contradiction. Each reads the book's records by itself.
"""

import sqlite3
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import networkx
import numpy
import resolvelib
from pysat.examples.optux import OptUx
from pysat.formula import WCNF
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array

from graftbook.rulebook.model import Effort, RuleBook

Sits = dict[str, str | None]
Wishes = Sequence[tuple[str, str]]
"""Components to fit, each with its place."""

LARGEST_OBJECTIVE = 1e7
"""Criteria are packed into one objective up to here; beyond, the solver's tolerances would round."""


@dataclass
class Rules:
    """A book's records as plain tables: what may sit where, what needs one of what, what clashes."""

    book: RuleBook
    at: dict[str, str] = field(default_factory=dict)
    """The place of each component that has one."""
    values: dict[str, list[str | None]] = field(default_factory=lambda: defaultdict(list))
    today: Sits = field(default_factory=dict)
    needs: list[tuple[str, str, tuple[str, ...]]] = field(default_factory=list)
    """Name, demander, alternatives; a rule that no loose part can break is not among them."""
    loose: list[tuple[str, str]] = field(default_factory=list)
    """Demander, and the part that one piece of serves all."""
    clashes: list[tuple[str, str, str]] = field(default_factory=list)

    def __post_init__(self) -> None:
        book = self.book
        for name, position in book.positions.items():
            self.today[name] = None
            if not position.essential:
                self.values[name].append(None)
        for fitment in book.fitments:
            self.at[fitment.component] = fitment.position
            self.values[fitment.position].append(fitment.component)
            if fitment.from_new:
                self.today[fitment.position] = fitment.component
        for rule in book.companions:
            ways = tuple(way.component for way in rule.alternatives)
            if rule.alternatives[0].loose:
                self.loose.append((rule.component, ways[0]))
            else:
                self.needs.append((rule.name, rule.component, ways))
        for rule in book.conflicts:
            one, other = rule.one.component, rule.other.component
            if self.at[one] != self.at[other]:
                self.clashes.append((rule.name, one, other))

    def is_today(self, component: str) -> bool:
        return self.today[self.at[component]] == component

    def fulfils(self, sits: Sits, wishes: Wishes) -> bool:
        """Whether a set has what is wished and breaks no rule."""
        there = {component for component in sits.values() if component}
        return (
            all(sits[place] == component for component, place in wishes)
            and all(demander not in there or there & {*ways} for _, demander, ways in self.needs)
            and not any(one in there and other in there for _, one, other in self.clashes)
        )


# Reach --------------------------------------------------------------------------------------------


def steps(rules: Rules) -> Iterator[tuple[str, str]]:
    """From each component to what may change because of it.

    What it needs, of whatever is at those places the others too, and what must make way for it.
    """
    for _, demander, ways in rules.needs:
        for way in ways:
            yield demander, rules.at[way]
    for _, one, other in rules.clashes:
        for new, old in ((one, other), (other, one)):
            if rules.is_today(old):
                yield new, rules.at[old]
    for place, values in rules.values.items():
        for value in values:
            if value and rules.today[place] != value:
                yield place, value


def graph_of(rules: Rules) -> networkx.DiGraph:
    """What a walk is done on."""
    return networkx.DiGraph(steps(rules))


def walk(graph: networkx.DiGraph, rules: Rules, wishes: Wishes) -> set[str]:
    """The places that can change, by the graph library."""
    found: set[str] = set()
    for component, place in wishes:
        found |= {place}
        if component in graph:
            found |= networkx.descendants(graph, component)
    return found & rules.today.keys()


def database_of(rules: Rules) -> sqlite3.Connection:
    """What a recursive query is asked of."""
    database = sqlite3.connect(":memory:")
    database.execute("CREATE TABLE step (one TEXT, other TEXT, PRIMARY KEY (one, other)) WITHOUT ROWID")
    database.executemany("INSERT OR IGNORE INTO step VALUES (?, ?)", steps(rules))
    return database


def query(database: sqlite3.Connection, rules: Rules, wishes: Wishes) -> set[str]:
    """The places that can change, by one recursive query."""
    marks = ", ".join("(?)" for _ in wishes)
    found = database.execute(
        f"WITH RECURSIVE reached(name) AS (VALUES {marks} UNION "
        "SELECT step.other FROM reached JOIN step ON step.one = reached.name) SELECT name FROM reached",
        [component for component, _ in wishes],
    ).fetchall()
    return ({name for (name,) in found} | {place for _, place in wishes}) & rules.today.keys()


# A resolver ---------------------------------------------------------------------------------------


class TooLong(Exception):
    """It did not end in the processor time that it was given."""


class _Wanted(NamedTuple):
    """One of these at a place; or one of the ways of a rule."""

    name: str
    ways: frozenset[str]


class _Provider(resolvelib.AbstractProvider[_Wanted, tuple[str, str], str]):
    """Places are packages, what may sit there versions; a rule of several ways is a package too."""

    def __init__(self, rules: Rules, seconds: float) -> None:
        self._rules = rules
        self._until = time.process_time() + seconds
        self._needs: dict[str, list[_Wanted]] = defaultdict(list)
        self._ways: dict[str, tuple[str, ...]] = {}
        for name, demander, ways in rules.needs:
            places = {rules.at[way] for way in ways}
            if len(places) == 1:
                self._needs[demander].append(_Wanted(*places, frozenset(ways)))
            else:
                self._ways[name] = ways
                self._needs[demander].append(_Wanted(name, frozenset(ways)))
        for _, one, other in rules.clashes:
            self._needs[one].append(self._without(other))
            self._needs[other].append(self._without(one))

    def _without(self, component: str) -> _Wanted:
        place = self._rules.at[component]
        return _Wanted(place, frozenset(v or "" for v in self._rules.values[place] if v != component))

    def identify(self, requirement_or_candidate: Any) -> str:
        return str(requirement_or_candidate[0])

    def get_preference(self, identifier: str, **rest: Any) -> Any:
        if time.process_time() > self._until:
            raise TooLong
        return identifier in self._ways, identifier

    def find_matches(self, identifier: str, requirements: Any, incompatibilities: Any) -> Any:
        bad = {way for _, way in incompatibilities[identifier]}
        wanted = list(requirements[identifier])
        possible = [way for way in self._possible(identifier) if way not in bad]
        return [(identifier, way) for way in possible if all(way in one.ways for one in wanted)]

    def _possible(self, identifier: str) -> Sequence[str]:
        if identifier in self._ways:
            return self._ways[identifier]
        today = self._rules.today[identifier]
        values = sorted(self._rules.values[identifier], key=lambda value: value != today)
        return [value or "" for value in values]

    def is_satisfied_by(self, requirement: _Wanted, candidate: tuple[str, str]) -> bool:
        return candidate[1] in requirement.ways

    def get_dependencies(self, candidate: tuple[str, str]) -> list[_Wanted]:
        name, way = candidate
        if name in self._ways:
            return [_Wanted(self._rules.at[way], frozenset({way}))]
        return self._needs[way]


def resolve(rules: Rules, wishes: Wishes, seconds: float) -> Sits | None:
    """Some set that fulfils the wishes, by a resolver; None when it finds none. Raises TooLong."""
    asked = [_Wanted(place, frozenset({component})) for component, place in wishes]
    resolver = resolvelib.Resolver(_Provider(rules, seconds), resolvelib.BaseReporter())
    try:
        found = resolver.resolve(asked, max_rounds=10_000_000).mapping
    except resolvelib.ResolutionImpossible:
        return None
    return rules.today | {name: way or None for name, (_, way) in found.items() if name in rules.today}


# A program of whole numbers -----------------------------------------------------------------------


Cost = list[int]


class Whole:
    """The best set of the whole book as a program of whole numbers, criterion after criterion, by HiGHS."""

    def __init__(self, rules: Rules, wishes: Wishes) -> None:
        self.rules = rules
        self.columns: dict[tuple[str, str | None], int] = {}
        for place, values in rules.values.items():
            for value in values:
                self.columns[place, value] = len(self.columns)
        parts = sorted({part for _, part in rules.loose})
        self.loose = {part: len(self.columns) + n for n, part in enumerate(parts)}
        self._rows: list[tuple[dict[int, float], float, float]] = []
        self._add_rules(wishes)

    def _column(self, component: str) -> int:
        return self.columns[self.rules.at[component], component]

    def _add_rules(self, wishes: Wishes) -> None:
        for place, values in self.rules.values.items():
            self._rows.append(({self.columns[place, value]: 1.0 for value in values}, 1, 1))
        for component, place in wishes:
            self._rows.append(({self.columns[place, component]: 1.0}, 1, 1))
        for _, demander, ways in self.rules.needs:
            row = {self._column(way): 1.0 for way in ways}
            row[self._column(demander)] = row.get(self._column(demander), 0) - 1.0
            self._rows.append((row, 0, numpy.inf))
        for demander, part in self.rules.loose:
            self._rows.append(({self.loose[part]: 1.0, self._column(demander): -1.0}, 0, numpy.inf))
        for _, one, other in self.rules.clashes:
            self._rows.append(({self._column(one): 1.0, self._column(other): 1.0}, -numpy.inf, 1))

    def criteria(self) -> list[numpy.ndarray]:
        """What each choice costs: irreversible, visible, changes, price, labour, unconfirmed."""
        book, rules = self.rules.book, self.rules
        found = [numpy.zeros(len(self.columns) + len(self.loose)) for _ in range(6)]
        fitments = {fitment.component: fitment for fitment in book.fitments}
        claims: dict[str, int] = defaultdict(int)
        for rule in book.companions:
            claims[rule.component] += not rule.confirmed
        for (place, value), column in self.columns.items():
            if value == rules.today[place]:
                continue
            shows = any(book.components[n].visible for n in (value, rules.today[place]) if n)
            fitment = fitments.get(value or "")
            figures = (0, shows, 1, 0, 0, 0)
            if fitment is not None:
                price = book.components[fitment.component].price or 0
                figures = (
                    fitment.effort is Effort.cutting, shows, 1, price * fitment.quantity, fitment.minutes,
                    (not fitment.confirmed) + claims[fitment.component],
                )  # fmt: skip
            for criterion, figure in zip(found, figures, strict=True):
                criterion[column] = figure
        for part, column in self.loose.items():
            found[3][column] = book.components[part].price or 0
        return found

    def best(self, seconds: float) -> tuple[Cost, Sits] | None:
        """What the best set costs, and the set; None when there is none. Raises TooLong."""
        until, criteria, fixed = time.perf_counter() + seconds, self.criteria(), []
        chosen = None
        for stage in _packed(criteria, len(self.rules.values) + len(self.loose)):
            chosen = self._minimised(stage, fixed, until)
            if chosen is None:
                return None
            fixed.append((stage, float(round(stage @ chosen))))
        assert chosen is not None
        cost = [round(criterion @ chosen) for criterion in criteria]
        sits = {place: value for (place, value), column in self.columns.items() if chosen[column] > 0.5}
        return [*cost[:3], 0, 0, *cost[3:]], sits

    def _minimised(self, stage: numpy.ndarray, fixed: list[Any], until: float) -> Any:
        rows, low, high = self._matrix(fixed)
        count = len(stage)
        found = milp(
            stage, integrality=numpy.ones(count), bounds=Bounds(0, 1),
            constraints=LinearConstraint(rows, low, high),
            options={"mip_rel_gap": 0.0, "time_limit": max(until - time.perf_counter(), 0.01)},
        )  # fmt: skip
        if found.status == 2:
            return None
        if found.status != 0:
            raise TooLong
        return numpy.round(found.x)

    def _matrix(self, fixed: list[Any]) -> tuple[csr_array, list[float], list[float]]:
        count = len(self.columns) + len(self.loose)
        rows = [*self._rows, *(({n: w for n, w in enumerate(stage) if w}, 0, most) for stage, most in fixed)]
        at = [(n, column, weight) for n, (row, _, _) in enumerate(rows) for column, weight in row.items()]
        lines, columns, weights = zip(*at, strict=True)
        matrix = csr_array((weights, (lines, columns)), shape=(len(rows), count))
        return matrix, [low for _, low, _ in rows], [high for _, _, high in rows]


def _packed(criteria: list[numpy.ndarray], places: int) -> list[numpy.ndarray]:
    """As few objectives as stay in range; within one the earlier criterion outweighs all that follow."""
    stages: list[numpy.ndarray] = []
    for criterion in reversed(criteria):
        if stages:
            below = stages[0].max() * places + 1
            if criterion.max() * below * places + below < LARGEST_OBJECTIVE:
                stages[0] = stages[0] + criterion * below
                continue
        stages.insert(0, criterion)
    return stages


# Contradictions -----------------------------------------------------------------------------------


def smallest_contradiction(rules: Rules, wishes: Wishes) -> int:
    """How many wishes and rules the smallest group has that cannot hold together."""
    variables: dict[tuple[str, str | None], int] = {}
    for place, values in rules.values.items():
        for value in values:
            variables[place, value] = len(variables) + 1
    at = {component: variables[place, component] for component, place in rules.at.items()}
    formula, top = WCNF(), len(variables)
    for place, values in rules.values.items():
        mine = [variables[place, value] for value in values]
        formula.append(mine)
        formula.extend([-one, -other] for n, one in enumerate(mine) for other in mine[:n])
    blamed: list[list[int]] = [[at[component]] for component, _ in wishes]
    blamed += [[-at[demander], *(at[way] for way in ways)] for _, demander, ways in rules.needs]
    blamed += [[-at[one], -at[other]] for _, one, other in rules.clashes]
    for clause in blamed:
        top += 1
        formula.append([-top, *clause])
        formula.append([top], weight=1)
    with OptUx(formula) as found:
        return len(found.compute())


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """What comes of it, and the processor milliseconds of this process."""
    start = time.process_time()
    found = work()
    return found, (time.process_time() - start) * 1000
