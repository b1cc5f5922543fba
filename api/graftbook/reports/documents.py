"""Reports and grades as plain dicts, with the sentences that tell them."""

from collections import Counter
from collections.abc import Iterable

from graftbook.catalogue.format.records_beside import ReportRecord
from graftbook.catalogue.store.standing import Claimed, Opposed
from graftbook.http.values import GRADE_WORDS, counted
from graftbook.reports.schemas import GradeOut, OpposedOut, ReportOut, SuggestionOut, TalliedOut
from graftbook.rulebook.grading import Break, TrialOutcome


def report_document(name: str, record: ReportRecord) -> ReportOut:
    """A report as it is kept."""
    return {"name": name, "report": record.model_dump(mode="json", exclude_defaults=True)}


def grade_document(claim: Claimed, opposed: Iterable[Opposed] = ()) -> GradeOut:
    """How a claim stands; `opposed`: pairs of records that say otherwise, of any claim."""
    standing = claim.standing
    return {
        "claim": claim.name,
        "kind": claim.kind,
        "grade": GRADE_WORDS[standing.grade],
        "sources": GRADE_WORDS[standing.sources],
        "holds_for_at_least": round(standing.share, 3),
        "reports": tallied(claim),
        "counted_held": round(standing.held, 2),
        "counted_failed": round(standing.failed, 2),
        "contradicted": standing.contradicted,
        "lowered": standing.lowered,
        "sentence": sentence(claim),
        "suggestion": suggestion(claim.proposed),
        "opposed_by": [*_opposing(claim.name, opposed)],
    }


def tallied(claim: Claimed) -> TalliedOut:
    """The reports that bear on a claim, counted as they were sent."""
    outcomes = Counter(report.outcome for report in claim.reports)
    return {
        "fitted": outcomes[TrialOutcome.fitted],
        "fitted_after_work": outcomes[TrialOutcome.after_work],
        "did_not_fit": outcomes[TrialOutcome.did_not_fit],
        "workshops": len({report.workshop.casefold() for report in claim.reports}),
    }


def sentence(claim: Claimed) -> str:
    """What was reported and what the grade does with it."""
    standing, counts = claim.standing, tallied(claim)
    if not claim.reports:
        return f"No workshop has reported on it; its sources are worth: {GRADE_WORDS[standing.sources]}."
    outcomes = (counts["fitted"], counts["fitted_after_work"], counts["did_not_fit"])
    by_outcome = [
        f"{count} {outcome}" for count, outcome in zip(outcomes, TrialOutcome, strict=True) if count
    ]
    beginning = f"{', '.join(by_outcome)}, by {counted(counts['workshops'], 'workshop')}"
    if standing.grade == standing.sources:
        return f"{beginning}: it stays as good as {GRADE_WORDS[standing.grade]}."
    moved = "lowers" if standing.lowered else "raises"
    return (
        f"{beginning}: that {moved} it from {GRADE_WORDS[standing.sources]} to {GRADE_WORDS[standing.grade]}."
    )


def suggestion(found: Break | None) -> SuggestionOut | None:
    """The break that failures propose, as a change that an editor may make."""
    if found is None:
        return None
    field, value = ("chassis_from", found.first_high) if found.early else ("chassis_to", found.last_low)
    return {"field": field, "value": value, "p": round(found.p, 6), "sentence": _of_break(found)}


def _of_break(found: Break) -> str:
    low = (found.failed_low, found.low, f"up to {found.last_low}")
    high = (found.failed_high, found.high, f"from {found.first_high} on")
    bad, good = (low, high) if found.early else (high, low)
    where = f"before chassis {found.first_high}" if found.early else f"after chassis {found.last_low}"
    first = f"All {bad[0]} failures are" if not good[0] else f"{bad[0]} of {bad[0] + good[0]} failures are"
    fitted = good[1] - good[0]
    return (
        f"{first} {where} ({bad[0]} of {bad[1]} vehicles); {good[2]} it went on {fitted} of {good[1]}. Chance"
        f" alone would part them so clearly in {_chances(found.p)}."
    )


def _chances(p: float) -> str:
    for of in (100, 1_000, 10_000):
        if p * of >= 1:
            return f"{round(p * of)} of {of:,} cases"
    return "less than 1 of 10,000 cases"


def _opposing(name: str, pairs: Iterable[Opposed]) -> Iterable[OpposedOut]:
    for pair in pairs:
        if pair.one == name:
            yield {"claim": pair.other, "says": pair.other_says, "this_says": pair.says}
        elif pair.other == name:
            yield {"claim": pair.one, "says": pair.says, "this_says": pair.other_says}
