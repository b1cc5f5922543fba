"""Why no set exists: the smallest groups of wishes, limits and rules that cannot all hold.

First a group that cannot be made smaller by leaving one out (divide and conquer), then the proof
that none has fewer members: the least group that meets every known way of making the rest possible
is tried until it is itself contradictory.
"""

from collections import OrderedDict
from collections.abc import Collection, Iterable, Iterator

from graftbook.closure.answer import Because, Cause, Cheapest, Contradiction, FurtherParts, Note, PriceMissing
from graftbook.closure.criteria import Totals
from graftbook.closure.question import PriceAtMost
from graftbook.closure.search.constrain import Unsolvable
from graftbook.closure.search.deadline import OutOfTime
from graftbook.closure.search.facts import facts_of
from graftbook.closure.search.problem import CEILING, Demand, Found, SearchProblem, Switch
from graftbook.closure.search.propagate import Contradicts, Propagation
from graftbook.closure.search.satisfy import Clauses, TooManyReasons, pysat
from graftbook.closure.search.solve import any_set, best_below, by_price, solve
from graftbook.closure.search.totals import totals_of

MOST_CHECKS = 4000
MOST_WORK = 3_000_000
"""Checks of a group times demands of the problem: what the proof of "smallest" may take."""
DEARER = 50
"""How many times as much a check under a price ceiling takes: a cheapest set instead of any."""
MOST_CONTRADICTIONS = 4
MOST_TOLD = 7
"""Parts of a contradiction with a price ceiling from which its sum is told instead of its rules."""
MOST_PARTS = 60
"""Parts of a contradiction that are told; beyond them, how many more rules have a share in it."""
MOST_REMEMBERED = 200
"""Groups that were checked and are remembered."""
SECONDS_EACH = 2.0
"""Time for one set that an explanation or a way out is measured by."""
GIVEABLE = (Cause.wish, Cause.flaw, Cause.limit)
"""What the asker can give up; rules stand."""


