"""One index behind every field: what somebody says, found as he means it, on the vehicle in hand first."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rapidfuzz import fuzz, process
from sqlalchemy import Connection

from graftbook.catalogue.finding import gathering
from graftbook.catalogue.finding.of_book import OfBook
from graftbook.catalogue.finding.ranking import Entry, Hit, mended, ranked
from graftbook.catalogue.finding.speech import Term, looks_like_a_number, readings, terms_of
from graftbook.catalogue.history.revisions import current_revision
from graftbook.database import reading
from graftbook.process.state import Service
from graftbook.questions.finding.schemas import FoundOut, SearchOut
from graftbook.questions.schemas import VehicleIn
from graftbook.questions.vehicles.service import ask_vehicle

MOST_NEAR = 5
_ALIKE = 70.0


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found, and how its text was understood. `read_as`: numbers that it may be a slip of."""

    text: str
    terms: Sequence[Term]
    read_as: Sequence[str]
    hits: Sequence[Hit]
    near: Sequence[str]
    revision: int


def search(
    service: Service, text: str, vehicle: VehicleIn | None = None, *, limit: int = 20, begun: bool = False
) -> Found:
    """What a text finds, best first; what fits the vehicle before what does not.

    `begun`: the last word may go on, it is being typed. Raises what `ask_vehicle` raises.
    """
    asked = ask_vehicle(service, vehicle) if vehicle else None
    of_book = asked.names.of_book.findable if asked else None
    own = of_book.entries(asked.vehicle) if asked and of_book else []
    with reading(service.engine) as session:
        connection = session.connection()
        terms = terms_of(text, gathering.said_in(connection), begun=begun)
        if of_book:
            terms = mended(terms, of_book.vocabulary)
        hits = ranked(own, terms, limit)
        if len(hits) < limit or len(hits[0].met) < len(terms):
            hits = ranked([*own, *_beyond(connection, terms, own)], terms, limit)
        typed = numbers_typed(connection, text, limit)
        hits = [*_by_number(connection, typed, own, fits=None if asked is None else False), *hits]
        revision = current_revision(connection)
    near = [] if hits or of_book is None else _near(terms, of_book)
    unique = {(hit.entry.kind, hit.entry.name): hit for hit in reversed(hits)}
    return Found(text, terms, typed, list(reversed(unique.values()))[:limit], near, revision)


def numbers_typed(connection: Connection, text: str, limit: int) -> list[str]:
    """The part numbers that a text is, or is a slip of; none where it is words."""
    return gathering.numbers_typed(connection, readings(text), limit) if looks_like_a_number(text) else []


def _beyond(connection: Connection, terms: Sequence[Term], own: Sequence[Entry]) -> list[Entry]:
    """What the whole catalogue has, but for what is in the rule book; of that vehicle none fits."""
    known = {(entry.kind, entry.name) for entry in own}
    found = [
        *gathering.components_of(connection, terms),
        *gathering.upgrades_of(connection),
        *gathering.flaws_of(connection, terms),
    ]
    return [
        replace(entry, fits=False) if own else entry
        for entry in found
        if (entry.kind, entry.name) not in known
    ]


def _by_number(
    connection: Connection, typed: Sequence[str], own: Sequence[Entry], *, fits: bool | None
) -> list[Hit]:
    """The components of these numbers, those that fit first."""
    known = {entry.name: entry for entry in own if entry.kind == "component"}
    others = gathering.entries_of(connection, [number for number in typed if number not in known])
    known |= {entry.name: replace(entry, fits=fits) for entry in others}
    entries = [known[number] for number in typed if number in known]
    return [Hit(entry, (entry.name,), 0.0) for entry in sorted(entries, key=lambda each: each.fits is False)]


def _near(terms: Sequence[Term], of_book: OfBook) -> list[str]:
    """Words of the catalogue that look like what was said."""
    found: dict[str, None] = {}
    for term in terms:
        near = process.extract(term.said, of_book.vocabulary, scorer=fuzz.ratio, limit=2, score_cutoff=_ALIKE)
        found |= dict.fromkeys(word for word, _, _ in near)
    return list(found)[:MOST_NEAR]


def search_document(found: Found) -> SearchOut:
    """A search as facts."""
    return {
        "text": found.text,
        "terms": [
            {"said": term.said, "also": [" ".join(way) for way in term.ways[1:]]} for term in found.terms
        ],
        "read_as": list(found.read_as),
        "items": [_found(hit) for hit in found.hits],
        "sentence": sentence(found),
        "near": list(found.near),
        "catalogue_revision": found.revision,
    }


def _found(hit: Hit) -> FoundOut:
    entry = hit.entry
    return {
        "kind": entry.kind,
        "name": entry.name,
        "title": entry.title,
        "detail": entry.detail,
        "section": entry.section,
        "fits": entry.fits,
        "matched": list(hit.met),
    }


def sentence(found: Found) -> str:
    """What was found, or what was tried."""
    said = " and ".join(f"'{term.said}'" for term in found.terms)
    if not found.hits:
        tried = f"as a number and by {said}" if looks_like_a_number(found.text) and said else f"by {said}"
        near = f" Like it: {', '.join(found.near)}." if found.near else ""
        return f"Nothing was found {tried}.{near}" if said else "Type a number, or what the part is called."
    met = set(found.hits[0].met)
    if found.read_as:
        return ""
    missed = [term.said for term in found.terms if term.said not in met]
    return f"Nothing has all of it; left out: {', '.join(missed)}." if missed else ""
