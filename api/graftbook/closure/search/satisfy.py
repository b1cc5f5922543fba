"""Whether groups of wishes, limits and rules can hold together, asked many times of one problem.

The places are exactly-one choices and every demand is a clause with a literal that turns its wish, limit or
rule on: a group is asked by assuming its literals, and what the solver has learnt stays for the next
(incremental SAT; Eén and Sörensson, "An extensible SAT-solver", 2003). A budget is looked at when a set is
found: where the set breaks it, the clause that says why joins the others. The price ceiling is not asked.
"""

import importlib
from collections.abc import Collection, Iterator, Mapping
from functools import cache
from itertools import combinations
from typing import Any

from graftbook.closure.search.problem import BudgetUse, Demand, Found, SearchProblem, Switch
from graftbook.rulebook.scope import Fit

CONFLICTS = 5_000
"""Conflicts of the search between two looks at the deadline."""

MOST_PAIRS = 40
"""Choices of one place of which no two may be so, said pair by pair; more go through a counter."""

MOST_REASONS = 2_000
"""Clauses that budgets may add; a problem that needs more is not for this way."""


class TooManyReasons(Exception):
    """The budgets of the problem take more clauses than they may."""


@cache
def pysat(name: str) -> Any:
    """A part of the SAT library, loaded when it is needed; it has no types of its own."""
    return importlib.import_module(name)


def exactly_one(solver: Any, literals: list[int], count: int) -> int:
    """Let exactly one of these be true. `count`: the variables so far; how many there are then."""
    solver.add_clause(literals)
    if len(literals) <= MOST_PAIRS:
        for one, other in combinations(literals, 2):
            solver.add_clause([-one, -other])
        return count
    card = pysat("pysat.card")
    counted = card.CardEnc.atmost(literals, 1, top_id=count, encoding=card.EncType.seqcounter)
    solver.append_formula(counted.clauses)
    return max(count, int(counted.nv))


class Clauses:
    """One problem as clauses."""

    def __init__(self, problem: SearchProblem) -> None:
        self.problem = problem
        self.count = self.reasons = 0
        self.solver = pysat("pysat.solvers").Solver(name="glucose4")
        self.choices: dict[Fit, int] = {}
        self.turns_on: dict[Switch, int] = {}
        self.orders_for: list[int] = []
        """Of demands for which a loose part may be ordered: they must be off where they are not asked."""
        self.budgets: dict[Switch, BudgetUse] = {use.switch: use for use in problem.budgets}
        for place, values in problem.domains.items():
            self._place(place, values)
        reasons: dict[str, list[int]] = {}
        for demand in problem.demands:
            self._demand(demand)
            if demand.loose:
                self._reason_to_order(demand, reasons)
        for place in problem.domains:
            if Fit(place, None).is_loose:
                self._loose_place(place, reasons.get(place, []))
        for switch in self.budgets:
            self._on(switch)
        self.solver.set_phases([self.choices[Fit(p, problem.scope.today.get(p))] for p in problem.domains])

    def _new(self) -> int:
        self.count += 1
        return self.count

    def _on(self, switch: Switch) -> int:
        if switch not in self.turns_on:
            self.turns_on[switch] = self._new()
        return self.turns_on[switch]

    def _place(self, place: str, values: Collection[str | None]) -> None:
        literals = []
        for value in values:
            self.choices[Fit(place, value)] = self._new()
            literals.append(self.count)
        self.count = exactly_one(self.solver, literals, self.count)

    def _literal(self, fit: Fit) -> int | bool:
        if fit.position not in self.problem.domains:
            return self.problem.scope.is_today(fit)
        return self.choices.get(fit, False)

    def _demand(self, demand: Demand) -> None:
        clause = [-self._on(demand.switch)]
        for fit in demand.when:
            literal = self._literal(fit)
            if literal is False:
                return
            if literal is not True:
                clause.append(-literal)
        for fit in (*demand.one_of, *(need.fit for need in demand.loose)):
            literal = self._literal(fit)
            if literal is True:
                return
            if literal is not False:
                clause.append(literal)
        self.solver.add_clause(clause)

    def _reason_to_order(self, demand: Demand, reasons: dict[str, list[int]]) -> None:
        """A literal that is true only while the demand binds and nothing fitted meets it."""
        binds = self._new()
        self.orders_for.append(self._on(demand.switch))
        self.solver.add_clause([-binds, self.orders_for[-1]])
        for wanted, fits in ((True, demand.when), (False, demand.one_of)):
            for fit in fits:
                literal = self._literal(fit)
                if literal is True or literal is False:
                    if literal is not wanted:
                        self.solver.add_clause([-binds])
                else:
                    self.solver.add_clause([-binds, literal if wanted else -literal])
        for need in demand.loose:
            reasons.setdefault(need.fit.position, []).append(binds)

    def _loose_place(self, place: str, reasons: list[int]) -> None:
        """A loose part is ordered for a demand, or to remedy a flaw, and for nothing else."""
        for component in self.problem.domains[place]:
            if component is not None and component not in self.problem.extras:
                self.solver.add_clause([-self.choices[Fit(place, component)], *reasons])

    # Asking -------------------------------------------------------------------------------------

    def set_for(self, group: Collection[Switch]) -> Found | None:
        """A set that fulfils all of these, whatever it costs; None where there is none.

        Raises OutOfTime and TooManyReasons.
        """
        assumed = [literal for switch, literal in self.turns_on.items() if switch in group]
        assumed += [-literal for literal in set(self.orders_for).difference(assumed)]
        watched = [use for switch, use in self.budgets.items() if switch in group]
        while self._holds(assumed):
            values = self._values()
            broken = [use for use in watched if use.broken(values)]
            if not broken:
                return Found(values, dict(self._orders(values)))
            for use in broken:
                self._reason(use, values)
        return None

    def _holds(self, assumed: list[int]) -> bool:
        while True:
            self.problem.deadline.check()
            self.solver.conf_budget(CONFLICTS)
            holds: bool | None = self.solver.solve_limited(assumptions=assumed)
            if holds is not None:
                return holds

    def _values(self) -> dict[str, str | None]:
        true = {literal for literal in self.solver.get_model() if literal > 0}
        return {fit.position: fit.component for fit, literal in self.choices.items() if literal in true}

    def _orders(self, values: Mapping[str, str | None]) -> Iterator[tuple[int, Any]]:
        problem = self.problem
        for number, demand in enumerate(problem.demands):
            if demand.loose and all(problem.true_in(values, fit) for fit in demand.when):
                ordered = next((need for need in demand.loose if values[need.fit.position]), None)
                if ordered and not any(problem.true_in(values, fit) for fit in demand.one_of):
                    yield number, ordered

    def _reason(self, use: BudgetUse, values: Mapping[str, str | None]) -> None:
        """Why a set breaks a budget: as long as these places give no more than they do, it stays short."""
        self.reasons += 1
        if self.reasons > MOST_REASONS:
            raise TooManyReasons
        clause = {-self._on(use.switch), *(self.choices[fit] for fit in use.ways_to_keep(values))}
        self.solver.add_clause(sorted(clause))
