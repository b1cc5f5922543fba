"""Lint of one rule book's rules: which of them some vehicle of this variant can meet.

A rule may be met on another variant of its range, so these say of each rule both yes and no; what
is met nowhere is a finding. What can be met is not worked out here: the closure is asked.

Likewise named upgrades that cannot be had where they are said to hold.
"""

from collections.abc import Collection, Container, Iterable, Iterator, Mapping
from itertools import product
from typing import NamedTuple, TypeVar

from graftbook.catalogue.lint.closure import FROM_NEW, SECONDS_EACH, Survey, attainable_somewhere
from graftbook.catalogue.lint.finding import Wrong
from graftbook.closure.answer import Cause, Outcome
from graftbook.closure.answering import answer_question
from graftbook.closure.question import FitComponent, Question, RemedyFlaw, Wish
from graftbook.closure.search.brought import brought_on
from graftbook.closure.search.problem import Demand
from graftbook.rulebook.model import Alternative, Companion, Conflict, Flaw, RuleBook, Upgrade
from graftbook.rulebook.scope import Fit, Scope, loose_fit

Rule = TypeVar("Rule", Companion, Conflict)

NOTHING_ELSE = "nothing else can be had for its place"

Key = tuple[Wrong, tuple[str, ...], str]
"""What it would be, the records, and of a flaw how the vehicle came by it."""


class RuleVerdict(NamedTuple):
    """`well` on this variant or not; `sentence` says what is not."""

    key: Key
    sentence: str
    well: bool


class WishAsked(NamedTuple):
    """A wish, the vehicles that it is asked for, and what is said when none can have it."""

    key: Key
    wish: Wish
    scopes: list[Scope]
    never: str
    because: str


