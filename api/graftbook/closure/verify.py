"""The separate checker: it evaluates the rules on a finished set and knows nothing of how it came.

Every answer passes it before it is given. It is also how a proposed set is read.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

from graftbook.closure.answer import CannotSit, Cause, ChangedTogether, Ground, NotSupplied, PriceUnknown
from graftbook.closure.question import (
    ClearPosition,
    FitComponent,
    Limits,
    PriceAtMost,
    Question,
    RemedyFlaw,
    RemedyFlaws,
    Wish,
)
from graftbook.closure.search.totals import broken_limits, price_each
from graftbook.rulebook.compare import agrees
from graftbook.rulebook.model import Alternative, Budget, Companion, Conflict, Flaw, Joint, Side
from graftbook.rulebook.scope import Fit, Scope, loose_fit


class InternalError(RuntimeError):
    """An answer that was about to be given breaks a rule: a fault of this program, not of the asker."""


class RoundedAway(InternalError):
    """Only budgets are broken, by less than the solver's whole units can tell."""


@dataclass(frozen=True, slots=True)
class Broken:
    """One rule, wish or limit that a set breaks, and the fits that break it."""

    cause: Cause
    name: str
    ground: Ground
    fits: tuple[Fit, ...] = ()


class FinishedSet:
    """What sits where afterwards, and the loose parts with their quantities."""

    def __init__(
        self, scope: Scope, after: Mapping[str, str | None], loose: Mapping[str, int] | None = None
    ) -> None:
        self.scope = scope
        self.after = {**scope.today, **after}
        self.loose = dict(loose or {})
        self.changed = sorted(p for p, c in after.items() if c != scope.today.get(p))
        self.numbers = frozenset(self.after.values())
        """What sits anywhere."""

    def sits(self, fit: Fit) -> bool:
        if fit.is_loose:
            return self.loose.get(fit.component or "", 0) > 0
        return self.after.get(fit.position) == fit.component

    def fit(self, position: str) -> Fit:
        return Fit(position, self.after.get(position))

    @cached_property
    def new_fits(self) -> list[Fit]:
        return [self.fit(p) for p in self.changed]

    @cached_property
    def new(self) -> list[Fit]:
        """What is newly fitted, and what is ordered loose."""
        return [*self.new_fits, *(loose_fit(n) for n in sorted(self.loose))]

    # Rules ----------------------------------------------------------------------------------

    def broken_rules(self) -> list[Broken]:
        """Every rule that binds and is broken, in a stable order, each place once."""
        return _each_once([*self._impossible_fits(), *self._staying(), *self._broken_by_new()])

    def broken_by_new(self) -> list[Broken]:
        """Every rule that what counts as changed breaks."""
        return _each_once(self._broken_by_new())

    def _broken_by_new(self) -> Iterator[Broken]:
        yield from self._companions()
        yield from self._conflicts()
        yield from self._joints()
        yield from self._pairs()
        yield from self._budgets()

    def _impossible_fits(self) -> Iterator[Broken]:
        for fit in self.new_fits:
            if fit.component not in self.scope.options(fit.position):
                yield Broken(Cause.fact, "cannot sit there", CannotSit(fit), (fit,))
        for number in self.loose:
            if not self.scope.obtainable(number):
                yield Broken(Cause.fact, "not supplied", NotSupplied(number))

    def _companions(self) -> Iterator[Broken]:
        for fit in self.new_fits:
            for number in self.scope.names(fit):
                for rule in self.scope.index.companions_of.get(number, ()):
                    if self.speaks(rule, fit) and not any(self.met(a) for a in rule.alternatives):
                        yield Broken(Cause.companion, rule.name, rule, (fit,))

    def speaks(self, rule: Companion, fit: Fit, required: bool = True) -> bool:
        """Whether a companion rule asks something of this component in this place."""
        return rule.required is required and rule.position in ("", fit.position) and self.scope.holds(rule)

    def met(self, alternative: Alternative) -> bool:
        """Whether the set satisfies an alternative."""
        if alternative.loose:
            return any(self.loose.get(n, 0) > 0 for n in self.scope.index.serves(alternative.component))
        return self._met_by(self.after, alternative)

    def _met_by(self, sitting: Mapping[str, str | None], alternative: Alternative) -> bool:
        there = sitting.get(alternative.position)
        if alternative.empty:
            return there is None
        if alternative.having:
            return self.scope.has(Fit(alternative.position, there), alternative.having) is True
        if alternative.position:
            return there is not None and alternative.component in self.scope.index.stands_for(there)
        return any(sitting.get(p) == n for p, n in self.scope.serving(alternative.component))

    def _staying(self) -> Iterator[Broken]:
        """Rules of what stays, that hold today and no longer do."""
        for rule in self._rules_left():
            if not rule.required or any(a.loose for a in rule.alternatives):
                continue
            for fit in self.scope.today_places(rule.component, rule.position):
                if not (self.sits(fit) and self.scope.holds(rule)):
                    continue
                held = any(self._met_by(self.scope.today, a) for a in rule.alternatives if not a.loose)
                if held and not any(self.met(a) for a in rule.alternatives):
                    yield Broken(Cause.companion, rule.name, rule, (fit,))

    def _rules_left(self) -> list[Companion]:
        """Companion rules that something no longer in place may have satisfied."""
        index = self.scope.index
        rules = {}
        for position in self.changed:
            for rule in index.companions_met_at.get(position, ()):
                rules[rule.name] = rule
            old = self.scope.today.get(position)
            for number in index.stands_for(old) if old else ():
                rules.update((rule.name, rule) for rule in index.companions_met_by.get(number, ()))
        return [rules[name] for name in sorted(rules)]

    def _conflicts(self) -> Iterator[Broken]:
        for conflict, one, other, determined in self.meetings:
            if determined:
                yield Broken(Cause.conflict, conflict.name, conflict, tuple(sorted((one, other))))

    @cached_property
    def meetings(self) -> list[tuple[Conflict, Fit, Fit, bool]]:
        """Conflicts of which a changed or ordered thing meets the other side; last: is that sure."""
        return list(self._meetings())

    def _meetings(self) -> Iterator[tuple[Conflict, Fit, Fit, bool]]:
        index = self.scope.index
        for fit in self.new:
            entries = [e for n in self.scope.names(fit) for e in index.conflicts_of.get(n, ())]
            if fit.component and not fit.is_loose:
                entries += index.conflicts_at.get(fit.position, ())
            for conflict, mine, theirs in entries:
                if not self.scope.holds(conflict):
                    continue
                sure = self._on_side(mine, fit)
                if sure is False:
                    continue
                for other in self._present(theirs):
                    other_sure = self._on_side(theirs, other)
                    if other.position != fit.position and other_sure is not False:
                        yield conflict, fit, other, sure is True and other_sure is True

    def _present(self, side: Side) -> list[Fit]:
        """What is in the set and might be on a side of a conflict."""
        if side.position:
            return [self.fit(side.position)]
        numbers = self.scope.index.serves(side.component)
        fits = [Fit(p, n) for n in numbers for p in self.scope.positions_of(n)]
        return [fit for fit in (*fits, *(loose_fit(n) for n in numbers)) if self.sits(fit)]

    def _on_side(self, side: Side, fit: Fit) -> bool | None:
        if fit.component is None or side.position not in ("", fit.position):
            return False
        if side.component:
            return side.component in self.scope.names(fit)
        return self.scope.has(fit, side.having)

    def _joints(self) -> Iterator[Broken]:
        for joint, one, other, verdict in self.joint_verdicts:
            if verdict is False:
                yield Broken(Cause.joint, joint.name, joint, tuple(sorted({one, other})))

    @cached_property
    def joint_verdicts(self) -> list[tuple[Joint, Fit, Fit, bool | None]]:
        """Each joint of which a side changed, both sides filled, and whether it agrees."""
        return list(self._joint_verdicts())

    def _joint_verdicts(self) -> Iterator[tuple[Joint, Fit, Fit, bool | None]]:
        joints = {j.name: j for p in self.changed for j in self.scope.index.joints_at.get(p, ())}
        for joint in joints.values():
            one, other = self.fit(joint.position), self.fit(joint.other_position)
            if one.component and other.component and self.scope.holds(joint):
                first = self.scope.measure(one.component, joint.kind)
                second = self.scope.measure(other.component, joint.other_kind)
                yield joint, one, other, agrees(first, joint.comparator, second, joint.margin)

    def _pairs(self) -> Iterator[Broken]:
        for fit in self.new_fits:
            place = self.scope.book.positions.get(fit.position)
            if not place or not place.pair:
                continue
            hands = {fit.component, *self.scope.index.twins.get(fit.component or "", ())}
            for other in self.scope.index.pairs[place.pair]:
                if self.after.get(other) not in hands:
                    together = ChangedTogether(fit.position, other)
                    yield Broken(Cause.pair, place.pair, together, (fit, self.fit(other)))

    def _budgets(self) -> Iterator[Broken]:
        for budget in self.budgets:
            if self.scope.holds(budget) and self._is_uncovered(budget):
                yield Broken(Cause.budget, budget.name, budget, tuple(self.new_fits))

    @cached_property
    def budgets(self) -> list[Budget]:
        """The budgets to which a changed position counts."""
        found = {b.name: b for p in self.changed for b in self.scope.index.budgets_at.get(p, ())}
        return list(found.values())

    def touches(self, budget: Budget) -> bool:
        """Whether a contribution to the budget differs from today's."""
        nets = self.scope.nets_today(budget)
        return any(
            (self.scope.contribution(budget, self.fit(p)) or 0.0) != nets[p]
            for p in self.changed
            if p in nets
        )

    def _is_uncovered(self, budget: Budget) -> bool:
        if not short_of(self.scope, budget, self.after, self.changed):
            return False
        return self.touches(budget) or not short_of(self.scope, budget, self.scope.today, ())

    # Wishes and limits ----------------------------------------------------------------------

    def fulfils(self, wish: Wish) -> bool:
        """Whether the set fulfils a wish."""
        match wish:
            case FitComponent():
                serving = self.scope.index.serves(wish.component)
                if wish.position:
                    return self.after.get(wish.position) in serving
                sitting = any(self.sits(Fit(p, n)) for n in serving for p in self.scope.positions_of(n))
                return sitting or any(self.loose.get(n, 0) >= wish.quantity for n in serving)
            case ClearPosition():
                return self.after.get(wish.position) is None
            case RemedyFlaw():
                flaw = self.scope.index.flaws.get(wish.flaw)
                return flaw is None or self.remedied(flaw)
            case RemedyFlaws():
                flaws = [f for f in self.scope.book.flaws if f.severity >= wish.at_least]
                return all(self.remedied(flaw, wish.section) for flaw in flaws)

    def remedied(self, flaw: Flaw, section: str = "") -> bool:
        """Wherever the vehicle has the flaw today, it is gone or an add-on is fitted."""
        if not self.scope.holds(flaw) or self.has_add_on(flaw):
            return True
        for today in self.scope.flawed_today(flaw):
            if section and self.scope.book.positions[today.position].section != section:
                continue
            if self.scope.has_flaw(self.fit(today.position), flaw):
                return False
        return True

    def has_add_on(self, flaw: Flaw) -> bool:
        """Whether one of the flaw's add-ons is fitted, or ordered loose."""
        return any(
            number in self.numbers or self.loose.get(number, 0) > 0
            for add_on in flaw.add_ons
            for number in self.scope.index.serves(add_on)
        )

    def broken_limits(self, limits: Limits) -> Iterator[Broken]:
        """Every limit that the set breaks."""
        for fit in self.new:
            for limit in broken_limits(self.scope, limits, fit):
                ground = PriceUnknown(limit, fit.component) if isinstance(limit, PriceAtMost) else limit
                yield Broken(Cause.limit, limit.name, ground, (fit,))
        if limits.price_at_most is not None and self.price() > limits.price_at_most:
            ceiling = PriceAtMost(limits.price_at_most)
            yield Broken(Cause.limit, ceiling.name, ceiling)

    def price(self) -> int:
        """Known prices of everything new, in minor units."""
        total = sum((price_each(self.scope, n) or 0) * q for n, q in self.loose.items())
        for fit in self.new_fits:
            option = self.scope.options(fit.position).get(fit.component)
            total += (price_each(self.scope, fit.component) or 0) * (option.quantity if option else 1)
        return total


