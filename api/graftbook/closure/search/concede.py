"""The best set by giving way to one contradiction after the other, for what is too wide for elimination.

Everything that a set can be spared is a *hope*: a literal that costs something while it is false.

1. A solver of satisfiability is asked whether all hopes can hold together, the dear ones first.
2. Where they cannot, it names a few that contradict each other, a core. Each set loses at least one of
   them, so the least of their costs is paid. What each costs beyond that stays a hope, and new hopes say
   that no more than one of the few is lost.
3. Once all that is left holds together, what was paid is what the best set costs, and the best sets are
   exactly those in which everything that is left holds.

This is core-guided search with maximum resolution (Narodytska and Bacchus, "Maximum satisfiability using
core-guided MaxSAT resolution", 2014), the dear ones first after Ansótegui, Bonet and Levy ("SAT-based MaxSAT
algorithms", 2013). A new hope only says what a new literal means and forbids nothing. So the same solver,
with all that it has learnt, prices the next best of a place: the place's component is forbidden for once,
and the search goes on from what the best set left; only what is lost beyond it has still to be paid.

Costs are whole numbers of any size: the criteria in the asked order, each a digit that its bound keeps from
carrying over. Budgets are looked at when a set is found: where it breaks one, a clause that says why joins
the others. The price ceiling is not asked. What takes too long here goes to the other solver.
"""

from collections import defaultdict
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from graftbook.closure.search.deadline import Deadline
from graftbook.closure.search.eliminate import breaks_a_sum
from graftbook.closure.search.problem import BudgetUse, Found, LooseNeed, SearchProblem
from graftbook.closure.search.satisfy import MOST_REASONS, exactly_one, pysat
from graftbook.closure.search.tables import Event, Mask, Tables, bits
from graftbook.closure.search.totals import score

MOST_CONFLICTS = 30_000
"""Conflicts of the search for one set, above which the other solver is asked instead."""

CONFLICTS = 2_000
"""Conflicts between two looks at the deadline."""

STEP = 16
"""Hopes that cost at least this part of the dearest one left are asked for together with it."""

SMALL, LARGE = 6, 60
"""A core is made smaller by following what must be alone; up to LARGE, and above SMALL, also by searching."""


class TooHard(Exception):
    """The search takes more steps than it may."""


@dataclass
class Paid:
    """How far a search is: what was given up for certain, and what each hope that is left costs."""

    cost: int = 0
    hopes: dict[int, int] = field(default_factory=dict)

    def hope(self, literal: int, cost: int) -> None:
        """One hope more, or a known one that costs more."""
        self.hopes[literal] = self.hopes.get(literal, 0) + cost

    def lose_one_of(self, core: Iterable[int]) -> int:
        """Pay for the cheapest; what the others cost beyond it is still hoped for."""
        core = tuple(core)
        least = min(self.hopes[literal] for literal in core)
        self.cost += least
        for literal in core:
            self.hopes[literal] -= least
            if not self.hopes[literal]:
                del self.hopes[literal]
        return least

    def dearest(self, known: Container[int] = ()) -> tuple[list[int], int]:
        """Of the hopes beside those known the dear ones, the dearest first, and what they cost at least.

        That is 0 where there are no others.
        """
        others = [(-own, literal) for literal, own in self.hopes.items() if literal not in known]
        bound = min(others, default=(0, 0))[0] // STEP
        return [literal for own, literal in sorted(others) if own <= bound], -bound


