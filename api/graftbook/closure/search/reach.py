"""What the wishes can reach: the part of a rule book that an answer depends on, exactly.

Every place starts with what is there today. A wish adds what satisfies it; a rule that some choice
so far would break adds what satisfies it; a thing of today that stands in the way opens its place
to all candidates. What is never reached stays as today in every best set: sent back to today, it
breaks nothing and makes nothing dearer.
"""

from collections import deque
from collections.abc import Iterator
from operator import attrgetter

from graftbook.closure.answer import Cause
from graftbook.closure.criteria import Criterion
from graftbook.closure.question import Limits, PriceAtMost, Question, Wish
from graftbook.closure.search.brought import (
    Brings,
    BudgetShift,
    Meeting,
    Remedied,
    brought_on,
    budget_use,
    demands_of,
)
from graftbook.closure.search.deadline import LOOK_EVERY, NEVER, Deadline
from graftbook.closure.search.problem import (
    BudgetUse,
    Demand,
    DemandKey,
    Regret,
    SearchProblem,
    in_order,
)
from graftbook.closure.search.totals import broken_limits, whole_preference
from graftbook.rulebook.model import Budget
from graftbook.rulebook.scope import Fit, Scope, ScopeTooLarge, loose_fit

MOST_FITS = 20_000
MOST_DEMANDS = 100_000
MOST_REGRETS = 100_000
MOST_WAYS = 1_000_000
"""What all demands together name."""


def reach(
    scope: Scope, question: Question, limits_as_demands: bool = False, deadline: Deadline = NEVER
) -> SearchProblem:
    """The problem of a question.

    With `limits_as_demands` the limits do not narrow the choices; each forbids as a demand of its
    own, so that it can be blamed. Raises TooLarge and OutOfTime.
    """
    return _Reach(scope, question, limits_as_demands, deadline).run()


def reach_everything(scope: Scope, deadline: Deadline = NEVER) -> SearchProblem:
    """The problem of every wish at once: all that may sit anywhere, and the demands on it, without a wish.

    Raises TooLarge and OutOfTime.
    """
    deadline.check()
    work = _Reach(scope, Question(scope.vehicle, ()), False, deadline)
    for position in sorted(scope.book.positions):
        work.open(position)
    return work.run()


