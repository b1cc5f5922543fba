"""The arithmetic's findings as plain dicts."""

from collections.abc import Sequence
from typing import Any

from api.checks.verdict import Finding, worst


def finding_document(finding: Finding) -> dict[str, Any]:
    """One finding as facts, with its sentence."""
    limit = finding.limit
    return {
        "check": finding.check,
        "subject": finding.subject,
        "verdict": str(finding.verdict),
        "verdict_today": str(finding.verdict_before),
        "changed": finding.verdict is not finding.verdict_before
        or any(figure.before != figure.after for figure in finding.figures),
        "sentence": finding.sentence,
        "figures": [
            {"name": f.name, "before": f.before, "after": f.after, "unit": f.unit} for f in finding.figures
        ],
        "limit": limit
        and {
            "text": limit.text,
            "source": limit.source,
            "clause": limit.clause,
            "provenance": str(limit.provenance),
            "value": limit.value,
            "unit": limit.unit,
        },
        "components": list(finding.components),
        "missing": list(finding.missing),
        "mend": finding.mend or None,
        "caution": finding.caution or None,
    }


def findings_document(findings: Sequence[Finding]) -> dict[str, Any]:
    """All findings of a set and the worst verdict among them."""
    return {
        "verdict": str(worst([finding.verdict for finding in findings])),
        "findings": [finding_document(finding) for finding in findings],
    }