def short_of(
    scope: Scope, budget: Budget, sitting: Mapping[str, str | None], changed: Iterable[str] | None = None
) -> bool:
    """Whether the demands exceed the supplies, beyond what rounding explains.

    `changed`: where what sits may differ from today's; everywhere, where that is not said.
    """
    nets = dict(scope.nets_today(budget))
    for position in tuple(nets) if changed is None else changed:
        if position in nets and (there := sitting.get(position)) != scope.today.get(position):
            nets[position] = scope.contribution(budget, Fit(position, there)) or 0.0
    return sum(nets.values()) < -1e-9 * (1.0 + sum(map(abs, nets.values())))


def _each_once(broken: Iterable[Broken]) -> list[Broken]:
    unique = {(b.cause, b.name, b.fits): b for b in broken}
    return sorted(unique.values(), key=lambda b: (b.cause, b.name, str(b.fits)))


def verify(
    scope: Scope, question: Question, after: Mapping[str, str | None], loose: Mapping[str, int]
) -> FinishedSet:
    """The set as judged. Raises InternalError where it breaks something; RoundedAway for budgets only."""
    finished = FinishedSet(scope, after, loose)
    broken = [*finished.broken_rules(), *finished.broken_limits(question.limits)]
    unfulfilled = [wish.name for wish in question.wishes if not finished.fulfils(wish)]
    if broken or unfulfilled:
        names = ", ".join([*(b.name for b in broken), *unfulfilled])
        only_budgets = not unfulfilled and all(b.cause is Cause.budget for b in broken)
        raise (RoundedAway if only_budgets else InternalError)(f"the set found breaks: {names}")
    return finished
