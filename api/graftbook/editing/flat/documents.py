"""Flat lists and what becomes of them as documents."""

from collections import Counter

from graftbook.catalogue.loading.load import LoadReport
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.questions import ListQuestion
from graftbook.editing.flat.schemas import (
    FlatIssueOut,
    FlatListLineOut,
    FlatListOut,
    FlatMappingOut,
    FlatQuestionOut,
    FlatTakenOut,
    FlatTakeOut,
)
from graftbook.editing.flat.service import FlatList
from graftbook.editing.flat.turning import Turned

MOST_QUESTIONS = 500
MOST_CHANGES = 5_000


def list_document(kept: FlatList) -> FlatListOut:
    """A list as facts."""
    return {
        "name": kept.name,
        "mapping": _mapping(kept.mapping),
        "decisions": kept.decisions,
        "file": kept.file,
        "rows": len(kept.rows),
        "heads": kept.heads,
        "taken": _taken_document(kept),
        "changed": kept.changed.isoformat(),
    }


def line_document(kept: FlatList) -> FlatListLineOut:
    """A list as a line among others."""
    return {
        "name": kept.name,
        "file": kept.file,
        "decisions": len(kept.decisions),
        "taken": _taken_document(kept),
    }


def _mapping(mapping: FlatMapping) -> FlatMappingOut:
    return {
        "columns": dict(mapping.columns),
        "head_line": mapping.head_line,
        "range": mapping.range,
        "supplier": mapping.supplier,
        "section": mapping.section,
        "origin": mapping.origin,
        "from_new": mapping.from_new,
        "currency": mapping.currency,
        "decimal": mapping.decimal,
        "days": mapping.days,
        "evidence": mapping.evidence,
    }


def _taken_document(kept: FlatList) -> FlatTakenOut | None:
    if kept.taken_revision is None:
        return None
    return {"file": kept.taken_file, "revision": kept.taken_revision, "numbers": len(kept.taken)}


def question_document(question: ListQuestion) -> FlatQuestionOut:
    """A question as facts."""
    return {
        "key": question.key,
        "kind": question.kind,
        "sentence": question.sentence,
        "choices": [{"value": choice.value, "words": choice.words} for choice in question.choices],
        "typed": question.typed,
        "for_all": question.for_all,
        "lines": question.lines,
        "count": question.count,
        "numbers": len(question.numbers),
    }


def issue_document(kept: FlatList, found: Turned) -> FlatIssueOut:
    """What an issue becomes, as facts."""
    return {
        "rows": found.rows,
        "numbers": found.numbers,
        "ready": found.ready,
        "unchanged": found.unchanged,
        "waiting": len(found.waiting),
        "new": found.new,
        "records": dict(Counter(one["record"] for one in found.objects)),
        "removed": {kind: len(names) for kind, names in found.removals.items()},
        "questions": [question_document(one) for one in found.questions[:MOST_QUESTIONS]],
        "question_count": len(found.questions),
        "changes": found.changes[:MOST_CHANGES],
        "change_counts": dict(Counter(one["what"] for one in found.changes)),
        "assumed": list(kept.assumed),
        "told": [{"line": one.line, "number": one.number, "sentence": one.sentence} for one in found.told],
        "untold": found.untold,
    }


def taken_document(report: LoadReport, found: Turned) -> FlatTakeOut:
    """What taking an issue did."""
    return {
        "dry_run": report.dry_run,
        "changed": report.changed,
        "catalogue_revision": None if report.dry_run else report.revision,
        "taken": found.ready,
        "waiting": len(found.waiting),
    }
