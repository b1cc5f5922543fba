"""A finished set as the facts of an answer: changes with their reasons, totals, notes.

Notes are what an answer must also say: flaws, what was already so, what is advised, what is not determined.
"""

from collections.abc import Iterable, Iterator

from graftbook.closure.answer import (
    CannotSit,
    Cause,
    Change,
    FlawNote,
    Loose,
    Missing,
    Note,
    Other,
    Outcome,
    Rule,
    Solution,
    Unconfirmed,
    number_asked,
)
from graftbook.closure.explain.reasons import Explanation, Reason
from graftbook.closure.question import RemedyFlaw, RemedyFlaws, Wish
from graftbook.closure.search.brought import brought_on, flaws_asked
from graftbook.closure.search.deadline import EXPLAINED, Deadline
from graftbook.closure.search.problem import Found, SearchProblem
from graftbook.closure.search.propagate import Propagation
from graftbook.closure.search.totals import (
    effort_of,
    loose_quantities,
    minutes_each,
    price_each,
    shows,
    totals_of,
)
from graftbook.closure.verify import Broken, FinishedSet, short_of, verify
from graftbook.rulebook.index import kept
from graftbook.rulebook.model import Budget, Claim, Companion, Effort, Fitment, Flaw, Grade
from graftbook.rulebook.scope import LOOSE, Fit, Scope

_Flawed = list[tuple[Flaw, Fit, FlawNote]]
"""Flaws of what is fitted today, with what is noted of them while it stays."""


@kept
def _of_today(scope: Scope) -> tuple[_Flawed, _Flawed]:
    """Flaws of what is fitted today: those that show, and those that an add-on of today holds off."""
    index, today = scope.index, FinishedSet(scope, {})
    flawed = index.serving_any(index.flaws_of)
    fits = [Fit(p, c) for p, c in scope.today.items() if c in flawed]
    known = [(flaw, fit, _flaw_note(flaw, fit)) for fit in fits for flaw in scope.flaws(fit)]
    known.sort(key=lambda x: (-x[0].severity, x[0].name, x[1]))
    found: tuple[_Flawed, _Flawed] = [], []
    for one in known:
        found[today.has_add_on(one[0])].append(one)
    return found


def flaw_notes(
    finished: FinishedSet,
) -> tuple[tuple[FlawNote, ...], tuple[FlawNote, ...], tuple[FlawNote, ...]]:
    """Flaws gone, left from today, and brought by what is new or by an add-on that goes."""
    gone: list[FlawNote] = []
    left: list[FlawNote] = []
    showing, held = _of_today(finished.scope)
    changed = set(finished.changed)
    for flaw, fit, note in showing:
        if fit.position not in changed and not flaw.add_ons:
            left.append(note)
        elif _shows(finished, flaw, fit):
            left.append(note if finished.sits(fit) else _flaw_note(flaw, finished.fit(fit.position)))
        else:
            gone.append(note)
    had = {(flaw.name, fit.position) for flaw, fit, _ in showing}
    brought = [
        _flaw_note(flaw, fit)
        for fit in finished.new_fits
        for flaw in finished.scope.flaws(fit)
        if not finished.has_add_on(flaw) and (flaw.name, fit.position) not in had
    ]
    here = {(note.flaw, note.position) for note in brought}
    bared = [note for flaw, fit, note in held if _shows(finished, flaw, fit)]
    brought += [note for note in bared if (note.flaw, note.position) not in here]
    return tuple(gone), tuple(left), tuple(brought)


def _shows(finished: FinishedSet, flaw: Flaw, fit: Fit) -> bool:
    """Whether a flaw of today's component at a place is still there, with no add-on against it."""
    stays = finished.sits(fit) or finished.scope.has_flaw(finished.fit(fit.position), flaw)
    return stays and not (flaw.add_ons and finished.has_add_on(flaw))


def _flaw_note(flaw: Flaw, fit: Fit) -> FlawNote:
    return FlawNote(flaw.name, fit.component or "", fit.position, flaw.severity, flaw.symptom)


