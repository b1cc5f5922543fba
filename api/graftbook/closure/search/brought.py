"""What a wish demands, and what each fit brings on one vehicle: the book's rules as demands and regrets.

Nothing that fits bring depends on the question, so it stays with the scope: the next question to the same
vehicle finds it there. Budgets are in whole units: the supplies of a characteristic must cover the demands.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from typing import Literal, overload

from graftbook.closure.answer import Cause, ChangedTogether, FlawAsked, MetAlready
from graftbook.closure.question import ClearPosition, FitComponent, RemedyFlaw, RemedyFlaws, Wish
from graftbook.closure.search.problem import BudgetUse, Demand, LooseNeed, Regret, severity_weight
from graftbook.closure.search.totals import fit_cost
from graftbook.rulebook.compare import agrees
from graftbook.rulebook.index import BookIndex, kept
from graftbook.rulebook.model import Budget, Companion, Conflict, Flaw, Joint, Side
from graftbook.rulebook.scope import Fit, Scope, loose_fit

_DIGITS = 7
"""Contributions are rounded to this many digits of the greatest value that the book records.

Not more: with twelve digits the solver called a possible question impossible.
"""

MOST_UNITS_KEPT = 100_000
"""Contributions of one vehicle that are remembered; more than these, and all are forgotten."""


@kept
def _scales(_index: BookIndex) -> dict[str, float]:
    return {}


def scale_of(scope: Scope, budget: Budget) -> float:
    """Whole units in one SI unit: the same for every question to the book."""
    scales = _scales(scope.index)
    if budget.name not in scales:
        greatest = 1e-9
        for component in scope.book.components.values():
            for kind in (budget.supply_kind, budget.demand_kind):
                measure = component.characteristics.get(kind)
                if measure is not None and measure.low is not None and measure.high is not None:
                    greatest = max(greatest, abs(measure.low), abs(measure.high))
        scales[budget.name] = 10.0 ** (_DIGITS - math.ceil(math.log10(greatest)))
    return scales[budget.name]


def units_of(scope: Scope, budget: Budget, fit: Fit) -> int:
    """Supply less demand of what sits there, in whole units; 0 when neither kind is recorded."""
    return round((scope.contribution(budget, fit) or 0.0) * scale_of(scope, budget))


def budget_use(scope: Scope, budget: Budget, domains: Mapping[str, list[str | None]]) -> BudgetUse:
    """The budget over the choices of a problem."""
    brought = brought_on(scope)
    inside = {p: units for p, units in brought.units_today(budget).items() if p in domains}
    total = brought.total_today(budget)
    return BudgetUse(
        budget,
        {p: brought.units(budget, p, domains[p]) for p in inside},
        inside,
        total - sum(inside.values()),
        total >= 0,
    )


def improving_fits(scope: Scope, budget: Budget) -> Iterator[Fit]:
    """Whatever gives more, or takes less, than what sits there today."""
    for position in scope.index.positions_of_budget[budget.name]:
        now = units_of(scope, budget, scope.today_fit(position))
        for number in scope.options(position):
            if units_of(scope, budget, Fit(position, number)) > now:
                yield Fit(position, number)


def demands_of(scope: Scope, wish: Wish) -> list[Demand]:
    """The demands of one wish; a flaw that the vehicle does not have demands nothing."""
    match wish:
        case FitComponent():
            return [fit_demand(scope, wish)]
        case ClearPosition():
            empty = (Fit(wish.position, None),) if None in scope.options(wish.position) else ()
            return [Demand(Cause.wish, wish.name, wish, (), empty, part=wish.position)]
        case RemedyFlaw():
            return [
                demand
                for flaw, fit in flaws_asked(scope, wish)
                for demand in _remedy(scope, Cause.wish, wish.name, wish, flaw, fit)
            ]
        case RemedyFlaws():
            return [
                demand
                for flaw, fit in flaws_asked(scope, wish)
                for demand in _remedy(scope, Cause.flaw, flaw.name, FlawAsked(flaw, wish), flaw, fit)
            ]


def fit_demand(scope: Scope, wish: FitComponent) -> Demand:
    """The demand of "fit this": at its position or any that it fits, or ordered loose."""
    fits = scope.serving(wish.component, wish.position)
    loose: tuple[LooseNeed, ...] = ()
    if not wish.position and not fits and wish.component in scope.index.loose:
        loose = tuple(LooseNeed(n, wish.quantity) for n in scope.loose_servers(wish.component))
    return Demand(Cause.wish, wish.name, wish, (), fits, loose, part=wish.position)


def flaws_asked(scope: Scope, wish: RemedyFlaw | RemedyFlaws) -> Iterator[tuple[Flaw, Fit]]:
    """Each flaw that the wish names, with each place where the vehicle has it today."""
    if isinstance(wish, RemedyFlaw):
        named, section = [f for f in (scope.index.flaws.get(wish.flaw),) if f], ""
    else:
        named = [flaw for flaw in scope.index.flaws.values() if flaw.severity >= wish.at_least]
        section = wish.section
    for flaw in named:
        if scope.holds(flaw):
            for fit in scope.flawed_today(flaw):
                if section in ("", scope.book.positions[fit.position].section):
                    yield flaw, fit


def met_already(scope: Scope, wish: Wish) -> MetAlready | None:
    """Why a wish to remedy asks for nothing; None where it asks for something, and for every other wish."""
    if not isinstance(wish, RemedyFlaw | RemedyFlaws) or any(True for _ in flaws_asked(scope, wish)):
        return None
    known = isinstance(wish, RemedyFlaws) or wish.flaw in scope.index.flaws
    return MetAlready.not_here if known else MetAlready.not_of_variant


def _remedy(
    scope: Scope, cause: Cause, name: str, ground: RemedyFlaw | FlawAsked, flaw: Flaw, fit: Fit
) -> Iterator[Demand]:
    """The flawed component goes, and none with the same flaw comes, or an add-on is fitted."""
    add_ons, loose = add_on_fits(scope, flaw.add_ons)
    one_of = (*add_ons, *(loose_fit(number) for number in loose))
    carriers = (carrier for number in flaw.components for carrier in scope.places(number))
    for carrier in dict.fromkeys(carriers):
        if carrier.position == fit.position:
            yield Demand(cause, name, ground, (carrier,), one_of, grade=flaw.grade)


def add_on_fits(scope: Scope, numbers: Iterable[str]) -> tuple[list[Fit], list[str]]:
    """Where add-ons may be fitted, and which may be ordered loose."""
    fits: list[Fit] = []
    loose: list[str] = []
    for number in numbers:
        fits.extend(f for f in scope.serving(number) if f not in fits)
        if number in scope.index.loose:
            loose.extend(n for n in scope.loose_servers(number) if n not in loose)
    return fits, loose


MOST_KEPT = 50_000
"""Fits, and pairs of fits, of one vehicle that are remembered; more than these, and all are forgotten."""


_Bars = dict[tuple[Cause, str, tuple[Fit, ...], bool], Demand | Regret]
"""What keeps two fits apart, by the rule, the two, and whether that is undetermined."""


@dataclass(slots=True)
class Meeting:
    """Two fits that may not be together, or of which that is not determined, seen from one of them."""

    rule: Conflict | Joint
    fit: Fit
    other: Fit
    is_today: bool
    undetermined: bool
    _known: _Bars
    _bars: Demand | Regret | None = None

    @property
    def bars(self) -> Demand | Regret:
        """The demand that keeps them apart, or the regret; made when first asked for from either side."""
        if self._bars is None:
            rule = self.rule
            cause = Cause.conflict if isinstance(rule, Conflict) else Cause.joint
            when = (self.fit, self.other) if self.fit < self.other else (self.other, self.fit)
            key = (cause, rule.name, when, self.undetermined)
            if (bars := self._known.get(key)) is None:
                bars = self._known[key] = (
                    Regret(cause, rule.name, rule, when)
                    if self.undetermined
                    else Demand(cause, rule.name, rule, when, grade=rule.grade)
                )
            self._bars = bars
        return self._bars


@dataclass(frozen=True, slots=True)
class Remedied:
    """A flaw that a fit brings, and what takes it away: add-ons in a place, and loose ones."""

    regret: Regret
    add_ons: tuple[Fit, ...]
    loose: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class BudgetShift:
    """A budget that a fit changes: what the fit contributes instead of today's, in whole units."""

    budget: Budget
    now: int
    then: int


