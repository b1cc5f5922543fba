"""The mistakes of an edit as a problem."""

from typing import Any

from graftbook.catalogue.format.sheets import Mistake
from graftbook.catalogue.loading.load import Report
from graftbook.problems import ImportRefused, begun


def mistake_document(mistake: Mistake) -> dict[str, Any]:
    """One mistake as facts: file, line, kind of record, field, what is wrong and what to do.

    In a workbook the line is the row, and its sheet and its cell are told too.
    """
    place = mistake.place
    return {
        "file": place.file,
        "line": place.line,
        **({"sheet": place.sheet} if place.sheet else {}),
        **({"cell": place.cell} if place.cell else {}),
        "record": mistake.kind,
        "field": mistake.field,
        "message": begun(mistake.message).encode("utf-8", "replace").decode(),
    }


def refused(report: Report) -> ImportRefused:
    """The problem that lists the mistakes of a load: all, or those after which it was not looked further."""
    return ImportRefused(
        f"{report.told[0].upper()}{report.told[1:]}; nothing was stored",
        mistakes=[mistake_document(m) for m in report.mistakes],
        more_mistakes=report.stopped,
    )
