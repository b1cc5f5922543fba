"""Lint of one rule book's rules: which of them something on this variant can meet.

A rule may be met on another variant of its range, so these say of each rule both yes and no; what
is met nowhere is a finding. Rules that hold only for some vehicles are given the benefit of the doubt.
"""

from collections import defaultdict
from collections.abc import Iterator

from api.catalogue.finding import Wrong
from api.rulebook.compare import has_all
from api.rulebook.model import ALWAYS, Alternative, Companion, Component, RuleBook, Supply

Verdict = tuple[Wrong, tuple[str, ...], str, bool]
"""(what it would be, the records, the sentence, whether it is well on this variant)."""


class RuleLint:
    """Who sits where on one variant, and what of it can be had."""

    def __init__(self, book: RuleBook) -> None:
        self.book = book
        self.at: dict[str, set[str]] = defaultdict(set)
        self.places: dict[str, set[str]] = defaultdict(set)
        for fitment in book.fitments:
            self.at[fitment.position].add(fitment.component)
            self.places[fitment.component].add(fitment.position)
        self.newer: dict[str, set[str]] = defaultdict(set)
        for supersession in book.supersessions:
            self.newer[supersession.old].add(supersession.new)
            if supersession.both_ways:
                self.newer[supersession.new].add(supersession.old)
        self._stand_in()
        self.rules: dict[str, list[Companion]] = defaultdict(list)
        for rule in book.companions:
            if rule.required:
                self.rules[rule.component].append(rule)

    def _stand_in(self) -> None:
        """A successor without a fitment of its own at a position stands in its elder's stead there."""
        for old in list(self.places):
            for new in self.successors(old):
                for position in self.places[old]:
                    self.at[position].add(new)
                self.places[new] |= self.places[old]

    def successors(self, number: str) -> set[str]:
        """Every number that a number leads to."""
        seen: set[str] = set()
        waiting = [number]
        while waiting:
            more = self.newer.get(waiting.pop(), set()) - seen
            seen |= more
            waiting += more
        return seen - {number}

    def verdicts(self) -> Iterator[Verdict]:
        """Everything that is well, or not, on this variant."""
        yield from self._dead()
        yield from self._alternatives()
        yield from self._joints()
        yield from self._flaws()

    def _can_be_had(self, number: str) -> bool:
        component = self.book.components.get(number)
        return component is not None and component.supply is Supply.current

    def _dead(self) -> Iterator[Verdict]:
        """Components whose required companions cannot be met: unit propagation to a fixpoint."""
        dead: dict[str, str] = {}
        found = True
        while found:
            found = False
            for number in sorted(self.places):
                if number not in dead and (rule := self._unmet(number, dead)):
                    dead[number] = rule
                    found = True
        for number in sorted(self.places):
            rule = dead.get(number, "")
            sentence = f"{number} can never be fitted: nothing meets its companion rule {rule}"
            yield Wrong.dead, (number,), sentence, not rule

    def _unmet(self, number: str, dead: dict[str, str]) -> str:
        """The name of a rule of the component that nothing alive meets; empty if there is none."""
        for rule in self.rules.get(number, ()):
            if rule.when is not ALWAYS:
                continue
            if rule.position and self.places[number] != {rule.position}:
                continue
            if not any(self._possible(alternative, dead) for alternative in rule.alternatives):
                return rule.name
        return ""

    def _possible(self, alternative: Alternative, dead: dict[str, str]) -> bool:
        if alternative.empty:
            return not self.book.positions[alternative.position].essential
        if alternative.having:
            candidates = self.at[alternative.position] - set(dead)
            return any(self._has(number, alternative) for number in candidates)
        numbers = {alternative.component, *self.successors(alternative.component)}
        if alternative.loose:
            return any(self._can_be_had(number) for number in numbers)
        alive = numbers - set(dead)
        if alternative.position:
            return bool(alive & self.at[alternative.position])
        return any(self.places.get(number) for number in alive)

    def _has(self, number: str, alternative: Alternative) -> bool:
        component: Component | None = self.book.components.get(number)
        return component is not None and has_all(component.characteristics, alternative.having) is True

    def _alternatives(self) -> Iterator[Verdict]:
        for rule in self.book.companions:
            if not self.places.get(rule.component):
                continue
            for alternative in rule.alternatives:
                what = _in_words(alternative)
                sentence = (
                    f"{rule.name} offers {what}, which is possible on no variant that {rule.component} fits"
                )
                yield (
                    Wrong.impossible_alternative,
                    (rule.name, what),
                    sentence,
                    self._possible(alternative, {}),
                )

    def _joints(self) -> Iterator[Verdict]:
        for joint in self.book.joints:
            for position, kind in ((joint.position, joint.kind), (joint.other_position, joint.other_kind)):
                recorded = any(
                    kind in self.book.components[number].characteristics
                    for number in self.at[position]
                    if number in self.book.components
                )
                sentence = f"{joint.name} compares {kind} at {position}, and no component there records it"
                yield Wrong.unrecorded_joint, (joint.name, position, kind), sentence, recorded

    def _flaws(self) -> Iterator[Verdict]:
        by_name = {substitute.name: substitute for substitute in self.book.substitutes}
        for flaw in self.book.flaws:
            if not self.places.get(flaw.component):
                continue
            swapped = [by_name[name] for name in flaw.substitutes if name in by_name]
            others = {s.original if s.component == flaw.component else s.component for s in swapped}
            remedies = others | set(flaw.add_ons)
            numbers = remedies.union(*(self.successors(number) for number in remedies)) if remedies else set()
            well = any(self._can_be_had(n) and (self.places.get(n) or n in flaw.add_ons) for n in numbers)
            sentence = f"{flaw.name} of {flaw.component}: no remedy is recorded that fits and can be bought"
            yield Wrong.no_remedy, (flaw.name,), sentence, well


def _in_words(alternative: Alternative) -> str:
    if alternative.empty:
        return f"nothing at {alternative.position}"
    if alternative.having:
        wanted = " and ".join(f"{w.kind} {w.comparator} {w.value.written}" for w in alternative.having)
        return f"{wanted} at {alternative.position}"
    return alternative.component + (f" at {alternative.position}" if alternative.position else "")
