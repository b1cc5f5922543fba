"""Is a proposed set complete: what is missing, what clashes, what is surplus, what remains."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from graftbook.closure.answer import Answer, Cause, FlawNote, Note, TooFew, Unconfirmed
from graftbook.closure.answering import answer_question, scope_of
from graftbook.closure.explain.solution import (
    advised,
    already_so,
    claims_of,
    flaw_notes,
    not_determined,
    unconfirmed_claims,
)
from graftbook.closure.question import (
    ClearPosition,
    FitComponent,
    Question,
    RemedyFlaw,
    RemedyFlaws,
    Wish,
    each_once,
)
from graftbook.closure.search.brought import flaws_asked
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.closure.search.totals import with_effort
from graftbook.closure.verify import Broken, FinishedSet
from graftbook.rulebook.model import Companion, Effort, RuleBook
from graftbook.rulebook.scope import Fit, Scope

MISSING = (Cause.companion, Cause.pair, Cause.wish)


@dataclass(frozen=True, slots=True)
class Surplus:
    """A proposed component that no wish and no rule asks for; `position` is empty for a loose part."""

    position: str
    component: str | None
    quantity: int = 1


@dataclass(frozen=True, slots=True)
class Completeness:
    """What is to be said of a proposed set.

    `completed` is the closure that keeps what was proposed and adds what is missing; None when the
    set is complete. `today` and `after` are the whole vehicle before and with the proposed set; `cut` and
    `machined` the numbers of it that are cut or welded, or machined, loose parts too.
    """

    complete: bool
    missing: tuple[Note, ...]
    clashing: tuple[Note, ...]
    surplus: tuple[Surplus, ...]
    limits_broken: tuple[Note, ...]
    completed: Answer | None
    flaws_gone: tuple[FlawNote, ...]
    flaws_left: tuple[FlawNote, ...]
    flaws_brought: tuple[FlawNote, ...]
    already_so: tuple[Note, ...]
    advised: tuple[Note, ...]
    not_determined: tuple[Note, ...]
    unconfirmed: tuple[Unconfirmed, ...]
    today: dict[str, str | None] = field(default_factory=dict)
    after: dict[str, str | None] = field(default_factory=dict)
    cut: tuple[str, ...] = ()
    machined: tuple[str, ...] = ()
    cut_short: bool = False
    """The deadline came first: surplus positions are not named."""


def check_completeness(
    book: RuleBook,
    question: Question,
    proposed: Mapping[str, str | None],
    loose: Mapping[str, int] | None = None,
    deadline: Deadline | None = None,
) -> Completeness:
    """Whether `proposed` (position → component, None: taken out) and loose parts work as a set.

    `question` gives the vehicle, what it has fitted today, limits, and the wishes if any. Old
    numbers are followed to today's where that is unambiguous. Surplus that is not found by the
    deadline (usually the question's seconds from now) is not named.
    """
    deadline = deadline or Deadline(question.seconds)
    scope = scope_of(book, question)
    finished = FinishedSet(scope, {p: _todays_number(scope, p, c) for p, c in proposed.items()}, loose)
    broken = finished.broken_rules()
    short = _short_of(finished, question.wishes)
    unfulfilled = [Note(Cause.wish, w.name, w) for w in question.wishes if not finished.fulfils(w)]
    missing = [_note(b) for b in broken if b.cause in MISSING] + short + unfulfilled
    clashing = [_note(b) for b in broken if b.cause not in MISSING]
    limits = tuple(_note(b) for b in finished.broken_limits(question.limits))
    complete = not (missing or clashing or limits)
    gone, left, brought = flaw_notes(finished)
    return Completeness(
        complete,
        tuple(missing),
        tuple(clashing),
        tuple(_surplus(finished, question.wishes, deadline)) if question.wishes else (),
        limits,
        None if complete else answer_question(book, completing(question, finished), deadline),
        gone,
        left,
        brought,
        tuple(already_so(finished)),
        tuple(advised(finished)),
        tuple(not_determined(finished)),
        tuple(unconfirmed_claims(claims_of(finished, question.wishes))) if not _unfit(finished) else (),
        dict(scope.today),
        finished.after,
        with_effort(scope, finished.new, Effort.cutting),
        with_effort(scope, finished.new, Effort.machining),
        deadline.stopped,
    )


def _todays_number(scope: Scope, position: str, number: str | None) -> str | None:
    """Today's number behind a proposed one, when only one can sit there."""
    if number is None or number in scope.options(position):
        return number
    current = [n for n in scope.index.serves(number) if n in scope.options(position)]
    return current[0] if len(current) == 1 else number


def _unfit(finished: FinishedSet) -> bool:
    return any(f.component not in finished.scope.options(f.position) for f in finished.new_fits)


def _note(broken: Broken) -> Note:
    return Note(broken.cause, broken.name, broken.ground, tuple(f.position for f in broken.fits))


def completing(question: Question, finished: FinishedSet) -> Question:
    """The question whose closure keeps what was proposed, as wishes, beside the wishes there are."""
    kept: list[Wish] = []
    for fit in finished.new_fits:
        if fit.component is None:
            kept.append(ClearPosition(fit.position))
        else:
            kept.append(FitComponent(fit.component, fit.position))
    loose_wished = {w.component for w in question.wishes if isinstance(w, FitComponent)}
    needed = loose_needs(finished)
    for number, quantity in sorted(finished.loose.items()):
        if number not in needed and number not in loose_wished:
            kept.append(FitComponent(number, "", quantity))
    wishes = each_once((*question.wishes, *kept))
    return Question(
        question.vehicle,
        wishes,
        question.limits,
        question.preference,
        question.fitted,
        question.on_the_bench,
        0,
        question.seconds,
    )


# Loose parts ------------------------------------------------------------------------------------


def loose_needs(finished: FinishedSet) -> dict[str, int]:
    """Pieces of each proposed loose component that the proposed set's rules ask for."""
    return {number: sum(asked) for number, asked in sorted(loose_asked(finished, finished.new_fits).items())}


def loose_asked(finished: FinishedSet, fits: Iterable[Fit]) -> defaultdict[str, tuple[int, int]]:
    """What the rules of some fits ask of each proposed loose component: pieces for each of them, and pieces
    of which one serves all."""
    found: defaultdict[str, tuple[int, int]] = defaultdict(lambda: (0, 0))
    scope = finished.scope
    for fit in fits:
        for number in scope.names(fit):
            for rule in scope.index.companions_of.get(number, ()):
                need = _loose_need(finished, rule) if finished.speaks(rule, fit) else None
                if need:
                    each, shared = found[need[0]]
                    once = rule.one_serves_all
                    found[need[0]] = (each, max(shared, need[1])) if once else (each + need[1], shared)
    return found


def _all_loose_needs(finished: FinishedSet, wishes: tuple[Wish, ...]) -> dict[str, int]:
    """What rules ask for, and the greatest that the wishes ask for."""
    wished: dict[str, int] = {}
    for wish in wishes:
        if isinstance(wish, FitComponent) and not wish.position:
            serving = finished.scope.index.serves(wish.component)
            number = next((n for n in sorted(serving) if finished.loose.get(n, 0) > 0), None)
            if number is not None:
                wished[number] = max(wished.get(number, 0), wish.quantity)
    needed = loose_needs(finished)
    return {n: needed.get(n, 0) + wished.get(n, 0) for n in sorted({*needed, *wished})}


def _loose_need(finished: FinishedSet, rule: Companion) -> tuple[str, int] | None:
    """The proposed loose part by which a rule is met; None when something fitted meets it."""
    if any(finished.met(a) for a in rule.alternatives if not a.loose):
        return None
    for alternative in rule.alternatives:
        for number in finished.scope.index.serves(alternative.component) if alternative.loose else ():
            if finished.loose.get(number, 0) > 0:
                return number, alternative.quantity
    return None


def _short_of(finished: FinishedSet, wishes: tuple[Wish, ...]) -> list[Note]:
    """Loose parts of which too few are proposed."""
    return [
        Note(Cause.companion, number, TooFew(number, needed, finished.loose[number]))
        for number, needed in _all_loose_needs(finished, wishes).items()
        if finished.loose[number] < needed
    ]


# Surplus ----------------------------------------------------------------------------------------


def _surplus(finished: FinishedSet, wishes: tuple[Wish, ...], deadline: Deadline) -> list[Surplus]:
    """What is left over when the wishes are followed through the rules with the proposed parts."""
    needed = _positions_needed(finished, wishes, deadline)
    left = [Surplus(f.position, f.component) for f in finished.new_fits if f.position not in needed]
    needs = _all_loose_needs(finished, wishes)
    for number, quantity in sorted(finished.loose.items()):
        flaws = [f for f in finished.scope.book.flaws if number in f.add_ons]
        wanted = needs.get(number, 1 if flaws else 0)
        if quantity > wanted:
            left.append(Surplus("", number, quantity - wanted))
    return left


def _positions_needed(finished: FinishedSet, wishes: tuple[Wish, ...], deadline: Deadline) -> set[str]:
    """Positions whose proposed component a wish asks for, or a rule of one that is needed; all that
    changed when that is not known in time."""
    scope = finished.scope
    needed = {p for wish in wishes for p in _asked_by(finished, wish)}
    try:
        while True:
            deadline.check()
            state = FinishedSet(scope, {p: finished.after[p] for p in needed}, finished.loose)
            more = {p for b in state.broken_rules() for p in _repairs(finished, b)} - needed
            if not more:
                return needed
            needed |= more
    except OutOfTime:
        return set(finished.changed)


def _asked_by(finished: FinishedSet, wish: Wish) -> set[str]:
    """Changed positions by which the proposed set fulfils a wish."""
    scope = finished.scope
    changed = set(finished.changed)
    match wish:
        case FitComponent():
            serving = scope.serving(wish.component, wish.position)
            return {f.position for f in serving if finished.sits(f)} & changed
        case ClearPosition():
            return {wish.position} & changed
        case RemedyFlaw() | RemedyFlaws():
            found = set()
            for flaw, fit in flaws_asked(scope, wish):
                found.add(fit.position)
                found |= {f.position for a in flaw.add_ons for f in scope.serving(a) if finished.sits(f)}
            return found & changed
    return set()


def _repairs(finished: FinishedSet, broken: Broken) -> set[str]:
    """Changed positions by which the proposed set mends a rule that is broken without them."""
    changed = set(finished.changed)
    if isinstance(broken.ground, Companion):
        fits = [f for a in broken.ground.alternatives for f in finished.scope.meeting(a)]
        mending = {f.position for f in fits if finished.sits(f)} & changed
        return mending or {fit.position for fit in broken.fits} & changed
    if broken.cause is Cause.budget:
        return set(finished.scope.index.positions_of_budget[broken.name]) & changed
    return {fit.position for fit in broken.fits} & changed
