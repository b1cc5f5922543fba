"""The mistakes of an edit as a problem."""

from typing import Any

from api.catalogue.loading import Report
from api.catalogue.sheets import Mistake
from api.problems import ImportRefused, begun


def mistake_document(mistake: Mistake) -> dict[str, Any]:
    """One mistake as facts: file, line, kind of record, field, what is wrong and what to do."""
    return {
        "file": mistake.place.file,
        "line": mistake.place.line,
        "record": mistake.kind,
        "field": mistake.field,
        "message": begun(mistake.message).encode("utf-8", "replace").decode(),
    }


def refused(report: Report) -> ImportRefused:
    """The problem that lists every mistake of a load."""
    count = report.mistakes_in_all
    return ImportRefused(
        f"{count} {'mistake' if count == 1 else 'mistakes'}; nothing was stored",
        mistakes=[mistake_document(m) for m in report.mistakes],
        more_mistakes=report.more_mistakes,
    )