class RuleLint:
    """The rules of one variant.

    `settled` are the keys that are well on another: they are not asked again. `from_new` are the flaws
    that are judged by vehicles that have them from new: they are not asked of vehicles fitted with them.
    """

    def __init__(self, book: RuleBook, settled: Container[Key] = (), from_new: Container[str] = ()) -> None:
        self.book = book
        self.settled = settled
        self.from_new = from_new
        self.survey = Survey(book)
        self._sole_places: dict[tuple[Scope, Fit], Mapping[str, list[Demand]]] = {}

    def verdicts(self) -> Iterator[RuleVerdict]:
        """Everything that is well, or not, on this variant."""
        yield from self._wishes()
        yield from self._alternatives()
        yield from self._joints()
        yield from self._idle()

    def _wishes(self) -> Iterator[RuleVerdict]:
        """Components that no vehicle can be given, and flaws that no vehicle can be rid of."""
        everything = self._unsettled_wishes(self.survey.candidates, self.book.flaws)
        asked = {a.key: a for a in everything if a.scopes}
        had = attainable_somewhere((a.wish, a.scopes) for a in asked.values())
        yield from (RuleVerdict(key, a.never, a.wish in had) for key, a in asked.items())

    def explained(self, keys: Collection[Key]) -> Iterator[tuple[Key, str]]:
        """Of what no vehicle of the variant can have: the sentence, with the rules that stand against it."""
        named = {records[0] for _, records, _ in keys}
        numbers = sorted(named & self.book.components.keys())
        for a in self._unsettled_wishes(numbers, [flaw for flaw in self.book.flaws if flaw.name in named]):
            if a.key in keys and a.scopes:
                rules = self.survey.rules_against(a.scopes[0], a.wish)
                if rules is None:
                    continue
                why = f"{a.because} {' and '.join(rules)}" if rules else NOTHING_ELSE
                yield a.key, f"{a.never}: {why}"

    def _unsettled_wishes(self, numbers: Iterable[str], flaws: Iterable[Flaw]) -> Iterator[WishAsked]:
        """The wishes for these that are not settled yet."""
        for number in numbers:
            if (key := (Wrong.dead, (number,), "")) not in self.settled:
                scopes, never = self.survey.places_for(number), f"{number} can never be fitted"
                yield WishAsked(key, FitComponent(number), scopes, never, "it breaks")
        for flaw in flaws:
            if (Wrong.no_remedy, (flaw.name,), FROM_NEW) in self.settled:
                continue
            how, scopes = self.survey.flawed(flaw, fitted=flaw.name not in self.from_new)
            if (key := (Wrong.no_remedy, (flaw.name,), how)) not in self.settled:
                parts = " and ".join(flaw.components)
                never = f"{flaw.name} of {parts} cannot be remedied on any vehicle that has it"
                yield WishAsked(key, RemedyFlaw(flaw.name), scopes, never, "whatever would remedy it breaks")

    def _alternatives(self) -> Iterator[RuleVerdict]:
        for rule in self.book.companions:
            keys = {
                (Wrong.impossible_alternative, (rule.name, _in_words(a)), ""): a for a in rule.alternatives
            }
            left = {key: a for key, a in keys.items() if key not in self.settled}
            scopes = self._demanding(rule) if left else []
            for key, alternative in left.items() if scopes else ():
                sentence = (
                    f"{rule.name} offers {key[1][1]}, which sits nowhere and cannot be had on any vehicle "
                    f"that {rule.component} fits"
                )
                able = [scope for scope in scopes if _can_be_met(scope, alternative)]
                yield RuleVerdict(key, sentence, bool(able))
                yield from self._own_clash(rule, alternative, able)

    def _own_clash(
        self, rule: Companion, alternative: Alternative, able: list[Scope]
    ) -> Iterator[RuleVerdict]:
        """Whether an alternative may sit, on some vehicle, beside the very component that asks for it."""
        apart: tuple[str, ...] = ()
        for scope in able:
            if not (apart := self._apart(scope, rule, alternative)):
                break
        if able:
            words = _in_words(alternative)
            sentence = (
                f"{rule.name} offers {words}, which {' and '.join(apart)} keeps apart from {rule.component}"
            )
            yield RuleVerdict((Wrong.own_clash, (rule.name, words), ""), sentence, not apart)

    def _apart(self, scope: Scope, rule: Companion, alternative: Alternative) -> tuple[str, ...]:
        """The rules that keep what asks from all that would meet the alternative; none where one is free."""
        asking = scope.places(rule.component, rule.position)
        meeting = scope.meeting(alternative) or tuple(
            map(loose_fit, scope.loose_servers(alternative.component))
        )
        names: dict[str, None] = {}
        for one, other in product(asking, meeting):
            if not (clash := self._clash(scope, one, other) or self._clash(scope, other, one)):
                return ()
            names[clash] = None
        return tuple(names)

    def _clash(self, scope: Scope, fit: Fit, beside: Fit) -> str:
        """What a fit brings that keeps it apart from another: a conflict, or a companion that is wanted in
        the other's place. "" where nothing does, or that is not determined."""
        brings = brought_on(scope).brings(fit)
        for meeting in brings.conflicts:
            if meeting.other == beside and not meeting.undetermined:
                return meeting.rule.name
        if (wanted := self._sole_places.get((scope, fit))) is None:
            wanted = self._sole_places[scope, fit] = _by_sole_place(brings.demands)
        return next((d.name for d in wanted.get(beside.position, ()) if beside not in d.one_of), "")

    def _demanding(self, rule: Companion) -> list[Scope]:
        """The vehicles on which the rule may bind."""
        scopes = (scope for scope in self.survey.scopes if scope.holds(rule))
        return [scope for scope in scopes if scope.places(rule.component, rule.position)]

    def _joints(self) -> Iterator[RuleVerdict]:
        for joint in self.book.joints:
            for position, kind in ((joint.position, joint.kind), (joint.other_position, joint.other_kind)):
                key = (Wrong.unrecorded_joint, (joint.name, position, kind), "")
                if key in self.settled:
                    continue
                recorded = any(self.survey.measure(number, kind) for number in self.survey.at[position])
                sentence = f"{joint.name} compares {kind} at {position}, and no component there records it"
                yield RuleVerdict(key, sentence, recorded)

    def _idle(self) -> Iterator[RuleVerdict]:
        """Rules that whatever sits on any vehicle obeys: they never bind."""
        for rule in self._unsettled(self.book.companions):
            sentence = f"{rule.name} asks for what every vehicle has, whatever is fitted"
            if scopes := self._demanding(rule):
                binds = any(not _always_met(scope, rule) for scope in scopes)
                yield RuleVerdict((Wrong.idle_rule, (rule.name,), ""), sentence, binds)
        for conflict in self._unsettled(self.book.conflicts):
            sentence = f"{conflict.name} keeps apart what no vehicle can have together"
            if scopes := [scope for scope in self.survey.scopes if scope.holds(conflict)]:
                binds = any(_may_meet(scope, conflict) for scope in scopes)
                yield RuleVerdict((Wrong.idle_rule, (conflict.name,), ""), sentence, binds)

    def _unsettled(self, rules: Iterable[Rule]) -> Iterator[Rule]:
        """Those that bind on no variant seen before."""
        return (rule for rule in rules if (Wrong.idle_rule, (rule.name,), "") not in self.settled)


