"""Lint of one rule book's rules: which of them some vehicle of this variant can meet.

A rule may be met on another variant of its range, so these say of each rule both yes and no; what
is met nowhere is a finding. What can be met is not worked out here: the closure is asked.
"""

from collections.abc import Container, Iterator
from typing import NamedTuple

from api.catalogue.finding import Wrong
from api.catalogue.lint_closure import Looked
from api.rulebook.model import Alternative, Companion, Flaw, RuleBook
from api.rulebook.scope import Scope

Key = tuple[Wrong, tuple[str, ...], str]
"""What it would be, the records, and of a flaw how the vehicle came by it."""


class Verdict(NamedTuple):
    """`well` on this variant or not; `sentence` says what is not."""

    key: Key
    sentence: str
    well: bool


class RuleLint:
    """The rules of one variant. `settled` are the keys that are well on another: they are not asked again."""

    def __init__(self, book: RuleBook, settled: Container[Key] = ()) -> None:
        self.book = book
        self.settled = settled
        self.looked = Looked(book)

    def verdicts(self) -> Iterator[Verdict]:
        """Everything that is well, or not, on this variant."""
        yield from self._dead()
        yield from self._alternatives()
        yield from self._joints()
        yield from self._flaws()

    def _dead(self) -> Iterator[Verdict]:
        """Components that no vehicle can be given."""
        for number in self.looked.candidates():
            key = (Wrong.dead, (number,), "")
            if key in self.settled or (possible := self.looked.can_be_fitted(number)) is None:
                continue
            rules = () if possible else self.looked.against(number)
            why = f": {_and(rules)} cannot be met" if rules else ""
            yield Verdict(key, f"{number} can never be fitted{why}", possible)

    def _alternatives(self) -> Iterator[Verdict]:
        for rule in self.book.companions:
            scopes = [s for s in self.looked.scopes if s.holds(rule) and self._demands(s, rule)]
            for alternative in rule.alternatives if scopes else ():
                what = _in_words(alternative)
                key = (Wrong.impossible_alternative, (rule.name, what), "")
                if key in self.settled:
                    continue
                sentence = (
                    f"{rule.name} offers {what}, which sits nowhere and cannot be had on any vehicle that "
                    f"{rule.component} fits"
                )
                yield Verdict(key, sentence, any(_can_be_met(scope, alternative) for scope in scopes))

    def _demands(self, scope: Scope, rule: Companion) -> bool:
        return bool(scope.places(rule.component, rule.position))

    def _joints(self) -> Iterator[Verdict]:
        for joint in self.book.joints:
            for position, kind in ((joint.position, joint.kind), (joint.other_position, joint.other_kind)):
                key = (Wrong.unrecorded_joint, (joint.name, position, kind), "")
                if key in self.settled:
                    continue
                recorded = any(scope.measure(n, kind) for scope in self.looked.scopes for n in self.looked.at(position))
                sentence = f"{joint.name} compares {kind} at {position}, and no component there records it"
                yield Verdict(key, sentence, recorded)

    def _flaws(self) -> Iterator[Verdict]:
        for flaw in self.book.flaws:
            how, scopes = self.looked.flawed(flaw)
            key = (Wrong.no_remedy, (flaw.name,), how)
            if not scopes or key in self.settled:
                continue
            well = self.looked.can_be_remedied(flaw, scopes)
            yield Verdict(key, "" if well else self._no_remedy(flaw, scopes[0]), well)

    def _no_remedy(self, flaw: Flaw, scope: Scope) -> str:
        rules = self.looked.against_remedy(flaw, scope)
        why = f"all that remedies it breaks {_and(rules)}" if rules else "no add-on and nothing else can be had"
        return f"{flaw.name} of {flaw.component} cannot be remedied on any vehicle that has it: {why}"


def _can_be_met(scope: Scope, alternative: Alternative) -> bool:
    if alternative.loose:
        return bool(scope.loose_servers(alternative.component))
    return bool(scope.meeting(alternative))


def _and(names: tuple[str, ...]) -> str:
    return " and ".join(names)


def _in_words(alternative: Alternative) -> str:
    if alternative.empty:
        return f"nothing at {alternative.position}"
    if alternative.having:
        wanted = " and ".join(f"{w.kind} {w.comparator} {w.value.written}" for w in alternative.having)
        return f"{wanted} at {alternative.position}"
    return alternative.component + (f" at {alternative.position}" if alternative.position else "")