@kept
def broken_today(scope: Scope) -> list[Broken]:
    """Every rule that the vehicle breaks as it stands."""
    today = FinishedSet(scope, {})
    today.changed = sorted(p for p, c in scope.today.items() if c is not None)
    broken = [
        b
        for b in today.broken_by_new()
        if not (isinstance(b.ground, Companion) and any(a.loose for a in b.ground.alternatives))
        and b.cause is not Cause.fact
    ]
    for budget in sorted(scope.book.budgets, key=lambda budget: budget.name):
        if scope.holds(budget) and short_of(scope, budget, scope.today):
            broken.append(Broken(Cause.budget, budget.name, budget))
    for position in today.changed:
        fit = today.fit(position)
        if scope.option(fit).fitment is None:
            broken.append(Broken(Cause.fact, "no fitment recorded", CannotSit(fit), (fit,)))
    return broken


def already_so(finished: FinishedSet) -> Iterator[Note]:
    """Rules broken today that the set neither touches nor mends."""
    for broken in broken_today(finished.scope):
        if isinstance(broken.ground, Budget):
            still = not finished.touches(broken.ground)
        else:
            still = all(finished.sits(fit) for fit in broken.fits)
        if isinstance(broken.ground, Companion):
            still = still and not any(finished.met(a) for a in broken.ground.alternatives)
        if still:
            positions = () if broken.cause is Cause.budget else tuple(f.position for f in broken.fits)
            yield Note(broken.cause, broken.name, broken.ground, positions)


def advised(finished: FinishedSet) -> Iterator[Note]:
    """Advice of what is new that the set does not follow."""
    for fit in finished.new_fits:
        for number in finished.scope.names(fit):
            for rule in finished.scope.index.companions_of.get(number, ()):
                if finished.speaks(rule, fit, required=False) and not any(
                    finished.met(a) for a in rule.alternatives
                ):
                    yield Note(Cause.companion, rule.name, rule, (fit.position,))


def not_determined(finished: FinishedSet) -> Iterator[Note]:
    """Rules that cannot be decided for what changed, and which characteristics are missing."""
    found: dict[tuple[Cause, str], Note] = {}
    for joint, one, other, verdict in finished.joint_verdicts:
        if verdict is None:
            missing = _missing(finished.scope, ((joint.kind, one), (joint.other_kind, other)))
            _note(found, Cause.joint, joint, (one, other), missing)
    for conflict, one, other, determined in finished.meetings:
        if not determined:
            wanted = [
                (want.kind, fit)
                for side in (conflict.one, conflict.other)
                for fit in (one, other)
                if side.having and side.position == fit.position
                for want in side.having
            ]
            _note(found, Cause.conflict, conflict, (one, other), _missing(finished.scope, wanted))
    for budget, fits in _silent_in_budgets(finished):
        missing = tuple(Missing((budget.supply_kind, budget.demand_kind), fit) for fit in fits)
        _note(found, Cause.budget, budget, fits, missing)
    yield from (found[key] for key in sorted(found))


def _note(
    found: dict[tuple[Cause, str], Note],
    cause: Cause,
    rule: Rule,
    fits: tuple[Fit, ...],
    missing: tuple[Missing, ...],
) -> None:
    positions = tuple(sorted({fit.position for fit in fits}))
    found.setdefault((cause, rule.name), Note(cause, rule.name, rule, positions, missing))


def _missing(scope: Scope, wanted: Iterable[tuple[str, Fit]]) -> tuple[Missing, ...]:
    return tuple(Missing((kind,), fit) for kind, fit in wanted if scope.measure(fit.component, kind) is None)


def _silent_in_budgets(finished: FinishedSet) -> Iterator[tuple[Budget, tuple[Fit, ...]]]:
    """Budgets of a circuit in which something changed, with the components that record neither kind."""
    scope = finished.scope
    budgets = {b.name: b for p in finished.changed for b in scope.index.budgets_at.get(p, ()) if b.circuit}
    for budget in budgets.values():
        if not scope.holds(budget):
            continue
        fits = [finished.fit(p) for p in scope.index.positions_of_budget[budget.name]]
        silent = tuple(fit for fit in fits if scope.contribution(budget, fit) is None)
        if silent:
            yield budget, silent


