"""The check of a proposed set as plain text, laid out from the JSON facts and the sentences in them."""

from collections.abc import Iterator

from graftbook.http.plain_text import caution_lines, count, wrap
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.plain_brief import brief_changes, brief_finding_lines
from graftbook.questions.closures.plain_set import changes_of, finding_lines, note_lines


def check_lines(document: CheckOut, *, full: bool) -> Iterator[str]:
    """A check: is the list complete, what clashes, what is surplus, what to add, the arithmetic; of the set
    and of the arithmetic all that is known, or the short of it."""
    vehicle = document["vehicle"]
    yield from wrap(f"{vehicle['title']}, chassis {vehicle['chassis']}", hang=2)
    yield from wrap(_headline(document))
    yield from note_lines("MISSING", document["missing"])
    yield from note_lines("CLASHING", document["clashing"], where=True)
    yield from note_lines("AGAINST WHAT WAS ASKED", document["limits_broken"])
    yield from _surplus(document)
    yield from _completed_lines(document, full)
    yield from note_lines("WORTH DOING AT THE SAME TIME", document["advised"])
    yield from (finding_lines if full else brief_finding_lines)(document["checks"])
    if document["cautions"]:
        yield ""
    yield from caution_lines(document["cautions"])


def _headline(document: CheckOut) -> str:
    found = [
        count(len(document["missing"]), "rule asks", "rules ask") + " for more"
        if document["missing"]
        else "",
        count(len(document["clashing"]), "clash", "clashes") if document["clashing"] else "",
        f"{len(document['surplus'])} surplus" if document["surplus"] else "",
    ]
    counts = "; ".join(filter(None, found))
    whole = "The set is complete" if document["complete"] else "The set is not complete"
    return f"{whole}{f': {counts}' if counts else ''}. {document['checks']['sentence']}"


def _surplus(document: CheckOut) -> Iterator[str]:
    if document["surplus"]:
        yield ""
        yield "SURPLUS: nothing asks for it"
    for each in document["surplus"]:
        where = f" at {each['position']}" if each["position"] else ""
        yield f"  {each['quantity']} x {each['component'] or 'nothing'}{where}"


def _completed_lines(document: CheckOut, full: bool) -> Iterator[str]:
    whole = document["completed"]
    if whole is None or whole["set"] is None or document["complete"]:
        return
    yield ""
    yield "THE WHOLE SET: what was proposed, with what it lacks"
    yield from (changes_of if full else brief_changes)(whole["set"])
    for part in whole["set"]["loose_parts"]:
        yield f"{part['quantity']:3} x {part['component']:<8} {part['name'] or ''}"
