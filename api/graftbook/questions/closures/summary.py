"""The summary of a closure or a check: what a program at the counter holds, taken from the whole document.

The set line by line, the sums, the flaws left, what the arithmetic finds worse or failing, every caution.
What is unchanged or not determined is counted; the reasons, next bests and figures are in the whole one.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from graftbook.questions.closures.check_schemas import ChecksOut, FindingOut
    from graftbook.questions.closures.compared_schemas import CheckOut
    from graftbook.questions.closures.schemas import (
        ChangeOut,
        ClosureOut,
        FlawNoteOut,
        LooseOut,
        NoteOut,
        SetOut,
    )
    from graftbook.questions.closures.summary_schemas import (
        BriefOut,
        ChecksSummaryOut,
        CheckSummaryOut,
        ClosureSummaryOut,
        FindingBriefOut,
        FlawCountsOut,
        LineOut,
        SetSummaryOut,
    )

TOLD = ("worse", "newly not determined")
LONGEST_WHY = 90
"""Letters of a reason: a phrase, not the whole chain."""
_ASIDE = re.compile(r" \([^()]*\)")


def closure_summary(document: ClosureOut, full: str | None) -> ClosureSummaryOut:
    """`full`: the address of the whole answer, where it has one."""
    found = document["set"]
    return {
        "full": full,
        **told_by_both(document),
        "outcome": document["outcome"],
        "proved": document["proved"],
        "sentence": document["sentences"][0],
        "wishes": [wish["sentence"] for wish in document["wishes"]],
        "set": None if found is None else _set(found),
        "contradictions": [one["sentences"] for one in document["contradictions"]],
        "ways_out": [way["sentence"] for way in document["ways_out"]],
        "other_sets": len(document["other_sets"]),
        "checks": None if document["checks"] is None else _checks(document["checks"]),
    }


def check_summary(document: CheckOut) -> CheckSummaryOut:
    """The same of a proposed set, which has no address; `completed` is the summary of what makes it whole."""
    completed = document["completed"]
    return {
        "full": None,
        **told_by_both(document),
        "complete": document["complete"],
        "wishes": [wish["sentence"] for wish in document["wishes"]],
        "missing": _sentences(document["missing"]),
        "clashing": _sentences(document["clashing"]),
        "surplus": document["surplus"],
        "limits_broken": _sentences(document["limits_broken"]),
        "flaws_left": _flaws(document["flaws_left"]),
        "flaws_brought": _flaws(document["flaws_brought"]),
        "checks": _checks(document["checks"]),
        "completed": None if completed is None else closure_summary(completed, None),
    }


def told_by_both(document: ClosureOut | CheckOut) -> BriefOut:
    """What every summary says as the whole document says it."""
    vehicle = document["vehicle"]
    return {
        "vehicle": {
            "variant": vehicle["variant"],
            "title": vehicle["title"],
            "chassis": vehicle["chassis"],
            "built": vehicle["built"],
            "options": vehicle["options"],
        },
        "currency": document["currency"],
        "catalogue_revision": document["catalogue_revision"],
        "cautions": document["cautions"],
        "cut_short": document["cut_short"],
    }


def _set(found: SetOut) -> SetSummaryOut:
    return {
        "lines": [*map(_change, found["changes"]), *map(_line, found["loose_parts"])],
        "totals": found["totals"],
        "flaws_left": _flaws(found["flaws_left"]),
        "flaws_brought": _flaws(found["flaws_brought"]),
        "confidence": found["confidence"],
        "advised": len(found["advised"]),
        "stays": len(found["stays"]),
    }


def _change(change: ChangeOut) -> LineOut:
    return {**_line(change), "position": change["position"]}


def _line(one: ChangeOut | LooseOut) -> LineOut:
    """A change or a loose part, which sits at no position."""
    line: LineOut = {
        "number": one["component"],
        "name": one["name"],
        "price": one["price"],
        "why": phrase(one["why"]),
    }
    if one["quantity"] != 1:
        line["quantity"] = one["quantity"]
    return line


def phrase(why: str) -> str:
    """What asks for it, as it is said before the colon; else the beginning, to a whole word."""
    reason = without_aside(why).partition(": ")[0].rstrip(".")
    return reason if len(reason) <= LONGEST_WHY else reason[:LONGEST_WHY].rsplit(" ", 1)[0] + " …"


def without_aside(words: str) -> str:
    """A name or a sentence without what stands in brackets."""
    return _ASIDE.sub("", words)


def _flaws(flaws: Iterable[FlawNoteOut]) -> FlawCountsOut:
    """How many of each severity, and the names of the dangerous ones."""
    every = list(flaws)
    return {
        "counts": dict(Counter(flaw["severity"] for flaw in every)),
        "dangerous": [flaw["flaw"] for flaw in every if flaw["severity"] == "dangerous"],
    }


def _checks(checks: ChecksOut) -> ChecksSummaryOut:
    """The verdict, what the set makes worse; what fails and failed before by its name, the others counted.
    Every caution, also of what is only counted."""
    findings = checks["findings"]
    return {
        "verdict": checks["verdict"],
        "sentence": checks["sentence"],
        "counts": {kind: count for kind, count in checks["counts"].items() if count},
        "findings": [_finding(one) for one in findings if one["kind"] in TOLD],
        "failing_already": [
            one["check"] for one in findings if one["kind"] not in TOLD and one["verdict"] == "fails"
        ],
        "cautions": list(dict.fromkeys(one["caution"] for one in findings if one["caution"])),
    }


def _finding(finding: FindingOut) -> FindingBriefOut:
    return {
        "check": finding["check"],
        "kind": finding["kind"],
        "verdict": finding["verdict"],
        "sentence": finding["sentence"],
        "mend": finding["mend"],
    }


def _sentences(notes: Iterable[NoteOut]) -> list[str]:
    return [note["sentence"] for note in notes]