_Claims = Iterable[tuple[Claim, Fit]]


def unconfirmed_claims(claims: _Claims) -> Iterator[Unconfirmed]:
    """Of the claims that changes rest on those that nobody has measured, fitted or driven."""
    for claim, fit in claims:
        if not claim.confirmed:
            yield Unconfirmed(claim, fit.position, fit.component or "")


def contradicted_claims(claims: _Claims) -> Iterator[Unconfirmed]:
    """Of the claims that changes rest on those that a workshop found otherwise."""
    for claim, fit in claims:
        if claim.reports and claim.standing.contradicted:
            yield Unconfirmed(claim, fit.position, fit.component or "")


def claims_of(finished: FinishedSet, wishes: Iterable[Wish]) -> list[tuple[Claim, Fit]]:
    """Every claim that the changes rest on, with the fit that it speaks of, each once: that what is new fits,
    the rules that made it follow or made something go, and what remedies a flaw that was to be remedied."""
    found = _each_claim(finished, wishes)
    return list({(type(claim), claim.name, fit): (claim, fit) for claim, fit in found}.values())


def _each_claim(finished: FinishedSet, wishes: Iterable[Wish]) -> Iterator[tuple[Claim, Fit]]:
    for fit in finished.new_fits:
        yield from _claims_of_fit(finished, fit)
        yield from _kept_by(finished, fit)
    yield from _not_together(finished)
    for budget in finished.budgets:
        if covering := _covering(finished, budget):
            yield budget, covering
    yield from _remedies(finished, wishes)


def _claims_of_fit(finished: FinishedSet, fit: Fit) -> Iterator[tuple[Claim, Fit]]:
    """That it fits, or that it is what fits there by now; the companion rules that it brings."""
    scope, fitment = finished.scope, finished.scope.option(fit).fitment
    if fitment is not None:
        yield fitment, fit
        if fitment.component != fit.component:
            way = {*scope.index.serves(fitment.component)} & {*scope.names(fit)}
            yield from ((s, fit) for s in scope.book.supersessions if {s.old, s.new} <= way)
    for number in scope.names(fit):
        for rule in scope.index.companions_of.get(number, ()):
            if finished.speaks(rule, fit):
                yield rule, fit


def _kept_by(finished: FinishedSet, fit: Fit) -> Iterator[tuple[Claim, Fit]]:
    """Companion rules of what stays that what sat here met, and that only one other thing meets now."""
    for demand in brought_on(finished.scope).held_today_by(fit.position):
        meeting = [one for one in demand.one_of if finished.sits(one)]
        if len(meeting) == 1 and isinstance(demand.ground, Companion) and finished.sits(demand.when[0]):
            (one,) = meeting
            if finished.scope.today_fit(one.position) not in demand.one_of:
                yield demand.ground, one


def _not_together(finished: FinishedSet) -> Iterator[tuple[Claim, Fit]]:
    """Joints and conflicts of what is new with what sat beside it and is gone, with what is there instead."""
    brought = brought_on(finished.scope)
    for fit in finished.new:
        joined = () if fit.is_loose else brought.at_joints_today(fit)
        for meeting in (*brought.brings(fit).conflicts, *joined):
            if meeting.is_today and not meeting.undetermined and not finished.sits(meeting.other):
                yield meeting.rule, finished.fit(meeting.other.position)


