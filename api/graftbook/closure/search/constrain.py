"""The best set by constraint programming, for what propagation leaves open.

The order of preference is packed into as few weighted whole-number objectives as stay below the
solver's range; each is minimised and fixed before the next. The last criteria break ties by
component number, so that the best set is unique.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from types import ModuleType
from typing import Any

from graftbook.closure.answer import Cause
from graftbook.closure.criteria import Criterion
from graftbook.closure.search.deadline import LOOK_EVERY, Deadline
from graftbook.closure.search.problem import Demand, Found, LooseNeed, SearchProblem, Switch
from graftbook.closure.search.satisfy import pysat
from graftbook.closure.search.totals import fit_cost, minutes_each, price_each, whole_preference
from graftbook.rulebook.scope import Fit

LARGEST_OBJECTIVE = 1 << 30
"""Weighted objectives stay below this; far below it the solver's linear bounds stay sharp."""

MOST_SOLVER_MEGABYTES = 1_000
LEAST_SECONDS = 0.01
"""What the solver gets when next to nothing is left."""


@lru_cache(maxsize=1)
def cp() -> ModuleType:
    """The solver library, imported at its first use."""
    from ortools.sat.python import cp_model

    return cp_model


def warm_up() -> None:
    """Import the solvers (0.4 s) before the first question instead of in it."""
    pysat("pysat.solvers")
    model = cp().CpModel()
    model.new_bool_var("")
    solver = cp().CpSolver()
    solver.parameters.catch_sigint_signal = False
    solver.solve(model)


class Unsolvable(Exception):
    """No set fulfils the problem; proved."""


@dataclass
class WeightedSum:
    """A weighted sum: whole-number weights of yes-or-no variables, and a constant."""

    weights: list[tuple[Any, int]] = field(default_factory=list)
    constant: int = 0
    most: int = 0
    """An upper bound of the variable part."""

    def add(self, variable: Any, weight: int) -> None:
        if weight:
            self.weights.append((variable, weight))
            self.most += max(weight, 0)


