"""Every check of one set: what is fitted today against what would be."""

from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from graftbook.checks import fuel
from graftbook.checks.brakes import brakes
from graftbook.checks.chassis import stance, suspension, wheels
from graftbook.checks.driveline import driveline, gearing, speedometer
from graftbook.checks.electrical import electrical
from graftbook.checks.findings import beside_today
from graftbook.checks.fitted import ARITHMETIC, Fitted, Memory, Whereabouts, finite
from graftbook.checks.joints import bolts, corrosion, unions
from graftbook.checks.law import Binding, Rules, law_for
from graftbook.checks.verdict import CAUTIONS, Finding, Verdict
from graftbook.rulebook.index import BookIndex, index_of, kept
from graftbook.rulebook.model import RuleBook, Vehicle

MOST_KEPT = 32
"""Vehicles as they stand of which one book keeps the findings."""

Inspect = Callable[[Fitted, Fitted, Rules], Sequence[Finding]]

SUBJECTS: Mapping[str, Inspect] = {
    "brakes": brakes.inspect,
    "electrical": lambda was, new, _: electrical.inspect(was, new),
    "wheels": lambda was, new, _: wheels.inspect(was, new),
    "gearing": lambda was, new, _: gearing.inspect(was, new),
    "speedometer": lambda was, new, rules: speedometer.inspect(was, new, rules.law),
    "driveline": lambda was, new, _: driveline.inspect(was, new),
    "corrosion": lambda was, new, _: corrosion.inspect(was, new),
    "unions": lambda was, new, _: [*unions.inspect(was, new), *bolts.inspect(was, new)],
    "suspension": lambda was, new, _: [*suspension.inspect(was, new), *stance.inspect(was, new)],
    "fuel": lambda was, new, _: fuel.inspect(was, new),
}
"""The subjects in order of safety, each with the checks that it makes."""


def check_set(
    book: RuleBook,
    vehicle: Vehicle | None,
    today: Mapping[str, str | None],
    after: Mapping[str, str | None],
    market: str = "",
    binding: Binding = Binding.in_service,
    look: Callable[[], None] = lambda: None,
) -> list[Finding]:
    """Every finding of the set, subject by subject in order of safety, each beside today's.

    `today` and `after` map positions to component numbers, as `Solution.today` and `Solution.after`
    do. `market` chooses the law ("United States", else the UN regulations); empty: the variant's.
    `binding` says whether rules of type approval bind, or are there to compare with.
    What is fitted today is judged by a pass of its own, so that its verdicts are of today alone.
    `look` is called before each subject; what it raises ends the work.
    """
    rules = Rules(law_for(market or book.variant.market), binding)
    stands = _as_it_stands(book, vehicle, today, rules, look)
    if today == after:
        return list(stands.beside.values())
    was = Fitted(book, today, vehicle, stands.memory)
    new = Fitted(book, after, vehicle, beside=was)
    found: list[Finding] = []
    for subject, (same, looked) in stands.of_each.items():
        look()
        found += same if new.finds_as(was, looked) else _subject(subject, was, new, rules)
    return beside_today(stands.findings, found, stands.beside)


class _Stands(NamedTuple):
    """What is found of a vehicle as it stands, subject by subject with where that was looked for: a set that
    changes nothing there is found the same. `beside`: check → its finding beside itself."""

    of_each: dict[str, tuple[Sequence[Finding], Whereabouts]]
    memory: Memory
    findings: list[Finding]
    beside: dict[str, Finding]


@kept
def _standing(_index: BookIndex) -> dict[object, _Stands]:
    """What is found of the last vehicles as they stand."""
    return {}


def _as_it_stands(
    book: RuleBook,
    vehicle: Vehicle | None,
    today: Mapping[str, str | None],
    rules: Rules,
    look: Callable[[], None] = lambda: None,
) -> _Stands:
    """What is found of what is fitted today; of the last vehicles asked for it is kept with the book."""
    index = index_of(book)
    known = _standing(index)
    key = (vehicle and index.speaks_of(vehicle), frozenset(today.items()), rules)
    if (found := known.get(key)) is None:
        was = Fitted(book, today, vehicle)
        if len(known) >= MOST_KEPT:
            known.clear()
        of_each = {}
        for subject in SUBJECTS:
            look()
            with was.looking() as looked:
                of_each[subject] = _subject(subject, was, was, rules), looked
        findings = [finding for found, _ in of_each.values() for finding in found]
        beside = {finding.check: finding for finding in beside_today(findings, findings)}
        found = known[key] = _Stands(of_each, was.memory, findings, beside)
    return found


def figures_read(
    book: RuleBook, vehicle: Vehicle | None, today: Mapping[str, str | None]
) -> dict[str, set[str]]:
    """Number → the kinds of characteristic that some check reads of it, on the vehicle as it stands."""
    memory = _as_it_stands(
        book, vehicle, today, Rules(law_for(book.variant.market), Binding.in_service)
    ).memory
    read: dict[str, set[str]] = {}
    for (_, kind), found in memory.found.items():
        if found is not None:
            read.setdefault(found.number, set()).add(kind)
    return read


def figures_missed(
    book: RuleBook,
    vehicle: Vehicle | None,
    today: Mapping[str, str | None],
    after: Mapping[str, str | None],
) -> frozenset[str]:
    """The characteristics ("bore of X at P") that nobody records, and that a check wants of a set: of the
    checks that look where it differs from what is fitted today."""
    rules = Rules(law_for(book.variant.market), Binding.in_service)
    stands = _as_it_stands(book, vehicle, today, rules)
    was = Fitted(book, today, vehicle, stands.memory)
    new = Fitted(book, after, vehicle, beside=was)
    others = (subject for subject, (_, looked) in stands.of_each.items() if not new.finds_as(was, looked))
    found = (one for subject in others for one in _subject(subject, new, new, rules))
    return frozenset(name for one in found for name in one.missing)


def _subject(subject: str, was: Fitted, new: Fitted, rules: Rules) -> Sequence[Finding]:
    """The findings of one subject; a single one, not determined, where its arithmetic gives way."""
    was.read.clear()
    new.read.clear()
    try:
        found = SUBJECTS[subject](was, new, rules)
    except ARITHMETIC:
        return [_gave_way(subject, new)]
    return found if all(_is_real(finding) for finding in found) else [_gave_way(subject, new)]


def _is_real(finding: Finding) -> bool:
    return finite([part for figure in finding.figures for part in (figure.before, figure.after)])


def _gave_way(subject: str, fitted: Fitted) -> Finding:
    """Nothing of a subject is determined: it names every figure that it had read."""
    read = "; ".join(f"{name}: {written}" for name, written in fitted.read.items())
    return Finding(
        check=subject,
        subject=subject,
        verdict=Verdict.not_determined,
        sentence=f"{subject.capitalize()}: nothing can be worked out, since the recorded figures do not go "
        f"together. It had read {read or 'nothing'}.",
        impossible=tuple(fitted.read),
        caution=CAUTIONS.get(subject, ""),
    )
