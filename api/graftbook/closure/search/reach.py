"""What the wishes can reach: the part of a rule book that an answer depends on, exactly.

Every place starts with what is there today. A wish adds what satisfies it; a rule that some choice
so far would break adds what satisfies it; a thing of today that stands in the way opens its place
to all candidates. What is never reached stays as today in every best set: sent back to today, it
breaks nothing and makes nothing dearer.
"""

from collections import deque
from collections.abc import Iterable, Iterator
from typing import Literal, overload

from graftbook.closure.answer import Cause
from graftbook.closure.question import Criterion, Limits, PriceAtMost, Question, Wish
from graftbook.closure.search.budgets import at_risk, budget_use, improving_fits
from graftbook.closure.search.deadline import NEVER, Deadline
from graftbook.closure.search.limits import broken_limits
from graftbook.closure.search.problem import (
    BudgetUse,
    Demand,
    DemandKey,
    LooseNeed,
    Problem,
    Regret,
    severity_weight,
)
from graftbook.closure.search.supply import add_on_fits
from graftbook.closure.search.totals import whole_preference
from graftbook.closure.search.wishes import demands_of
from graftbook.closure.words import phrases
from graftbook.rulebook.compare import agrees
from graftbook.rulebook.model import Budget, Companion, Conflict, Joint, Side
from graftbook.rulebook.scope import Fit, Scope, TooLarge, loose_fit

MOST_FITS = 20_000
MOST_DEMANDS = 100_000
MOST_REGRETS = 100_000
MOST_WAYS = 1_000_000
"""What all demands together name."""


def reach(
    scope: Scope, question: Question, limits_as_demands: bool = False, deadline: Deadline = NEVER
) -> Problem:
    """The problem of a question.

    With `limits_as_demands` the limits do not narrow the choices; each forbids as a demand of its
    own, so that it can be blamed. Raises TooLarge and OutOfTime.
    """
    return _Reach(scope, question, limits_as_demands, deadline).run()


def reach_everything(scope: Scope, deadline: Deadline = NEVER) -> Problem:
    """The problem of every wish at once: all that may sit anywhere, and the demands on it, without a wish.

    Raises TooLarge and OutOfTime.
    """
    work = _Reach(scope, Question(scope.vehicle, ()), False, deadline)
    for position in sorted(scope.book.positions):
        work.open(position)
    return work.run()