def _always_met(scope: Scope, rule: Companion) -> bool:
    """Whether all that may sit in some place of an alternative meets it."""
    placed = (a for a in rule.alternatives if a.position)
    return any(all(scope.satisfies(Fit(a.position, c), a) for c in scope.options(a.position)) for a in placed)


def _may_meet(scope: Scope, conflict: Conflict) -> bool:
    """Whether what a conflict keeps apart could be on the vehicle in two places at once."""
    one, other = scope.on_side(conflict.one), scope.on_side(conflict.other)
    return any(fit.is_loose or fit.position != beside.position for fit in one for beside in other)


def _by_sole_place(demands: Iterable[Demand]) -> Mapping[str, list[Demand]]:
    """The companions that have one place to sit in, by that place."""
    found: dict[str, list[Demand]] = {}
    for demand in demands:
        if demand.cause is Cause.companion and not demand.loose:
            places = {fit.position for fit in demand.one_of}
            if len(places) == 1:
                found.setdefault(places.pop(), []).append(demand)
    return found


def _can_be_met(scope: Scope, alternative: Alternative) -> bool:
    if alternative.loose:
        return bool(scope.loose_servers(alternative.component))
    return bool(scope.meeting(alternative))


def _in_words(alternative: Alternative) -> str:
    if alternative.empty:
        return f"nothing at {alternative.position}"
    if alternative.having:
        wanted = " and ".join(f"{w.kind} {w.comparator} {w.value.written}" for w in alternative.having)
        return f"{wanted} at {alternative.position}"
    return alternative.component + (f" at {alternative.position}" if alternative.position else "")


def upgrade_findings(survey: Survey) -> Iterator[tuple[tuple[Wrong, tuple[str, ...]], str]]:
    """The upgrades whose wishes no vehicle of the variant can have together, though they hold for it."""
    held = {
        upgrade: [scope for scope in survey.scopes if scope.holds(upgrade)]
        for upgrade in survey.book.upgrades
    }
    alone = {upgrade: wishes[0] for upgrade in held if len(wishes := wishes_of(upgrade)) == 1}
    had = attainable_somewhere((wish, held[upgrade]) for upgrade, wish in alone.items())
    for upgrade, scopes in held.items():
        if upgrade in alone:
            possible = alone[upgrade] in had
        else:
            possible = any(_together(survey, scope, wishes_of(upgrade)) for scope in scopes)
        if scopes and not possible:
            sentence = (
                f"the upgrade {upgrade.name} holds here, and no vehicle can be given all that it wishes"
            )
            yield (Wrong.idle_upgrade, (upgrade.name,)), sentence


def wishes_of(upgrade: Upgrade) -> tuple[Wish, ...]:
    """What an upgrade wishes."""
    fits = (FitComponent(part, place) for part, place in upgrade.fits)
    return (*fits, *map(RemedyFlaw, upgrade.remedies))


def _together(survey: Survey, scope: Scope, wishes: tuple[Wish, ...]) -> bool:
    question = Question(scope.vehicle, wishes, seconds=SECONDS_EACH)
    return answer_question(survey.book, question, next_bests=False).outcome is not Outcome.impossible