def _covering(finished: FinishedSet, budget: Budget) -> Fit | None:
    """What gives a budget most more than today, where it would be short if only what takes of it had changed,
    or only one of those that give. None where nothing follows from the budget."""
    scope, nets = finished.scope, finished.scope.nets_today(budget)
    there = {p: finished.fit(p) for p in finished.changed if p in nets}
    more = {p: (scope.contribution(budget, fit) or 0.0) - nets[p] for p, fit in there.items()}
    gains = sorted((p for p in more if more[p] > 0), key=lambda p: -more[p])
    if not gains or not scope.holds(budget):
        return None
    takes = any(units < 0 for units in more.values())
    back = gains if takes else gains[:-1]
    after = {**finished.after, **{p: scope.today.get(p) for p in back}}
    return there[gains[0]] if back and short_of(scope, budget, after) else None


def _remedies(finished: FinishedSet, wishes: Iterable[Wish]) -> Iterator[tuple[Claim, Fit]]:
    """What says that a flaw is remedied: the substitute that is named for it, or the flaw its add-on."""
    scope = finished.scope
    asked = [one for w in wishes if isinstance(w, RemedyFlaw | RemedyFlaws) for one in flaws_asked(scope, w)]
    brought = [(flaw, fit) for fit in finished.new_fits for flaw in scope.flaws(fit)]
    for flaw, fit in (*asked, *brought):
        now = finished.fit(fit.position)
        if scope.has_flaw(now, flaw):
            add_ons = {number for one in flaw.add_ons for number in scope.index.serves(one)}
            yield from ((flaw, one) for one in finished.new if one.component in add_ons)
        else:
            for one in scope.book.substitutes:
                if one.name in flaw.substitutes and one.component in scope.names(now) and scope.holds(one):
                    yield one, now


def solution_of(
    problem: SearchProblem,
    found: Found,
    propagation: Propagation,
    others: dict[str, tuple[Other, ...]] | None = None,
    explained: Explanation | None = None,
) -> Solution:
    """Verify a set and lay it out. `others`: for chosen changes, what else could sit there; `explained`:
    the set's reasons, where they are known already.

    Raises OutOfTime where that takes longer than the problem's deadline leaves for it.
    """
    changed = sum(component != problem.scope.today.get(place) for place, component in found.values.items())
    with EXPLAINED.timed(changed):
        return _laid_out(problem, found, propagation, others or {}, explained or Explanation(problem, found))


def _laid_out(
    problem: SearchProblem,
    found: Found,
    propagation: Propagation,
    others: dict[str, tuple[Other, ...]],
    explained: Explanation,
) -> Solution:
    scope, until = problem.scope, problem.deadline.extended()
    after = {p: found.values[p] for p in problem.positions}
    quantities = loose_quantities(problem, found)
    finished = verify(scope, problem.question, after, quantities)
    until.check()
    gone, left, brought = flaw_notes(finished)
    claims = claims_of(finished, problem.question.wishes)
    until.check()
    return Solution(
        changes=changes_of(problem, found, propagation, explained, others, until),
        loose=_loose(problem, explained, quantities),
        totals=totals_of(problem, found),
        today=dict(scope.today),
        after=finished.after,
        flaws_gone=gone,
        flaws_left=left,
        flaws_brought=brought,
        already_so=tuple(already_so(finished)),
        advised=tuple(advised(finished)),
        not_determined=tuple(not_determined(finished)),
        unconfirmed=tuple(unconfirmed_claims(claims)),
        contradicted=tuple(contradicted_claims(claims)),
        confidence=confidence(claims),
    )


def confidence(claims: _Claims) -> Grade | None:
    """The grade of the weakest claim; the factory's own fitting is beyond doubt. None: no claim is needed."""
    grades = [
        claim.grade
        for claim, _ in claims
        if not (isinstance(claim, Fitment) and claim.from_new and not claim.evidence)
    ]
    return min(grades, default=None)


def changes_of(
    problem: SearchProblem,
    found: Found,
    propagation: Propagation,
    explained: Explanation,
    others: dict[str, tuple[Other, ...]],
    until: Deadline,
) -> tuple[Change, ...]:
    """The changes, section by section and position by position. Raises OutOfTime."""
    changes = []
    for place in explained.reasons:
        until.check()
        if not place.startswith(LOOSE):
            changes.append(_change(problem, found, propagation, place, explained, others.get(place)))
    sections = problem.scope.book.sections
    return tuple(
        sorted(
            changes,
            key=lambda c: (sections[c.section].order if c.section in sections else 0, c.section, c.position),
        )
    )


