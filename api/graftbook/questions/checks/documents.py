"""The arithmetic's findings as plain dicts, and in the groups that a reader is told them in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, TypedDict

from graftbook.checks.findings import BY_THE_SET as THE_SETS_DOING
from graftbook.checks.findings import counted, headline, verdict_of_set
from graftbook.checks.verdict import Finding, Verdict

if TYPE_CHECKING:
    from graftbook.questions.closures.check_schemas import ChecksOut, FindingOut, KindWord

WORST_FIRST = ("fails", "caution", "not determined", "holds")
BY_THE_SET: tuple[KindWord, ...] = tuple(kind.value for kind in THE_SETS_DOING)
GROUPS = (
    ("This set makes it fail or worse", BY_THE_SET),
    ("It was already so", ("already so",)),
    ("This set mends it", ("mended",)),
)
"""The title of each group that is told in full, and the kinds in it. The rest is counted."""
TODAY = {
    "holds": "Today it holds.",
    "caution": "Today it is a caution.",
    "fails": "Today it fails.",
    "not determined": "Today it is not determined.",
}
NOT_AS_IT_SHOULD_BE = ("fails", "caution")


class FindingsGroup(TypedDict):
    """What is told together, under one title."""

    title: str
    kinds: tuple[str, ...]
    findings: list[FindingOut]
    cautions: list[str]


def finding_document(finding: Finding) -> FindingOut:
    """One finding as facts, with its sentence."""
    limit = finding.limit
    return {
        "check": finding.check,
        "subject": finding.subject,
        "kind": finding.kind.value,
        "verdict": finding.verdict.value,
        "verdict_today": (finding.verdict_before or Verdict.not_determined).value,
        "applies_today": finding.today is not None,
        "changed": finding.changed,
        "better": finding.better,
        "sentence": finding.sentence,
        "figures": [
            {"name": f.name, "before": f.before, "after": f.after, "unit": f.unit} for f in finding.figures
        ],
        "limit": {
            "text": limit.text,
            "source": limit.source,
            "clause": limit.clause,
            "provenance": str(limit.provenance),
            "value": limit.value,
            "unit": limit.unit,
        }
        if limit
        else None,
        "components": list(finding.components),
        "missing": list(finding.missing),
        "impossible": list(finding.impossible),
        "mend": finding.mend or None,
        "caution": finding.caution or None,
    }


def findings_document(findings: Sequence[Finding]) -> ChecksOut:
    """All findings of a set; the verdict and the sentence speak of what the set makes worse alone."""
    return {
        "verdict": verdict_of_set(findings).value,
        "sentence": headline(findings),
        "counts": {kind.value: number for kind, number in counted(findings).items()},
        "findings": [finding_document(finding) for finding in findings],
    }


def told_in_full(checks: ChecksOut) -> list[FindingsGroup]:
    """The groups that are told in full and are not empty, the worst first in each.

    `cautions` are those of what fails or nearly does; a set that mends needs none for what it mended.
    """
    groups: list[FindingsGroup] = []
    for title, of in GROUPS:
        found = worst_first([f for f in checks["findings"] if f["kind"] in of])
        bad = [f for f in found if f["verdict"] in NOT_AS_IT_SHOULD_BE]
        cautions = list(dict.fromkeys(caution for f in bad if (caution := f["caution"])))
        if found:
            groups.append({"title": title, "kinds": of, "findings": found, "cautions": cautions})
    return groups


def for_want_of(findings: Sequence[FindingOut]) -> list[tuple[FindingOut, list[FindingOut]]]:
    """Findings as they are told; what cannot be worked out for want of the same figures stands once, the
    others behind it."""
    told_with: list[tuple[FindingOut, list[FindingOut]]] = []
    first: dict[tuple[str, ...], list[FindingOut]] = {}
    for finding in findings:
        wanting = (*finding["missing"], *finding["impossible"])
        if finding["missing"] and wanting in first:
            first[wanting].append(finding)
        else:
            others = first[wanting] = []
            told_with.append((finding, others))
    return told_with


def of_today(finding: FindingOut) -> str:
    """What the same check says of the vehicle as it stands, where that is another verdict or worse."""
    if finding["better"]:
        return "Better than today, but still not as it should be."
    was = finding["verdict_today"]
    return TODAY[was] if finding["applies_today"] and was != finding["verdict"] else ""


def counted_only(checks: ChecksOut) -> list[FindingOut]:
    """What holds, or is not determined today either; what the set changes first."""
    rest = [f for f in checks["findings"] if f["kind"] in ("holds", "not determined")]
    return sorted(worst_first(rest), key=lambda finding: not finding["changed"])


def worst_first(findings: Sequence[FindingOut]) -> list[FindingOut]:
    return sorted(findings, key=lambda finding: WORST_FIRST.index(finding["verdict"]))


def cannot_be(checks: ChecksOut) -> list[FindingOut]:
    """The findings that are not determined because a recorded figure cannot be; each sentence once."""
    found = {f["sentence"]: f for f in checks["findings"] if f["impossible"]}
    return list(found.values())