class _Reach:
    def __init__(self, scope: Scope, question: Question, limits_as_demands: bool, deadline: Deadline) -> None:
        self.scope = scope
        self.brought = brought_on(scope)
        self.question = question
        self.limits_as_demands = limits_as_demands
        self.unlimited = question.limits == Limits()
        self.deadline = deadline
        self.reached: dict[str, set[str | None]] = {}
        self.waiting: deque[Fit] = deque()
        self.demands: dict[DemandKey, Demand] = {}
        self.regrets: dict[tuple[str, tuple[Fit, ...]], Regret] = {}
        self.budgets: dict[str, Budget] = {}
        self.worst: dict[str, int] = {}
        self.least: dict[tuple[str, str], int] = {}
        """Of each budget the least that the choices so far leave, and of each of its positions."""
        self.opened: set[str] = set()
        self.extras: set[str] = set()
        self.count = self.ways = 0
        order = whole_preference(question.preference)
        before_changes = order[: order.index(Criterion.changes)]
        self.flaws_outrank_changes = Criterion.flaws in before_changes
        self.unconfirmed_outranks_changes = Criterion.unconfirmed in before_changes

    def run(self) -> SearchProblem:
        for wish in self.question.wishes:
            self.follow_wish(wish)
        while self.waiting:
            self.visit(self.waiting.popleft())
        return self.problem()

    def problem(self) -> SearchProblem:
        self.deadline.check()
        domains = {place: in_order(values) for place, values in sorted(self.reached.items())}
        return SearchProblem(
            self.scope,
            self.question,
            domains,
            sorted(self.demands.values(), key=attrgetter("sort_key")),
            sorted(self.regrets.values(), key=lambda regret: regret.sort_key),
            list(self.budget_uses(domains)),
            frozenset(self.extras),
            self.deadline,
        )

    def budget_uses(self, domains: dict[str, list[str | None]]) -> Iterator[BudgetUse]:
        for name in sorted(self.budgets):
            self.deadline.check()
            yield budget_use(self.scope, self.budgets[name], domains)

    # Adding ---------------------------------------------------------------------------------

    def allowed(self, fit: Fit) -> bool:
        return (
            self.limits_as_demands
            or self.unlimited
            or not any(broken_limits(self.scope, self.question.limits, fit))
        )

    def add(self, fit: Fit) -> None:
        """Let this be chosen, once, if no limit forbids it."""
        position, component = fit
        values = self.reached.get(position)
        if (values is not None and component in values) or not self.allowed(fit):
            return
        if values is None:
            values = self.reached[position] = {self.scope.today.get(position)}
            if component in values:
                return
        values.add(component)
        self.count += 1
        if self.count > MOST_FITS:
            raise ScopeTooLarge(f"the wishes reach more than {MOST_FITS} choices")
        self.waiting.append(fit)

    def add_demand(self, demand: Demand) -> None:
        if demand.key in self.demands:
            return
        self.demands[demand.key] = demand
        self.ways += len(demand.when) + len(demand.one_of) + len(demand.loose)
        if len(self.demands) > MOST_DEMANDS or self.ways > MOST_WAYS:
            raise ScopeTooLarge(f"the wishes bind more than {MOST_DEMANDS} rules")
        if not len(self.demands) % LOOK_EVERY:
            self.deadline.check()
        for fit in demand.one_of:
            self.add(fit)
        for need in demand.loose:
            self.add(need.fit)

    def add_regret(self, regret: Regret) -> None:
        self.deadline.check()
        self.regrets[regret.name, regret.when] = regret
        if len(self.regrets) > MOST_REGRETS:
            raise ScopeTooLarge(f"more than {MOST_REGRETS} things cannot be determined")

    def open(self, position: str) -> None:
        """Let anything be chosen in a position whose present component stands in the way."""
        if position not in self.opened:
            self.opened.add(position)
            for number in self.scope.options(position):
                self.add(Fit(position, number))

    def chosen(self, position: str) -> set[str | None]:
        return self.reached.get(position) or {self.scope.today.get(position)}

    # Following ------------------------------------------------------------------------------

    def follow_wish(self, wish: Wish) -> None:
        for demand in demands_of(self.scope, wish):
            for fit in demand.one_of:
                if fit.is_loose and fit.component is not None:
                    self.extras.add(fit.component)
            self.add_demand(demand)
            for fit in demand.when:  # a flaw's component may go: anything may take its place
                self.open(fit.position)

    def visit(self, fit: Fit) -> None:
        """Everything that a newly possible fit brings."""
        self.deadline.check()
        if self.limits_as_demands:
            self.follow_limits(fit)
        brings = self.brought.brings(fit)
        for demand in brings.demands:
            self.add_demand(demand)
        for meeting in brings.conflicts:
            self.follow_meeting(meeting)
        if fit.is_loose:
            return
        self.follow_joints(fit, brings)
        for shift in brings.shifts:
            self.follow_budget(shift, fit.position)
        for flaw in brings.flaws:
            self.follow_flaw(flaw)
        self.follow_leaving(fit)

    def follow_limits(self, fit: Fit) -> None:
        for limit in broken_limits(self.scope, self.question.limits, fit):
            if not isinstance(limit, PriceAtMost):
                self.add_demand(Demand(Cause.limit, limit.name, limit, when=(fit,)))

    def follow_flaw(self, flaw: Remedied) -> None:
        for number in flaw.loose:
            self.extras.add(number)
            self.add(loose_fit(number))
        if self.flaws_outrank_changes:
            for add_on in flaw.add_ons:
                self.add(add_on)
        self.add_regret(flaw.regret)

    def follow_leaving(self, fit: Fit) -> None:
        """Rules that hold today because of what this would replace."""
        for demand in self.brought.held_today_by(fit.position):
            if demand.key not in self.demands and self.may_all_leave(demand.one_of):
                self.add_demand(demand)
                self.open(demand.when[0].position)

    def may_all_leave(self, fits: tuple[Fit, ...]) -> bool:
        """Whether some choice so far leaves none of the fits in place."""
        by_place: dict[str, set[str | None]] = {}
        for place, component in fits:
            by_place.setdefault(place, set()).add(component)
        return not any(self.chosen(place) <= values for place, values in by_place.items())

    def follow_meeting(self, meeting: Meeting) -> None:
        """Two fits that may not be together, or of which that is not determined."""
        other = meeting.other
        if not meeting.is_today and other.component not in self.chosen(other.position):
            return  # met again when the other becomes possible
        bars = meeting.bars
        self.bar(bars)
        if meeting.is_today and (isinstance(bars, Demand) or self.unconfirmed_outranks_changes):
            self.open(other.position)

    def bar(self, bars: Demand | Regret) -> None:
        if isinstance(bars, Demand):
            self.add_demand(bars)
        else:
            self.add_regret(bars)

    def follow_joints(self, fit: Fit, brings: Brings) -> None:
        for bars in brings.within:
            self.bar(bars)
        for side in brings.joints:
            chosen = self.chosen(side.position)
            if not chosen <= side.agreed:
                for meeting in self.brought.at_joint(fit, side, chosen):
                    self.follow_meeting(meeting)

    def follow_budget(self, shift: BudgetShift, position: str) -> None:
        """A budget that the choices so far could leave uncovered takes part."""
        budget = shift.budget
        today = self.brought.total_today(budget)
        least = self.least.setdefault((budget.name, position), shift.now)
        worst = self.worst.get(budget.name, today) + min(0, shift.then - least)
        self.least[budget.name, position] = min(least, shift.then)
        self.worst[budget.name] = worst
        if budget.name not in self.budgets and (worst < 0 or today < 0):
            self.budgets[budget.name] = budget
            # Whatever gives more than today may be needed to pay for what takes more.
            for better in self.brought.improving(budget):
                self.add(better)