def _change(
    problem: SearchProblem,
    found: Found,
    propagation: Propagation,
    place: str,
    explained: Explanation,
    others: tuple[Other, ...] | None,
) -> Change:
    scope, reason = problem.scope, explained.reasons[place]
    fit = Fit(place, found.values[place])
    option = scope.option(fit)
    fitment = option.fitment
    each = price_each(scope, fit.component)
    choices = count_choices(propagation, found, place, reason)
    return Change(
        position=place,
        section=scope.book.positions[place].section,
        component=fit.component,
        replaces=scope.today.get(place),
        quantity=option.quantity if fit.component else 0,
        effort=fitment.effort if fitment else Effort.direct,
        minutes=fitment.minutes if fitment else 0,
        price=None if each is None else each * option.quantity,
        visible=shows(scope, fit),
        because=reason.because,
        depth=reason.depth,
        also_needed_by=explained.also_needed(place),
        forced=choices <= 1,
        choices=choices,
        others=others or (),
        only_one=others is not None and all(other.outcome is Outcome.impossible for other in others),
        claim=fitment.name if fitment else "",
        grade=fitment.grade if fitment else Grade.none,
        asked_number=asked_number(scope, fit, reason),
    )


def count_choices(propagation: Propagation, found: Found, place: str, reason: Reason) -> int:
    """How many ways the reason leaves open; 1: nothing else could be what it asks for."""
    domain = propagation.domains[place]
    if len(domain) == 1:
        return 1
    demand = reason.demand
    if reason.because.cause is Cause.budget:
        return max(1, len(_supplies(propagation, found, place, reason)))
    if demand is None:
        return len(domain - {propagation.problem.scope.today.get(place)})
    ways = [fit for fit in demand.one_of if propagation.may_be(fit)]
    ways += [need.fit for need in demand.loose if propagation.may_be(need.fit)]
    if any(fit.position == place for fit in demand.when):
        today = propagation.problem.scope.today.get(place)
        ways += [Fit(place, c) for c in domain if c != today and Fit(place, c) not in demand.when]
    return max(1, len(set(ways)))


def _supplies(propagation: Propagation, found: Found, place: str, reason: Reason) -> set[Fit]:
    """What gives a budget more than today at the place, or elsewhere more than the set has there."""
    problem, values = propagation.problem, found.values
    use = next(use for use in problem.budgets if use.budget.name == reason.because.name)
    less = {p: now if p == place else use.contributions[p][values[p]] for p, now in use.today.items()}
    others = less.keys() - {reason.because.parent}
    more = (fit for fit, units in use.each() if fit.position in others and units > less[fit.position])
    return {fit for fit in more if propagation.may_be(fit)}


def asked_number(scope: Scope, fit: Fit, reason: Reason) -> str:
    """The superseded number that the reason names, when another is fitted for it."""
    demand = reason.demand
    if demand is None or fit.component is None:
        return ""
    named = [number] if (number := number_asked(demand.ground)) else []
    if isinstance(demand.ground, Companion):
        named += [a.component for a in demand.ground.alternatives if a.component]
    if fit.component in named:
        return ""
    return next((n for n in named if fit.component in scope.index.serves(n)), "")


def _loose(problem: SearchProblem, explained: Explanation, quantities: dict[str, int]) -> tuple[Loose, ...]:
    parts = []
    for number, quantity in quantities.items():
        place = LOOSE + number
        each = price_each(problem.scope, number)
        parts.append(
            Loose(
                component=number,
                quantity=quantity,
                price=None if each is None else each * quantity,
                because=explained.reasons[place].because,
                also_needed_by=explained.also_needed(place),
                effort=effort_of(problem.scope, Fit(place, number)),
                minutes=minutes_each(problem.scope, number) * quantity,
            )
        )
    return tuple(parts)