class Blame:
    """Which groups of a problem's switches can hold together; remembers what it found lately.

    `late` says that the deadline stopped a group from being made smaller. What asks for a set raises
    OutOfTime.
    """

    def __init__(self, problem: SearchProblem) -> None:
        self.problem = problem
        self.switches = list(problem.switches())
        self.checks = 0
        self.late = False
        self._certain = 0
        self._demands: dict[Switch, list[Demand]] = {}
        for demand in problem.demands:
            self._demands.setdefault(demand.switch, []).append(demand)
        self._clauses: Clauses | None = Clauses(problem)
        self._known: OrderedDict[frozenset[Switch], Found | None] = OrderedDict()

    @property
    def rules(self) -> list[Switch]:
        return [s for s in self.switches if s[0] not in GIVEABLE]

    @property
    def giveable(self) -> list[Switch]:
        return [s for s in self.switches if s[0] in GIVEABLE]

    def set_for(self, switches: Iterable[Switch]) -> Found | None:
        """A set that fulfils all of these, or None."""
        group = frozenset(switches)
        if group not in self._known:
            self.checks += 1
            self._known[group] = self._look_for(group)
            if len(self._known) > MOST_REMEMBERED:
                self._known.popitem(last=False)
        return self._known[group]

    def _look_for(self, group: frozenset[Switch]) -> Found | None:
        if CEILING not in group and self._clauses is not None:
            try:
                return self._clauses.set_for(group)
            except TooManyReasons:
                self._clauses = None
        return any_set(self.problem.only(group))

    def possible(self, switches: Iterable[Switch]) -> bool:
        return self.set_for(switches) is not None

    def most_checks(self, among: Collection[Switch]) -> int:
        """How many checks of groups among these may be spent."""
        return MOST_WORK // (DEARER if CEILING in among else 1) // (1 + len(self.problem.demands))

    def contradicts(self, switches: list[Switch]) -> bool:
        """Whether these surely cannot hold together; False as well when that is not known in time."""
        return not self._surely_possible(switches)

    # A group that cannot be made smaller ----------------------------------------------------

    def core(self, background: list[Switch], suspects: list[Switch], most: int = MOST_CHECKS) -> list[Switch]:
        """The suspects of a contradiction none of which can be left out; early ones are kept.

        When it gets late, some of them perhaps can; likewise as soon as more than `most` are sure to be told.
        """
        self._certain = 0
        return self._divide(background, False, suspects, most) if suspects else []

    def _divide(
        self, background: list[Switch], added: bool, suspects: list[Switch], most: int
    ) -> list[Switch]:
        if added and self._certain <= most and not self._surely_possible(background):
            return []
        if len(suspects) == 1 or self.late or self._certain > most:
            self._certain += 1
            return suspects
        half = len(suspects) // 2
        first, second = suspects[:half], suspects[half:]
        from_second = self._divide(background + first, True, second, most)
        from_first = self._divide(background + from_second, bool(from_second), first, most)
        return from_first + from_second

    def _surely_possible(self, switches: list[Switch]) -> bool:
        """Whether these can hold together; True as well when that is not known in time."""
        try:
            return self.late or self.possible(switches)
        except OutOfTime:
            self.late = True
            return True

    # The smallest ---------------------------------------------------------------------------

    def smallest(self, among: list[Switch]) -> tuple[list[Switch], bool]:
        """A smallest contradictory group, and whether it is proved that none is smaller.

        All of them when there was no time to look for those that can be left out.
        """
        core = among
        try:
            core = suspects = self._suspects(among)
            by_sum = CEILING in suspects and self.possible(set(suspects) - {CEILING})
            core = self.core([], suspects, MOST_TOLD if by_sum else len(suspects))
            return (core, False) if self.late or told_by_sum(core) else self._proved_smallest(core, among)
        except OutOfTime:
            self.late = True
            return core, False

    def _proved_smallest(self, core: list[Switch], among: list[Switch]) -> tuple[list[Switch], bool]:
        least = LeastMeeting(among)
        end = self.checks + min(MOST_CHECKS, self.most_checks(among))
        while self.checks < end:
            self.problem.deadline.check()
            group = least.group()
            if group is None or len(group) >= len(core):
                return core, True
            found = self.set_for(group)
            if found is None:
                return group, True
            least.must_meet(frozenset(among) - self._grown(group, found, among, end))
        return core, False

    def _suspects(self, among: list[Switch]) -> list[Switch]:
        """The switches that propagation needs for a contradiction, else those that break a price ceiling."""
        propagation = Propagation(self.problem.only(frozenset(among)))
        try:
            propagation.run()
        except Contradicts:
            used = {demand.switch for demand in propagation.used}
            return [switch for switch in among if switch in used]
        except OutOfTime:
            self.late = True
            return among
        return self._enough(among) if CEILING in among else among

    def _enough(self, among: list[Switch]) -> list[Switch]:
        """The wishes, the limits and as many rules as it takes for a contradiction under a price ceiling.

        What the cheapest set without them breaks is taken in until no set is left: rules far from the wishes,
        of which there are hundreds, are never asked about.
        """
        taken = {switch for switch in among if switch[0] in GIVEABLE}
        while (found := self.set_for(taken)) is not None:
            broken = set(among) - taken - self._held_in(found, among, taken)
            if not broken:
                return among
            taken |= broken
        return [switch for switch in among if switch in taken]

    def _grown(self, group: list[Switch], found: Found, among: list[Switch], end: int) -> set[Switch]:
        """A group as large as easily found that still can hold together."""
        held = set(group) | self._held_in(found, among, group)
        for switch in among:
            if self.checks >= end:
                break
            if switch not in held and (more := self.set_for(held | {switch})) is not None:
                held |= {switch} | self._held_in(more, among, held | {switch})
        return held

    def _held_in(self, found: Found, among: list[Switch], group: Collection[Switch]) -> set[Switch]:
        """The switches that a set fulfils beside the group it was found for.

        A loose part that is ordered anyway meets a further demand, but under a price ceiling not for nothing.
        """
        priced = CEILING in group
        broken = {use.switch for use in self.problem.budgets if use.broken(found.values)} | {CEILING}
        return {
            switch
            for switch in among
            if switch in group
            or (
                switch not in broken
                and all(self._meets(found, demand, priced) for demand in self._demands.get(switch, ()))
            )
        }

    def _meets(self, found: Found, demand: Demand, priced: bool) -> bool:
        values, true_in = found.values, self.problem.true_in
        for fit in demand.when:
            if not true_in(values, fit):
                return True
        for fit in demand.one_of:
            if true_in(values, fit):
                return True
        return not priced and any(true_in(values, need.fit) for need in demand.loose)


