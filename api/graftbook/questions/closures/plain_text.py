"""A closure's answer as plain text, laid out from the JSON facts and the sentences in them."""

from collections.abc import Iterator

from graftbook.http.plain_text import caution_lines, wrap
from graftbook.http.values import capital
from graftbook.questions.closures.plain_brief import brief_changes, brief_set_lines
from graftbook.questions.closures.plain_set import changes_of, set_lines
from graftbook.questions.closures.schemas import ClosureOut, ContradictionOut


def answer_lines(document: ClosureOut, *, full: bool) -> Iterator[str]:
    """A closure document: vehicle, wishes, the set or the contradiction, what to know; of the set all that
    is known, or what one or two screens hold."""
    yield from _vehicle(document)
    yield ""
    offers = " They are the catalogue's own; an order takes the suppliers' offers." if document["set"] else ""
    revision = (
        f"Prices in {document['currency']}, catalogue revision {document['catalogue_revision']}.{offers}"
    )
    yield from wrap(f"{document['sentences'][0]} {revision}")
    if document["checks"] and document["checks"]["verdict"] != "holds":
        yield from wrap(f"{document['checks']['sentence'].rstrip('.')}; see below.")
    if document["set"]:
        yield from (set_lines if full else brief_set_lines)(document, document["set"])
    for number, other in enumerate(document["other_sets"], 2):
        yield ""
        yield from wrap(
            next(s for s in document["sentences"] if s.startswith(f"Another good set ({number})"))
        )
        yield from (changes_of if full else brief_changes)(other)
    if document["fewer_other_sets"]:
        yield ""
        yield from wrap(document["fewer_other_sets"])
    for contradiction in document["contradictions"]:
        yield from _contradiction(contradiction)
    yield from _ways_out(document)
    if document["cautions"]:
        yield ""
    yield from caution_lines(document["cautions"])


def _vehicle(document: ClosureOut) -> Iterator[str]:
    vehicle = document["vehicle"]
    estimated = ", estimated from the number" if vehicle["built_is_estimated"] else ""
    options = f", with {', '.join(vehicle['options'])}" if vehicle["options"] else ""
    built = f"built {vehicle['built']}{estimated}"
    yield from wrap(f"{vehicle['title']}, chassis {vehicle['chassis']} ({built}){options}", hang=2)
    for asked in (*document["wishes"], *document["limits"]):
        yield from wrap(asked["sentence"], hang=2)


def _contradiction(contradiction: ContradictionOut) -> Iterator[str]:
    head, *parts = contradiction["sentences"]
    yield ""
    yield head
    for part in parts:
        yield from wrap(f"- {part}", indent=2, hang=4)


def _ways_out(document: ClosureOut) -> Iterator[str]:
    ways = document["ways_out"]
    if ways:
        yield ""
        yield "WAYS OUT, cheapest first, each tried"
    for number, way in enumerate(ways, 1):
        yield from wrap(f"{number:3}. {capital(way['sentence'].removeprefix('Way out: '))}", hang=5)
    if document["more_ways_out"]:
        yield "     There are more."