@dataclass(frozen=True, slots=True)
class OtherSide:
    """The other position of a joint at which a fit is. As far as it was asked: `agreed` is what may sit there
    beside the fit, `met` what does not agree with it → how the fit meets it."""

    joint: Joint
    position: str
    met: dict[str | None, Meeting] = field(default_factory=dict, compare=False)
    agreed: set[str | None] = field(default_factory=lambda: {None}, compare=False)


@dataclass(slots=True)
class Brings:
    """Everything that one fit brings, whatever else is chosen."""

    demands: tuple[Demand, ...]
    conflicts: tuple[Meeting, ...]
    within: tuple[Demand | Regret, ...]
    """Of joints between two kinds of the fit itself."""
    joints: tuple[OtherSide, ...]
    flaws: tuple[Remedied, ...]
    shifts: tuple[BudgetShift, ...]
    cost: Mapping[str, int]
    """Criterion → what the fit itself costs; only what it costs at all."""


class Brought:
    """The rules of the book on one vehicle."""

    def __init__(self, scope: Scope) -> None:
        self.scope = scope
        self._brings: dict[Fit, Brings] = {}
        self._held: dict[str, list[Demand]] = {}
        self._today: dict[str, dict[str, int]] = {}
        self._totals: dict[str, int] = {}
        self._units: dict[tuple[str, str], dict[str | None, int]] = {}
        self._weighed = 0
        self._improving: dict[str, tuple[Fit, ...]] = {}
        self._bars: _Bars = {}
        self._met = 0

    def brings(self, fit: Fit) -> Brings:
        """What this fit brings."""
        found = self._brings.get(fit)
        if found is None:
            if len(self._brings) + self._met > MOST_KEPT:
                self._brings.clear()
                self._bars.clear()
                self._met = 0
            found = self._brings[fit] = self._find(fit)
        return found

    def _find(self, fit: Fit) -> Brings:
        conflicts = tuple(self._conflicts(fit))
        cost = {name: figure for name, figure in fit_cost(self.scope, fit)._asdict().items() if figure}
        if fit.is_loose:
            return Brings((), conflicts, (), (), (), (), cost)
        joints = [j for j in self.scope.index.joints_at.get(fit.position, ()) if self.scope.holds(j)]
        if fit.component is None:
            joints = []
        return Brings(
            (*self._companions(fit), *self._pair(fit)),
            conflicts,
            tuple(bar for j in joints if j.position == j.other_position for bar in self._within(j, fit)),
            tuple(
                OtherSide(j, j.other_position if fit.position == j.position else j.position)
                for j in joints
                if j.position != j.other_position
            ),
            tuple(self._flaws(fit)),
            tuple(self._shifts(fit)),
            cost,
        )

    def _companions(self, fit: Fit) -> Iterator[Demand]:
        for number in self.scope.names(fit):
            for rule in self.scope.index.companions_of.get(number, ()):
                if rule.required and rule.position in ("", fit.position) and self.scope.holds(rule):
                    yield companion_demand(self.scope, rule, fit, newly=True)

    def _pair(self, fit: Fit) -> Iterator[Demand]:
        place = self.scope.book.positions.get(fit.position)
        if not place or not place.pair:
            return
        hands = pair_values(self.scope, fit.component)
        for other in self.scope.index.pairs[place.pair]:
            if other != fit.position:
                fits = tuple(Fit(other, n) for n in self.scope.options(other) if n in hands)
                together = ChangedTogether(fit.position, other)
                yield Demand(Cause.pair, place.pair, together, (fit,), fits, part=other)

    def _flaws(self, fit: Fit) -> Iterator[Remedied]:
        for flaw in self.scope.flaws(fit):
            add_ons, loose = add_on_fits(self.scope, flaw.add_ons)
            unless = (*add_ons, *(LooseNeed(n, 1).fit for n in loose))
            regret = Regret(Cause.flaw, flaw.name, flaw, (fit,), unless, severity_weight(flaw.severity))
            yield Remedied(regret, tuple(add_ons), tuple(loose))

    def _conflicts(self, fit: Fit) -> Iterator[Meeting]:
        for conflict, mine, theirs in conflicts_touching(self.scope, fit):
            my_side = self.scope.on_side(mine)
            if fit not in my_side:
                continue
            for other, sure in self.scope.on_side(theirs).items():
                if other.position != fit.position:
                    yield self._meeting(conflict, fit, other, not (sure and my_side[fit]))

    def _meeting(self, rule: Conflict | Joint, fit: Fit, other: Fit, undetermined: bool) -> Meeting:
        return Meeting(rule, fit, other, self.scope.is_today(other), undetermined, self._bars)

    def at_joint(self, fit: Fit, side: OtherSide, numbers: AbstractSet[str | None]) -> Iterator[Meeting]:
        """How a fit meets those of what could sit at the other side of a joint that do not agree with it."""
        for number in numbers - side.agreed:
            if (meeting := side.met.get(number)) is None:
                other = Fit(side.position, number)
                verdict = joint_verdict(self.scope, side.joint, fit, other)
                self._met += 1
                if verdict:
                    side.agreed.add(number)
                    continue
                meeting = side.met[number] = self._meeting(side.joint, fit, other, verdict is None)
            yield meeting

    def at_joints_today(self, fit: Fit) -> Iterator[Meeting]:
        """How a fit meets what sits today at the other sides of its joints, where they do not agree."""
        for side in self.brings(fit).joints:
            number = self.scope.today.get(side.position)
            if number:
                yield from self.at_joint(fit, side, {number})

    def _within(self, joint: Joint, fit: Fit) -> Iterator[Demand | Regret]:
        verdict = joint_verdict(self.scope, joint, fit, fit)
        if verdict is None:
            yield Regret(Cause.joint, joint.name, joint, (fit,))
        elif verdict is False:
            yield Demand(Cause.joint, joint.name, joint, (fit,), grade=joint.grade)

    def _shifts(self, fit: Fit) -> Iterator[BudgetShift]:
        today = self.scope.today_fit(fit.position)
        for budget in self.scope.index.budgets_at.get(fit.position, ()):
            if not self.scope.holds(budget):
                continue
            before = self.scope.contribution(budget, today) or 0.0
            if (self.scope.contribution(budget, fit) or 0.0) != before:
                yield BudgetShift(
                    budget, units_of(self.scope, budget, today), units_of(self.scope, budget, fit)
                )

    def units_today(self, budget: Budget) -> dict[str, int]:
        """Position of the budget → what today's component gives of it, in whole units."""
        found = self._today.get(budget.name)
        if found is None:
            places, today_fit = self.scope.index.positions_of_budget[budget.name], self.scope.today_fit
            found = self._today[budget.name] = {p: units_of(self.scope, budget, today_fit(p)) for p in places}
        return found

    def units(self, budget: Budget, position: str, numbers: Iterable[str | None]) -> dict[str | None, int]:
        """What each of these would give of a budget in a position, in whole units."""
        if self._weighed > MOST_UNITS_KEPT:
            self._units.clear()
            self._weighed = 0
        known = self._units.setdefault((budget.name, position), {})
        for number in numbers:
            if number not in known:
                known[number] = units_of(self.scope, budget, Fit(position, number))
                self._weighed += 1
        return {number: known[number] for number in numbers}

    def total_today(self, budget: Budget) -> int:
        """What today's components leave of a budget, in whole units."""
        if budget.name not in self._totals:
            self._totals[budget.name] = sum(self.units_today(budget).values())
        return self._totals[budget.name]

    def improving(self, budget: Budget) -> tuple[Fit, ...]:
        """Whatever gives more, or takes less, than what sits there today."""
        if budget.name not in self._improving:
            self._improving[budget.name] = tuple(improving_fits(self.scope, budget))
        return self._improving[budget.name]

    def held_today_by(self, position: str) -> list[Demand]:
        """The demands of what stays that hold today with the help of what sits in the position."""
        found = self._held.get(position)
        if found is None:
            found = self._held[position] = list(
                _find_held_today_by(self.scope, self.scope.today_fit(position))
            )
        return found


@kept
def brought_on(scope: Scope) -> Brought:
    """The rules on a scope's vehicle."""
    return Brought(scope)


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
        rule,
        (fit,),
        one_of,
        loose if newly else (),
        rule.one_serves_all,
        newly and not rule.confirmed,
        rule.grade,
    )


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