class LeastMeeting:
    """The least group that has a member of every set given so far; of equals, one with fewest rules.

    A minimum hitting set, kept as the sets come in (Ignatiev and others, "Smallest MUS extraction with
    minimal hitting set dualization", 2015).
    """

    def __init__(self, among: list[Switch]) -> None:
        self.among = among
        self.at = {switch: number for number, switch in enumerate(among, 1)}
        formula = pysat("pysat.formula").WCNF()
        for switch, number in self.at.items():
            formula.append([-number], weight=len(among) + 1 + (switch[0] not in GIVEABLE))
        self._search = pysat("pysat.examples.rc2").RC2(formula, solver="g4")
        self._clauses: list[list[int]] = []

    def must_meet(self, group: Collection[Switch]) -> None:
        """The group must have a member of this set too."""
        self._add(sorted(self.at[switch] for switch in group))

    def must_not_hold(self, group: Collection[Switch]) -> None:
        """The group may not hold all of these."""
        self._add(sorted(-self.at[switch] for switch in group))

    def _add(self, clause: list[int]) -> None:
        self._clauses.append(clause)
        if clause:
            self._search.add_clause(clause)

    def group(self) -> list[Switch] | None:
        """The least group; nothing where nothing must be met; None where no group will do."""
        if not all(self._clauses):
            return None
        chosen = self._search.compute() if self._clauses else []
        return None if chosen is None else [self.among[n - 1] for n in chosen if 0 < n <= len(self.among)]

    def first_group(self) -> list[Switch] | None:
        """Of the least groups the first: that with the earliest member of `among`, then the next earliest."""
        least = self.group()
        if not least:
            return least
        members = sorted({abs(literal) for clause in self._clauses for literal in clause})
        card = pysat("pysat.card")
        no_more = card.CardEnc.atmost(
            members, len(least), top_id=len(self.among), encoding=card.EncType.seqcounter
        )
        chosen: list[int] = []
        with pysat("pysat.solvers").Solver(name="glucose4", bootstrap_with=self._clauses) as solver:
            solver.append_formula(no_more.clauses)
            for number in members:
                if len(chosen) < len(least) and solver.solve(assumptions=[*chosen, number]):
                    chosen.append(number)
                else:
                    solver.add_clause([-number])
        return [self.among[number - 1] for number in chosen]


def contradictions_of(
    blame: Blame, at_most: int = MOST_CONTRADICTIONS
) -> tuple[list[Contradiction], list[frozenset[Switch]]]:
    """Contradictions that have no wish and no limit in common, smallest groups of each.

    Also the groups themselves. In a very large problem, or when it gets late, the first is told, and not
    every further one.
    """
    left = list(blame.switches)
    found: list[Contradiction] = []
    groups: list[frozenset[Switch]] = []
    most = blame.most_checks(blame.switches)
    while len(found) < at_most and (not found or blame.contradicts(left)):
        if found and blame.checks > most:
            break  # the ways out still mend what is not told
        parts, proved = blame.smallest(in_order_of_blame(left))
        if told_by_sum(parts):
            parts = blame.core(blame.rules, [s for s in parts if s[0] in GIVEABLE])
            found.append(_too_dear(blame.problem, parts))
        else:
            found.append(_contradiction(blame.problem, parts, proved))
        groups.append(frozenset(parts))
        blamed = groups[-1]
        left = [s for s in left if s not in blamed or s[0] not in GIVEABLE]
    return found, groups


