"""What a set does to the findings: each beside the same check on today's vehicle, counted and said."""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import replace

from graftbook.checks.verdict import Figure, Finding, FindingKind, Verdict, worst

BY_THE_SET = (FindingKind.worse, FindingKind.newly_not_determined)
"""What the set itself has to answer for."""


def beside_today(today: Iterable[Finding], found: Iterable[Finding]) -> list[Finding]:
    """The findings of a set, each with what the same check says of the vehicle as it stands.

    What fails today and does not apply any more is among them: the set mends it. A subject whose
    arithmetic gave way on one side has a finding of its own name there: it is not determined there.
    """
    was = {finding.check: finding for finding in today}
    now = {finding.check: finding for finding in found}
    beside = [replace(f, today=was.get(f.check, was.get(f.subject))) for f in now.values()]
    gone = (f for f in was.values() if f.check not in now and f.subject not in now)
    return [*beside, *(_gone(f) for f in gone if f.verdict in (Verdict.fails, Verdict.caution))]


def _gone(was: Finding) -> Finding:
    return Finding(
        check=was.check,
        subject=was.subject,
        verdict=Verdict.holds,
        sentence=f"No longer applies with this set. Today: {was.sentence}",
        figures=tuple(Figure(f.name, f.after, None, f.unit) for f in was.figures),
        limit=was.limit,
        components=was.components,
        caution=was.caution,
        today=was,
    )


def verdict_of_set(findings: Iterable[Finding]) -> Verdict:
    """The worst of what the set makes worse or leaves undetermined; holds when there is nothing."""
    return worst([finding.verdict for finding in findings if finding.kind in BY_THE_SET])


def counted(findings: Iterable[Finding]) -> dict[FindingKind, int]:
    """How many findings there are of each kind."""
    found = Counter(finding.kind for finding in findings)
    return {kind: found[kind] for kind in FindingKind}


def headline(findings: Sequence[Finding]) -> str:
    """What the set makes worse, in one sentence; of what was so already it says nothing."""
    counts = counted(findings)
    worse, lost = (counts[kind] for kind in BY_THE_SET)
    if not worse and not lost:
        return "This set makes no check fail or worse."
    made = f"makes {_checks(worse)} fail or worse" if worse else "makes nothing fail"
    if not lost:
        return f"This set {made}."
    joined = "and" if worse else "but"
    return (
        f"This set {made}, {joined} {_checks(lost)} cannot be worked out any more, or not for what it brings."
    )


def _checks(number: int) -> str:
    return f"{number} check{'' if number == 1 else 's'}"
