"""Lint of the order of work: positions that come before each other in a circle.

A precedence may hold for some vehicles only, so each of the vehicles that stand for all is tried. What a
companion rule says of the order counts only where its component is fitted, so the rules of one component
are looked at together, with the precedences, and never those of two that may exclude each other.
"""

from collections import defaultdict
from collections.abc import Iterator

from graftbook.catalogue.lint.circles import circles_in, shortest_circle
from graftbook.catalogue.lint.finding import Wrong
from graftbook.catalogue.lint.vehicles import vehicles_to_try
from graftbook.rulebook.model import ALWAYS, Claim, Companion, RuleBook

_Key = tuple[Wrong, tuple[str, ...]]
_Step = tuple[str, str, Claim]
"""The work at the first position comes before that at the second; the record that says so."""

WORK = {"fitting": "when fitting", "removing": "when taking off"}


def sequence_findings(book: RuleBook) -> Iterator[tuple[_Key, str]]:
    """(what, sentence) for each circle among precedences and companions that go on before or after."""
    seen: set[tuple[str, ...]] = set()
    for work, words in WORK.items():
        always: list[_Step] = [(p.first, p.then, p) for p in book.precedences if p.work == work]
        off = [a for a in book.accesses if a.state == "off"]
        always += [
            (a.position, a.other_position, a) if work == "fitting" else (a.other_position, a.position, a)
            for a in off if not (a.component or a.other_component)
        ]  # fmt: skip
        of_components = _of_companions(book).values() if work == "fitting" else ()
        for steps in (always, *(always + some for some in of_components)):
            for holding in _together(book, steps):
                for names, sentence in _circles(holding, words):
                    if names not in seen:
                        seen.add(names)
                        yield (Wrong.work_in_a_circle, names), sentence


def _together(book: RuleBook, steps: list[_Step]) -> Iterator[list[_Step]]:
    """The steps that hold together, for each vehicle that is tried."""
    claims = [claim for _, _, claim in steps]
    if all(claim.when is ALWAYS for claim in claims):
        yield steps
        return
    tried: set[frozenset[str]] = set()
    for vehicle in vehicles_to_try(book, claims):
        holding = [step for step in steps if step[2].when.holds(vehicle)]
        names = frozenset(claim.name for _, _, claim in holding)
        if names not in tried:
            tried.add(names)
            yield holding


def _circles(steps: list[_Step], words: str) -> Iterator[tuple[tuple[str, ...], str]]:
    claim_of: dict[tuple[str, str], str] = {}
    for first, then, claim in steps:
        claim_of.setdefault((first, then), claim.name)
    for group in circles_in(list(claim_of)):
        circle = shortest_circle(list(claim_of), group)
        pairs = list(zip(circle, [*circle[1:], circle[0]], strict=True))
        names = tuple(sorted({claim_of[pair] for pair in pairs}))
        order = ", ".join(f"{first} comes before {then} ({claim_of[first, then]})" for first, then in pairs)
        yield names, f"{words}, {order}: the work can begin nowhere"


def _of_companions(book: RuleBook) -> dict[str, list[_Step]]:
    """By component: its rules with one alternative that goes on before or after, both at one position."""
    found: dict[str, list[_Step]] = defaultdict(list)
    places: dict[str, set[str]] = {}
    for fitment in book.fitments:
        places.setdefault(fitment.component, set()).add(fitment.position)
    for rule in book.companions:
        here, there = _places_of(rule, places)
        if len(here) == len(there) == 1 and here != there:
            first, then = (there, here) if rule.alternatives[0].goes_on == "before" else (here, there)
            found[rule.component].append((min(first), min(then), rule))
    return found


def _places_of(rule: Companion, places: dict[str, set[str]]) -> tuple[set[str], set[str]]:
    if len(rule.alternatives) != 1 or not rule.alternatives[0].goes_on:
        return set(), set()
    alternative = rule.alternatives[0]
    here = {rule.position} if rule.position else places.get(rule.component, set())
    there = {alternative.position} if alternative.position else places.get(alternative.component, set())
    return here, there