class Concession:
    """One problem as clauses and hopes. The best set is in `found` once it is known."""

    def __init__(self, made: Tables) -> None:
        self.made = made
        self.problem: SearchProblem = made.problem
        self.solver = pysat("pysat.solvers").Solver(name="glucose4")
        self.until: Deadline = self.problem.deadline
        self.paid = Paid()
        self._count = self._reasons = self._begun = 0
        self._literals: list[list[int]] = [self._choices(len(values)) for values in made.values]
        self._weights = made.weights()
        self._true: set[int] = set()
        for variables, rows in made.without_budgets.forbidden.items():
            for row in rows:
                self._clause(*(x for pair in zip(variables, row, strict=True) for x in self._not_in(*pair)))
        costs: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
        for variables, priced in made.without_budgets.costs.items():
            for combination, cost in priced.items():
                if len(variables) == 1:
                    costs[variables[0]][combination[0]] += self._weighed(cost)
                else:
                    self._cost_together(variables, combination, self._weighed(cost))
        for variable, of_values in costs.items():
            self._cost_values(variable, of_values)

    # Clauses and hopes --------------------------------------------------------------------------

    def _new(self) -> int:
        self._count += 1
        return self._count

    def _clause(self, *literals: int) -> None:
        self.solver.add_clause(literals)

    def _choices(self, values: int) -> list[int]:
        """A literal for each value of a variable, of which exactly one is true."""
        if values == 2:
            literal = self._new()
            return [-literal, literal]
        literals = [self._new() for _ in range(values)]
        self._count = exactly_one(self.solver, literals, self._count)
        return literals

    def _not_in(self, variable: int, values: Mask) -> Iterator[int]:
        """Literals of which one is true while the variable has none of these values."""
        own = self._literals[variable]
        if values.bit_count() == 1:
            yield -own[values.bit_length() - 1]
        else:
            yield from (own[at] for at in bits(self.made.all_of[variable] & ~values))

    def _weighed(self, cost: Mapping[str, int]) -> int:
        return sum(self._weights[name] * figure for name, figure in cost.items())

    def _cost_together(self, variables: Sequence[int], combination: Sequence[int], cost: int) -> None:
        if cost:
            hope = self._new()
            there = (self._literals[v][at] for v, at in zip(variables, combination, strict=True))
            self._clause(-hope, *(-literal for literal in there))
            self.paid.hope(hope, cost)

    def _cost_values(self, variable: int, costs: Mapping[int, int]) -> None:
        """For each step up from the cheapest values of a variable the hope that it is not taken."""
        own = self._literals[variable]
        every = [costs.get(at, 0) for at in range(len(own))]
        levels = sorted(set(every))
        self.paid.cost += levels[0]
        for level, above in pairwise(levels):
            cheap = [literal for literal, cost in zip(own, every, strict=True) if cost <= level]
            dearer = [literal for literal, cost in zip(own, every, strict=True) if cost > level]
            hope = cheap[0] if len(cheap) == 1 else -dearer[0] if len(dearer) == 1 else self._none_of(dearer)
            self.paid.hope(hope, above - level)

    def _none_of(self, literals: Iterable[int]) -> int:
        none = self._new()
        for literal in literals:
            self._clause(-none, -literal)
        return none

    # Searching ----------------------------------------------------------------------------------

    def _holds(self, assumed: Iterable[int]) -> bool:
        """Whether all of this can be so together. Raises OutOfTime and TooHard."""
        assumed = list(assumed)
        while True:
            self.problem.deadline.check()
            if self.until.passed or self._conflicts() - self._begun > MOST_CONFLICTS:
                raise TooHard
            self.solver.conf_budget(CONFLICTS)
            holds: bool | None = self.solver.solve_limited(assumptions=assumed)
            if holds is not None:
                return holds

    def _conflicts(self) -> int:
        return int(self.solver.accum_stats()["conflicts"])

    def _has_a_set(self, assumed: Iterable[int]) -> bool:
        """Whether a set exists in which all of this is so; `_set` reads the one that was found."""
        assumed = list(assumed)
        while self._holds(assumed):
            self._true = {literal for literal in self.solver.get_model() if literal > 0}
            broken = [use for use in self.problem.budgets if use.broken(self._values())]
            if not broken:
                return True
            for use in broken:
                self._say_why(use)
        return False

    def _say_why(self, use: BudgetUse) -> None:
        self._reasons += 1
        if self._reasons > MOST_REASONS:
            raise TooHard
        ways = [self.made.literal(fit) for fit in use.ways_to_keep(self._values())]
        events = sorted({way for way in ways if isinstance(way, Event)})
        self._clause(*(self._literals[variable][only.bit_length() - 1] for variable, only in events))

    def least(self, assumed: Sequence[int], paid: Paid) -> bool:
        """Pay for all that must be lost while this is so; False: no set has it. Raises OutOfTime, TooHard."""
        self._begun = self._conflicts()
        dear, bound = paid.dearest()
        trusted = dict.fromkeys(dear)
        while True:
            if self._has_a_set((*assumed, *trusted)):
                dear, bound = paid.dearest(trusted)
                if not bound:
                    return True
                trusted.update(dict.fromkeys(dear))
                continue
            core = self._core(assumed, self._blamed(paid.hopes))
            if not core:
                return False
            fresh = self._concede(core, paid)
            for literal in core:
                if paid.hopes.get(literal, 0) < bound:
                    del trusted[literal]
            trusted.update(dict.fromkeys(x for x in fresh if paid.hopes[x] >= bound))

    def _blamed(self, hopes: Mapping[int, int]) -> list[int]:
        """The hopes that the solver blames, the cheapest first."""
        core = [literal for literal in self.solver.get_core() or () if literal in hopes]
        return sorted(core, key=lambda literal: (hopes[literal], abs(literal)))

    def _core(self, assumed: Sequence[int], core: list[int]) -> list[int]:
        """The same contradiction with fewer hopes; the dear ones are kept, so that more is paid at once."""
        for literal in tuple(core):
            fewer = [other for other in core if other != literal]
            if not self.solver.propagate(assumptions=[*assumed, *fewer])[0]:
                core = fewer
        if not SMALL < len(core) <= LARGE:
            return core
        for literal in tuple(core):
            fewer = [other for other in core if other != literal]
            if len(fewer) < len(core) and not self._holds((*assumed, *fewer)):
                blamed = set(self.solver.get_core() or ())
                core = [other for other in fewer if other in blamed]
        return core

    def _concede(self, core: Sequence[int], paid: Paid) -> list[int]:
        """Pay for one of these; the new hopes, each that one literal or all before it hold."""
        cost = paid.lose_one_of(core)
        fresh, before = [], core[-1]
        for at in reversed(range(len(core) - 1)):
            literal, hope = core[at], self._new()
            self._clause(-hope, literal, before)
            paid.hope(hope, cost)
            fresh.append(hope)
            if at:
                both = self._new()
                self._clause(-both, literal)
                self._clause(-both, before)
                before = both
        return fresh

    # Sets ---------------------------------------------------------------------------------------

    def _at(self, variable: int) -> int:
        """The value that a variable has in the set that was found last."""
        own = self._literals[variable]
        return next(at for at, x in enumerate(own) if (x in self._true if x > 0 else -x not in self._true))

    def _values(self) -> dict[str, str | None]:
        made = self.made
        return {
            place: made.values[variable][self._at(variable)]
            if (variable := made.variable_of.get(place)) is not None
            else next(iter(domain))
            for place, domain in sorted(made.domains.items())
        }

    def _orders(self) -> Iterator[tuple[int, LooseNeed]]:
        for number, (event, needs, variable) in self.made.orders.items():
            if event is None or event.values >> self._at(event.variable) & 1:
                yield number, needs[0] if variable is None else self.made.values[variable][self._at(variable)]

    def _set(self) -> Found:
        return Found(self._values(), dict(self._orders()))

    def best(self, unique: bool) -> Found | None:
        """A best set; with `unique` ties are broken by places in name order and the smaller number.

        None: there is no set. Raises OutOfTime and TooHard.
        """
        if not self.least((), self.paid):
            return None
        if unique:
            self._break_ties()
        return self._set()

    def _break_ties(self) -> None:
        """Leave the best set whose places have the smallest numbers as the one that was found last."""
        fixed = list(self.paid.hopes)
        variables = self.made.in_order_of_ties
        while self._has_another(fixed, variables):
            at = self._first_smaller(fixed, variables)
            variables = variables[at:]
            if not variables:
                return

    def _has_another(self, fixed: list[int], variables: Sequence[int]) -> bool:
        """Whether what is fixed leaves a choice; what was found last stays."""
        known, differs = self._true, self._new()
        self._clause(-differs, *(-self._literals[v][self._at(v)] for v in variables))
        found = self._has_a_set((*fixed, differs))
        self._clause(-differs)
        self._true = known
        return found

    def _first_smaller(self, fixed: list[int], variables: Sequence[int]) -> int:
        """Fix variables up to the first that can have a smaller value; how many. Its set is found last."""
        for number, variable in enumerate(variables, 1):
            now = self._at(variable)
            known = self._true
            for at in range(now):
                if self._has_a_set((*fixed, self._literals[variable][at])):
                    break
                self._true = known
            after = self._at(variable)
            fixed.append(self._literals[variable][after])
            if after != now:
                return number
        return len(variables)

    def next_best(self, place: str, best: str | None) -> tuple[Found, dict[str, int]] | None:
        """The best set with another component at a place, of several the smallest; None: there is none.

        With it comes how much more it costs than the best set: criterion, or `unknown` prices, or `pieces`
        ordered loose → figure.

        Raises OutOfTime and TooHard.
        """
        variable = self.made.variable_of.get(place)
        if variable is None:
            return None
        self.until = self.problem.deadline
        own, values = self._literals[variable], self.made.values[variable]
        paid = Paid(self.paid.cost, dict(self.paid.hopes))
        other = -own[values.index(best)]
        if not self.least([other], paid):
            return None
        self._first_smaller([other, *paid.hopes], [variable])
        here, there = self.cost_of(self.paid), self.cost_of(paid)
        return self._set(), {name: there[name] - here[name] for name in there}

    def cost_of(self, paid: Paid) -> dict[str, int]:
        """What was paid as figures, in the order of the problem's criteria; the pieces ordered loose last."""
        left, figures = paid.cost, {}
        for name, weight in self._weights.items():
            figure, left = divmod(left, weight)
            figures[name] = figure + self.made.constant.get(name, 0)
        return figures


def best_by_concession(made: Tables, unique: bool) -> tuple[Found, Concession] | None:
    """The best set and what its next bests are asked of.

    None: this way does not settle it: it takes too long, the best set breaks the price ceiling, or there is
    no set at all, which the other solver then proves. Raises OutOfTime.
    """
    concession = Concession(made)
    concession.until = made.problem.deadline.halfway()
    try:
        found = concession.best(unique)
    except TooHard:
        return None
    if found is None or breaks_a_sum(made.problem, found):
        return None
    # Worked out a second time from the set itself: what was paid must be what it costs.
    *figures, _pieces = concession.cost_of(concession.paid).values()
    return (found, concession) if tuple(figures) == score(made.problem, found) else None