class _Reach:
    def __init__(self, scope: Scope, question: Question, limits_as_demands: bool, deadline: Deadline) -> None:
        self.scope = scope
        self.index = scope.index
        self.question = question
        self.limits_as_demands = limits_as_demands
        self.unlimited = question.limits == Limits()
        self.deadline = deadline
        self.reached: dict[str, set[str | None]] = {}
        self.waiting: deque[Fit] = deque()
        self.demands: dict[DemandKey, Demand] = {}
        self.regrets: dict[tuple[str, tuple[Fit, ...]], Regret] = {}
        self.budgets: dict[str, Budget] = {}
        self.extras: set[str] = set()
        self.count = self.ways = 0
        order = whole_preference(question.preference)
        before_changes = order[: order.index(Criterion.changes)]
        self.flaws_outrank_changes = Criterion.flaws in before_changes
        self.unconfirmed_outranks_changes = Criterion.unconfirmed in before_changes

    def run(self) -> Problem:
        for wish in self.question.wishes:
            self.follow_wish(wish)
        while self.waiting:
            self.visit(self.waiting.popleft())
        return self.problem()

    def problem(self) -> Problem:
        self.deadline.check()
        domains = {
            place: sorted(values, key=lambda c: c or "") for place, values in sorted(self.reached.items())
        }
        return Problem(
            self.scope,
            self.question,
            domains,
            sorted(self.demands.values(), key=lambda demand: demand.sort_key),
            sorted(self.regrets.values(), key=lambda r: (r.cause, r.name, str(r.when))),
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
        values = self.reached.get(fit.position)
        if (values is not None and fit.component in values) or not self.allowed(fit):
            return
        if values is None:
            values = self.reached[fit.position] = {self.scope.today.get(fit.position)}
            if fit.component in values:
                return
        values.add(fit.component)
        self.count += 1
        if self.count > MOST_FITS:
            raise TooLarge(f"the wishes reach more than {MOST_FITS} choices")
        self.waiting.append(fit)

    def add_demand(self, demand: Demand) -> None:
        key = demand.key
        if key not in self.demands:
            self.deadline.check()
            self.demands[key] = demand
            self.ways += len(demand.when) + len(demand.one_of) + len(demand.loose)
            if len(self.demands) > MOST_DEMANDS or self.ways > MOST_WAYS:
                raise TooLarge(f"the wishes bind more than {MOST_DEMANDS} rules")
        for fit in demand.one_of:
            self.add(fit)
        for need in demand.loose:
            self.add(need.fit)

    def add_regret(self, regret: Regret) -> None:
        self.deadline.check()
        self.regrets[regret.name, regret.when] = regret
        if len(self.regrets) > MOST_REGRETS:
            raise TooLarge(f"more than {MOST_REGRETS} things cannot be determined")

    def open(self, position: str, unless: Iterable[Fit] = ()) -> None:
        """Let anything be chosen in a position whose present component stands in the way."""
        but = set(unless)
        for number in self.scope.options(position):
            if Fit(position, number) not in but:
                self.add(Fit(position, number))

    def chosen(self, position: str) -> set[str | None]:
        return self.reached.get(position, {self.scope.today.get(position)})

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
        if not fit.is_loose:
            self.follow_companions(fit)
            self.follow_pair(fit)
            self.follow_joints(fit)
            self.follow_budgets(fit)
            self.follow_flaws(fit)
            self.follow_leaving(fit)
        self.follow_conflicts(fit)

    def follow_limits(self, fit: Fit) -> None:
        for limit in broken_limits(self.scope, self.question.limits, fit):
            if not isinstance(limit, PriceAtMost):
                told = phrases.of_limit(self.scope.book, limit)
                self.add_demand(Demand(Cause.limit, limit.name, told, when=(fit,)))

    def follow_companions(self, fit: Fit) -> None:
        for number in self.scope.names(fit):
            for rule in self.index.companions_of.get(number, ()):
                if rule.required and rule.position in ("", fit.position) and self.scope.holds(rule):
                    self.add_demand(companion_demand(self.scope, rule, fit, newly=True))

    def follow_pair(self, fit: Fit) -> None:
        place = self.scope.book.positions.get(fit.position)
        if not place or not place.pair:
            return
        hands = pair_values(self.scope, fit.component)
        for other in self.index.pairs[place.pair]:
            if other != fit.position:
                fits = tuple(Fit(other, n) for n in self.scope.options(other) if n in hands)
                title = self.scope.book.positions[other].title
                sentence = phrases.changed_together(place.title, title)
                self.add_demand(Demand(Cause.pair, place.pair, sentence, (fit,), fits, part=other))

    def follow_flaws(self, fit: Fit) -> None:
        for flaw in self.scope.flaws(fit):
            add_ons, loose = add_on_fits(self.scope, flaw.add_ons)
            for number in loose:
                self.extras.add(number)
                self.add(loose_fit(number))
            if self.flaws_outrank_changes:
                for add_on in add_ons:
                    self.add(add_on)
            unless = (*add_ons, *(loose_fit(n) for n in loose))
            self.add_regret(Regret(Cause.flaw, flaw.name, (fit,), unless, severity_weight(flaw.severity)))

    def follow_leaving(self, fit: Fit) -> None:
        """Rules that hold today because of what this would replace."""
        for demand in held_today_by(self.scope, fit.position):
            if demand.key not in self.demands and self.may_all_leave(demand.one_of):
                self.add_demand(demand)
                self.open(demand.when[0].position)

    def may_all_leave(self, fits: tuple[Fit, ...]) -> bool:
        """Whether some choice so far leaves none of the fits in place."""
        by_place: dict[str, set[str | None]] = {}
        for fit in fits:
            by_place.setdefault(fit.position, set()).add(fit.component)
        return all(self.chosen(place) - values for place, values in by_place.items())

    def follow_conflicts(self, fit: Fit) -> None:
        for conflict, mine, theirs in conflicts_touching(self.scope, fit):
            my_side = self.scope.on_side(mine)
            if fit not in my_side:
                continue
            for other, sure in self.scope.on_side(theirs).items():
                if other.position != fit.position:
                    self.follow_meeting(conflict, fit, other, not (sure and my_side[fit]))

    def follow_meeting(self, rule: Conflict | Joint, fit: Fit, other: Fit, undetermined: bool) -> None:
        """Two fits that may not be together, or of which that is not determined."""
        other_is_today = self.scope.is_today(other)
        if not other_is_today and other.component not in self.chosen(other.position):
            return  # met again when the other becomes possible
        cause = Cause.conflict if isinstance(rule, Conflict) else Cause.joint
        when = tuple(sorted((fit, other)))
        if undetermined:
            self.add_regret(Regret(cause, rule.name, when))
            if other_is_today and self.unconfirmed_outranks_changes:
                self.open(other.position)
            return
        self.add_demand(Demand(cause, rule.name, rule.reason, when, grade=rule.grade, claim=rule))
        if other_is_today:
            self.open(other.position)

    def follow_joints(self, fit: Fit) -> None:
        for joint in self.index.joints_at.get(fit.position, ()):
            if not self.scope.holds(joint) or fit.component is None:
                continue
            if joint.position == joint.other_position:
                self.follow_joint_within(joint, fit)
                continue
            other = joint.other_position if fit.position == joint.position else joint.position
            for number in sorted(n for n in {*self.chosen(other), self.scope.today.get(other)} if n):
                verdict = joint_verdict(self.scope, joint, fit, Fit(other, number))
                if verdict is not True:
                    self.follow_meeting(joint, fit, Fit(other, number), verdict is None)

    def follow_joint_within(self, joint: Joint, fit: Fit) -> None:
        verdict = joint_verdict(self.scope, joint, fit, fit)
        if verdict is None:
            self.add_regret(Regret(Cause.joint, joint.name, (fit,)))
        elif verdict is False:
            self.add_demand(
                Demand(Cause.joint, joint.name, joint.reason, (fit,), grade=joint.grade, claim=joint)
            )

    def follow_budgets(self, fit: Fit) -> None:
        for budget in self.index.budgets_at.get(fit.position, ()):
            self.deadline.check()
            if not self.scope.holds(budget):
                continue
            before = self.scope.contribution(budget, self.scope.today_fit(fit.position)) or 0.0
            if (self.scope.contribution(budget, fit) or 0.0) == before or budget.name in self.budgets:
                continue
            if at_risk(self.scope, budget, self.reached):
                self.budgets[budget.name] = budget
                # Whatever gives more than today may be needed to pay for what takes more.
                for better in improving_fits(self.scope, budget):
                    self.add(better)


# Grounding, shared with the reading of a finished set ------------------------------------------


@overload
def companion_demand(scope: Scope, rule: Companion, fit: Fit, newly: Literal[True]) -> Demand: ...


@overload
def companion_demand(scope: Scope, rule: Companion, fit: Fit, newly: bool) -> Demand | None: ...


def companion_demand(scope: Scope, rule: Companion, fit: Fit, newly: bool) -> Demand | None:
    """The demand of a companion rule for its component in one place.

    For a component that stays (`newly` False): None when the rule does not bind, because it is
    broken today or because a loose part would satisfy it.
    """
    one_of = tuple(dict.fromkeys(f for a in rule.alternatives for f in scope.meeting(a)))
    loose = tuple(
        LooseNeed(number, a.quantity)
        for a in rule.alternatives
        if a.loose
        for number in scope.loose_servers(a.component)
    )
    if not newly and (any(a.loose for a in rule.alternatives) or not any(scope.is_today(f) for f in one_of)):
        return None
    return Demand(
        Cause.companion,
        rule.name,
        rule.reason,
        (fit,),
        one_of,
        loose if newly else (),
        rule.one_serves_all,
        newly and not rule.confirmed,
        rule.grade,
        rule,
    )


def held_today_by(scope: Scope, position: str) -> list[Demand]:
    """The demands of what stays that hold today with the help of what sits in the position."""
    known: dict[str, list[Demand]] = scope.notebook.setdefault("held today", {})
    found = known.get(position)
    if found is None:
        found = known[position] = list(_find_held_today_by(scope, scope.today_fit(position)))
    return found


def _find_held_today_by(scope: Scope, today: Fit) -> Iterator[Demand]:
    rules = list(scope.index.companions_met_at.get(today.position, ()))
    for number in scope.index.stands_for(today.component) if today.component else ():
        rules += scope.index.companions_met_by.get(number, ())
    for rule in rules:
        if not rule.required or not scope.holds(rule):
            continue
        if not any(scope.satisfies(today, alternative) for alternative in rule.alternatives):
            continue
        for demander in scope.today_places(rule.component, rule.position):
            demand = companion_demand(scope, rule, demander, newly=False)
            if demand is not None:
                yield demand


def conflicts_touching(scope: Scope, fit: Fit) -> list[tuple[Conflict, Side, Side]]:
    """The conflicts with a side that may speak of this fit, in name order."""
    found: list[tuple[Conflict, Side, Side]] = []
    for number in scope.names(fit):
        found += scope.index.conflicts_of.get(number, ())
    if fit.component is not None:
        found += scope.index.conflicts_at.get(fit.position, ())
    return [entry for entry in found if scope.holds(entry[0])]


def joint_verdict(scope: Scope, joint: Joint, one: Fit, other: Fit) -> bool | None:
    """Whether two fitted components agree; None when a value is not recorded."""
    if one.position != joint.position:
        one, other = other, one
    first = scope.measure(one.component, joint.kind)
    second = scope.measure(other.component, joint.other_kind)
    return agrees(first, joint.comparator, second, joint.margin)


def pair_values(scope: Scope, number: str | None) -> set[str | None]:
    """What the other side of a pair may hold: the same component or its handed twin."""
    if number is None:
        return {None}
    return {number, *scope.index.twins.get(number, ())}