def told_by_sum(parts: Collection[Switch]) -> bool:
    """Whether so many rules have a share in what breaks a price ceiling that their sum is told instead."""
    return CEILING in parts and len(parts) > MOST_TOLD


def in_order_of_blame(switches: list[Switch]) -> list[Switch]:
    """Wishes, then limits, then rules: what the asker can change is blamed first."""
    order = {Cause.wish: 0, Cause.flaw: 1, Cause.limit: 2}
    return sorted(switches, key=lambda s: (order.get(s[0], 3), s))


def _too_dear(problem: SearchProblem, parts: list[Switch]) -> Contradiction:
    """A price ceiling against wishes, where too many rules each have their share in the sum to be told.

    The fact told instead is what the cheapest set costs; the rules stand behind it whole, so what is
    named is not called smallest.
    """
    shown = [*in_order_of_blame([s for s in parts if s != CEILING])[: MOST_PARTS - 1], CEILING]
    because = tuple(because_of(problem, switch) for switch in shown)
    more = (_further(len(parts) - len(shown)),) if len(parts) > len(shown) else ()
    rules = [s for s in problem.switches() if s[0] not in GIVEABLE]
    free = problem.only([*rules, *(s for s in parts if s != CEILING)])
    totals = best_totals(by_price(free))
    if totals is None:  # no time for the sum; the contradiction stands proved without it
        return Contradiction(because, more, smallest=False)
    cheapest = Note(Cause.fact, "cheapest", Cheapest(totals.price, totals.unknown_prices))
    return Contradiction(because, (cheapest, *more), smallest=False)


def _further(count: int) -> Note:
    return Note(Cause.fact, "further parts", FurtherParts(count))


def best_totals(problem: SearchProblem) -> Totals | None:
    """What the best set costs; None when there is none, or none in time."""
    try:
        problem.deadline.check()
        found = solve(problem, SECONDS_EACH, unique=False).found
    except (Unsolvable, OutOfTime):
        return None
    return totals_of(problem, found)


def _contradiction(problem: SearchProblem, parts: list[Switch], proved: bool) -> Contradiction:
    parts = in_order_of_blame(parts)
    because = tuple(because_of(problem, switch) for switch in parts[:MOST_PARTS])
    if len(parts) > MOST_PARTS:
        return Contradiction(because, (_further(len(parts) - MOST_PARTS),), smallest=False)
    try:
        facts = facts_of(problem.only(parts))
    except OutOfTime:
        facts = ()
    return Contradiction(because, (*facts, *_price_not_known(problem, parts)), proved)


def _price_not_known(problem: SearchProblem, parts: list[Switch]) -> Iterator[Note]:
    """That a price ceiling is broken by a price that is missing, not by a sum."""
    ceiling = problem.question.limits.price_at_most
    if CEILING not in parts or ceiling is None:
        return
    try:
        rest = by_price(problem.only([s for s in parts if s != CEILING]))
        found = best_below(rest, Propagation(rest).run(), ceiling, SECONDS_EACH)
    except (Contradicts, Unsolvable, OutOfTime):
        return
    if unknown := totals_of(problem, found).unknown_prices:
        yield Note(Cause.fact, "price not known", PriceMissing(unknown))


def because_of(problem: SearchProblem, switch: Switch) -> Because:
    """A wish, limit or rule as a part of an explanation."""
    cause, name = switch
    for demand in problem.demands:
        if demand.switch == switch:
            return Because(cause, name, demand.ground, grade=demand.grade)
    for use in problem.budgets:
        if use.switch == switch:
            return Because(cause, name, use.budget, grade=use.budget.grade)
    ceiling = problem.question.limits.price_at_most
    return Because(cause, name, PriceAtMost(ceiling or 0))