class Model:
    """A problem as a constraint model."""

    def __init__(self, problem: SearchProblem, domains: dict[str, set[str | None]]) -> None:
        self.problem = problem
        self.domains = domains
        self.model = cp().CpModel()
        self.true = self.model.new_constant(1)
        self.literals: dict[Fit, Any] = {}
        self.orders: dict[int, list[tuple[LooseNeed, Any]]] = {}
        self.ordering: dict[str, list[Any]] = defaultdict(list)
        self.extras: dict[str, Any] = {}
        self._add_places()
        for number, demand in enumerate(problem.demands):
            if not number % LOOK_EVERY:
                problem.deadline.check()
            self._add_demand(number, demand)
        self._close_loose()
        for use in problem.budgets:
            self._add_budget(use)

    # Building -------------------------------------------------------------------------------

    def _add_places(self) -> None:
        for place in sorted(self.domains):
            values = sorted(self.domains[place], key=lambda c: c or "")
            if len(values) == 1:
                self.literals[Fit(place, values[0])] = self.true
            elif len(values) == 2:
                first = self.model.new_bool_var("")
                self.literals[Fit(place, values[0])] = first
                self.literals[Fit(place, values[1])] = ~first
            else:
                variables = [self.model.new_bool_var("") for _ in values]
                self.model.add_exactly_one(variables)
                self.literals.update(
                    (Fit(place, value), v) for value, v in zip(values, variables, strict=True)
                )

    def literal(self, fit: Fit) -> Any | None:
        """The variable of a fit; None when it is impossible."""
        found = self.literals.get(fit)
        if found is None and fit.position not in self.domains and self.problem.scope.is_today(fit):
            return self.true
        return found

    def _add_demand(self, number: int, demand: Demand) -> None:
        when = [literal for fit in demand.when if (literal := self.literal(fit)) is not None]
        if len(when) < len(demand.when):
            return
        when = [literal for literal in when if literal is not self.true]
        one_of = [literal for fit in demand.one_of if (literal := self.literal(fit)) is not None]
        if any(literal is self.true for literal in one_of):
            return
        own = [
            (need, self.model.new_bool_var("")) for need in demand.loose if self.literal(need.fit) is not None
        ]
        if own:
            self._add_orders(number, own, when, one_of)
        self.model.add_bool_or([*(~literal for literal in when), *one_of, *(v for _, v in own)])

    def _add_orders(
        self, number: int, own: list[tuple[LooseNeed, Any]], when: list[Any], one_of: list[Any]
    ) -> None:
        """Loose parts are ordered for a demand only when it binds and nothing fitted meets it."""
        self.orders[number] = own
        self.model.add_at_most_one([v for _, v in own])
        for need, variable in own:
            self.model.add_implication(variable, self.literal(need.fit))
            self.ordering[need.component].append(variable)
            for literal in when:
                self.model.add_implication(variable, literal)
            for literal in one_of:
                self.model.add_implication(variable, ~literal)

    def _close_loose(self) -> None:
        """A loose part is ordered only for a demand, or as one piece to remedy a flaw."""
        for place in self.domains:
            if not Fit(place, None).is_loose:
                continue
            number = place[1:]
            ordered = self.literal(Fit(place, number))
            if ordered is None:
                continue
            reasons = list(self.ordering[number])
            if number in self.problem.extras:
                self.extras[number] = self.model.new_bool_var("")
                self.model.add_implication(self.extras[number], ordered)
                for variable in reasons:
                    self.model.add_implication(variable, ~self.extras[number])
                reasons.append(self.extras[number])
            self.model.add_bool_or([~ordered, *reasons])

    def _add_budget(self, use: Any) -> None:
        variable_part, constant = [], use.rest
        same = []
        for position, now in use.today.items():
            differing = []
            for value in self.domains[position]:
                fit = Fit(position, value)
                units, literal = use.contributions[position][value], self.literals[fit]
                if literal is self.true:
                    constant += units
                else:
                    variable_part.append(literal * units)
                if units != now:
                    differing.append(literal)
            same.extend(differing)
        covered = sum(variable_part) + constant >= 0
        if use.holds_today or any(literal is self.true for literal in same):
            self.model.add(covered)
            return
        for literal in same:
            self.model.add(covered).only_enforce_if(literal)

    def add_ceiling(self, price_at_most: int) -> None:
        """Parts and loose parts together cost at most this; unknown prices are not to be chosen."""
        self.add_ceiling_of_known(price_at_most)
        self.model.add(self.expression(self.criteria()["unknown"]) <= 0)

    def add_ceiling_of_known(self, price_at_most: int) -> None:
        """What is known of the prices comes to at most this."""
        self.model.add(self.expression(self.criteria()["price"]) <= price_at_most)

    # Objectives -----------------------------------------------------------------------------

    def criteria(self) -> dict[str, WeightedSum]:
        """What a set costs, by criterion, over the variables; built once."""
        if "_criteria" not in self.__dict__:
            self._criteria = self._find_criteria()
        return self._criteria

    def _find_criteria(self) -> dict[str, WeightedSum]:
        terms = {name: WeightedSum() for name in (*(c.name for c in Criterion), "unknown", "pieces")}
        for place, values in self.domains.items():
            most: dict[str, int] = defaultdict(int)
            for value in values:
                fit = Fit(place, value)
                for name, weight in fit_cost(self.problem.scope, fit)._asdict().items():
                    if weight and self.literals[fit] is self.true:
                        terms[name].constant += weight
                    elif weight:
                        terms[name].weights.append((self.literals[fit], weight))
                        most[name] = max(most[name], weight)
            for name, weight in most.items():
                terms[name].most += weight
        self._cost_regrets(terms)
        self._cost_loose(terms)
        return terms

    def _all_of(self, fits: Sequence[Fit]) -> Any | None:
        """A literal that is true when all fits are there; None when that is impossible."""
        literals = [literal for fit in fits if (literal := self.literal(fit)) is not None]
        if len(literals) < len(fits):
            return None
        literals = [literal for literal in literals if literal is not self.true]
        if not literals:
            return self.true
        if len(literals) == 1:
            return literals[0]
        both = self.model.new_bool_var("")
        self.model.add_bool_or([both, *(~literal for literal in literals)])
        for literal in literals:
            self.model.add_implication(both, literal)
        return both

    def _cost_regrets(self, terms: dict[str, WeightedSum]) -> None:
        undetermined: dict[Switch, list[Any]] = defaultdict(list)
        for regret in self.problem.regrets:
            there = self._all_of(regret.when)
            if there is None:
                continue
            if regret.cause is not Cause.flaw:
                undetermined[regret.cause, regret.name].append(there)
                continue
            unless = [x for fit in regret.unless if (x := self.literal(fit)) is not None]
            if unless:
                left = self.model.new_bool_var("")
                self.model.add_bool_or([left, ~there, *unless])
                there = left
            self._count(terms["flaws"], there, regret.weight)
        for literals in undetermined.values():
            some = literals[0]
            if len(literals) > 1:
                some = self.model.new_bool_var("")
                for literal in literals:
                    self.model.add_implication(literal, some)
            self._count(terms["unconfirmed"], some, 1)
        for demand in self.problem.demands:
            if demand.unconfirmed and (there := self._all_of(demand.when)) is not None:
                self._count(terms["unconfirmed"], there, 1)

    def _count(self, terms: WeightedSum, literal: Any, weight: int) -> None:
        if literal is self.true:
            terms.constant += weight
        else:
            terms.add(literal, weight)

    def _cost_loose(self, terms: dict[str, WeightedSum]) -> None:
        shared: dict[tuple[str, str], dict[int, list[Any]]] = defaultdict(lambda: defaultdict(list))
        for number, own in self.orders.items():
            group = self.problem.demands[number].shares_with
            for need, variable in own:
                if group:
                    shared[need.component, group][need.quantity].append(variable)
                else:
                    self._cost_pieces(terms, need.component, variable, need.quantity)
        for component, variable in self.extras.items():
            self._cost_pieces(terms, component, variable, 1)
        for (component, _), by_quantity in shared.items():
            self._cost_shared(terms, component, by_quantity)

    def _cost_shared(
        self, terms: dict[str, WeightedSum], component: str, by_quantity: dict[int, list[Any]]
    ) -> None:
        """One serves all: a step for each quantity asked for, which all greater ones include."""
        before, above = 0, sorted(by_quantity)
        for place, quantity in enumerate(above):
            step = self.model.new_bool_var("")
            asking = [variable for larger in above[place:] for variable in by_quantity[larger]]
            for variable in asking:
                self.model.add_implication(variable, step)
            self.model.add_bool_or([~step, *asking])
            self._cost_pieces(terms, component, step, quantity - before)
            before = quantity

    def _cost_pieces(self, terms: dict[str, WeightedSum], component: str, variable: Any, pieces: int) -> None:
        each = price_each(self.problem.scope, component)
        terms["price"].add(variable, (each or 0) * pieces)
        terms["labour"].add(variable, minutes_each(self.problem.scope, component) * pieces)
        terms["pieces"].add(variable, pieces)

    def _ties(self) -> Iterable[WeightedSum]:
        """Places in name order, the smaller number first; then loose parts, demand by demand."""
        for place in sorted(self.domains):
            values = sorted(self.domains[place], key=lambda c: c or "")
            if len(values) > 1:
                yield self._rank_terms([self.literals[Fit(place, value)] for value in values])
        for number in sorted(self.orders):
            own = sorted(self.orders[number], key=lambda pair: pair[0].component)
            if len(own) > 1:
                yield self._rank_terms([variable for _, variable in own])

    def _rank_terms(self, literals: list[Any]) -> WeightedSum:
        return WeightedSum([(v, rank) for rank, v in enumerate(literals) if rank], 0, len(literals) - 1)

    def ordered_criteria(self) -> list[WeightedSum]:
        """The criteria in the asked order, then the number of loose pieces."""
        criteria = self.criteria()
        names: list[str] = []
        for criterion in whole_preference(self.problem.question.preference):
            names += ["unknown", "price"] if criterion is Criterion.price else [criterion.name]
        return [criteria[name] for name in (*names, "pieces")]

    def packed(self, ordered: Iterable[WeightedSum]) -> list[list[WeightedSum]]:
        """Criteria in stages, so that each stage's weighted objective stays within range."""
        stages: list[list[WeightedSum]] = []
        size = LARGEST_OBJECTIVE
        for terms in ordered:
            if not terms.weights:
                continue
            if size * (terms.most + 1) >= LARGEST_OBJECTIVE:
                stages.append([])
                size = 1
            stages[-1].append(terms)
            size *= terms.most + 1
        return stages

    def expression(self, terms: WeightedSum, factor: int = 1) -> Any:
        model = cp()
        variables = [v for v, _ in terms.weights]
        weights = [w * factor for _, w in terms.weights]
        return model.LinearExpr.weighted_sum(variables, weights) + terms.constant * factor

    def weighted(self, stage: list[WeightedSum]) -> Any:
        """One objective that compares the stage's criteria first to last."""
        factor, parts = 1, []
        for terms in reversed(stage):
            parts.append(self.expression(terms, factor))
            factor *= terms.most + 1
        return sum(parts)

    # Solving --------------------------------------------------------------------------------

    def best(self, seconds: float, unique: bool = True) -> Found:
        """The best set; with `unique`, ties are broken. Raises Unsolvable and OutOfTime."""
        until = self.problem.deadline.within(seconds)
        first, *further = self.packed(self.ordered_criteria()) or [[]]
        found = self._minimise(first, until, None)
        for stage in further:
            found = self._minimise(stage, until, found)
        if unique and self._has_equal(found, until):
            for stage in self.packed(self._ties()):
                found = self._minimise(stage, until, found)
        return found

    def _minimise(self, stage: list[WeightedSum], until: Deadline, known: Found | None) -> Found:
        """Minimise one stage's objective and fix it."""
        if until.passed:
            raise until.over(known, None if known is None else 0.0)
        self.model.clear_objective()
        objective = self.weighted(stage) if stage else None
        if objective is not None:
            self.model.minimize(objective)
        solver, status = self._run(self.model, until)
        if status == cp().INFEASIBLE:
            if known is not None:
                raise RuntimeError("a later criterion cannot be fixed: the solver contradicts itself")
            raise Unsolvable
        if status == cp().UNKNOWN:
            raise until.over(known, None if known is None else 0.0)
        found = self.read(solver)
        if status == cp().FEASIBLE:
            bound = solver.best_objective_bound
            gap = (solver.objective_value - bound) / max(1.0, abs(solver.objective_value))
            raise until.over(found, gap)
        if objective is not None:
            self.model.add(objective == round(solver.objective_value))
        self._hint(solver)
        return found

    def _run(self, model: Any, until: Deadline) -> tuple[Any, int]:
        solver = new_solver(until.left())
        status = solver.solve(model)
        return solver, status

    def _has_equal(self, found: Found, until: Deadline) -> bool:
        """Whether another set costs the same. Raises OutOfTime."""
        open_ones = self.unlike(found)
        if not open_ones:
            return False
        other = self.model.clone()
        other.clear_objective()
        other.clear_hints()
        other.add_bool_or(open_ones)
        _, status = self._run(other, until)
        if status == cp().UNKNOWN:
            raise until.over(found, 0.0)
        return bool(status != cp().INFEASIBLE)

    def unlike(self, found: Found) -> list[Any]:
        """Literals of which one is true in every other set, and none in this one."""
        chosen = [self.literals[Fit(p, c)] for p, c in found.values.items()]
        for number, own in self.orders.items():
            chosen += [v if found.orders.get(number) == need else ~v for need, v in own]
        return [~literal for literal in chosen if literal is not self.true]

    def _hint(self, solver: Any) -> None:
        self.model.clear_hints()
        for literal in self.literals.values():
            if literal is not self.true and literal.index >= 0:
                self.model.add_hint(literal, solver.boolean_value(literal))

    def read(self, solver: Any) -> Found:
        values = {
            fit.position: fit.component
            for fit, literal in self.literals.items()
            if literal is self.true or solver.boolean_value(literal)
        }
        orders = {
            number: need
            for number, own in self.orders.items()
            for need, variable in own
            if solver.boolean_value(variable)
        }
        return Found(dict(sorted(values.items())), orders)


def new_solver(seconds: float) -> Any:
    """A solver that gives the same answer each time: one worker, fixed seed, bounded memory."""
    solver = cp().CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.catch_sigint_signal = False  # else Ctrl-C is nobody's once it has solved
    solver.parameters.linearization_level = 2
    solver.parameters.random_seed = 1
    solver.parameters.max_memory_in_mb = MOST_SOLVER_MEGABYTES
    solver.parameters.max_time_in_seconds = max(seconds, LEAST_SECONDS)
    return solver
