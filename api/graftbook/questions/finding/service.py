"""One index behind every field: what somebody says, found as he means it, on the vehicle in hand first."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING

from sqlalchemy import Connection, Engine

from graftbook.catalogue.finding import gathering, slips
from graftbook.catalogue.finding.numbers import (
    looks_like_a_number,
    readings,
    typed_in,
    wider_readings,
    worth_widening,
)
from graftbook.catalogue.finding.of_book import OfBook
from graftbook.catalogue.finding.ranking import Entry, Hit, Index
from graftbook.catalogue.finding.speech import Term, terms_of
from graftbook.catalogue.format.names import as_typed
from graftbook.catalogue.history.revisions import current_revision
from graftbook.database import reading
from graftbook.rulebook.model import Vehicle

if TYPE_CHECKING:
    from graftbook.process.service import Service
    from graftbook.questions.finding.schemas import FoundOut, SearchOut
    from graftbook.questions.schemas import VehicleIn
    from graftbook.questions.vehicles.service import VehicleAsked

_LEAST_BEGINNING, _LONGEST_START = 2, 24


@dataclass(frozen=True, slots=True)
class SearchFound:
    """What a search found, and how its text was understood. `read_as`: numbers that it may be a slip of."""

    text: str
    terms: Sequence[Term]
    read_as: Sequence[str]
    hits: Sequence[Hit]
    near: Sequence[str]
    revision: int


def search(
    service: "Service", text: str, vehicle: "VehicleIn | None" = None, *, limit: int, begun: bool = False
) -> SearchFound:
    """What a text finds, best first; what fits the vehicle before what does not.

    `begun`: the last word may go on, it is being typed. Raises what `ask_vehicle` raises.
    """
    if vehicle is None:
        return search_in(service.engine, text, limit=limit, begun=begun)
    from graftbook.questions.vehicles.service import ask_vehicle

    return search_in(service.engine, text, ask_vehicle(service, vehicle), limit=limit, begun=begun)


def search_in(
    engine: Engine, text: str, asked: "VehicleAsked | None" = None, *, limit: int, begun: bool = False
) -> SearchFound:
    """The same for a vehicle that is known already, or for none: then neither rule book nor reasoning is
    loaded, which is most of what a command would wait for."""
    of_book = asked.names.of_book.findable if asked else None
    with reading(engine) as session:
        connection = session.connection()
        sought = _Sought(connection, of_book, asked.vehicle if asked and of_book else None)
        typed, by_number = sought.by_number(text, limit)
        revision = current_revision(connection)
        terms = terms_of(text, gathering.said_in(connection, revision), begun=begun)
        terms, words = sought.put_right(terms)
        by_words = [] if by_number and looks_like_a_number(text) else sought.by_words(terms, limit)
    hits = [*by_number, *by_words]
    met = {term_met for hit in by_words for term_met in hit.met}
    near = slips.near((term for term in terms if term.said not in met), words) if not by_number else []
    unique = {(hit.entry.kind, hit.entry.name): hit for hit in reversed(hits)}
    return SearchFound(text, terms, typed, list(reversed(unique.values()))[:limit], near, revision)


class _Sought:
    """One search: in the rule book of the vehicle in hand, and in the whole catalogue."""

    def __init__(self, connection: Connection, of_book: OfBook | None, vehicle: Vehicle | None) -> None:
        self._connection = connection
        self._of_book = of_book
        self._vehicle = vehicle

    def by_number(self, text: str, limit: int) -> tuple[list[str], list[Hit]]:
        """The numbers that a text has or is a slip of, and those that take their place, what fits first."""
        typed, exact = self._numbers_in(text, limit)
        after = gathering.successors_of(self._connection, typed)
        details = {new: f"takes the place of {old}" for new, old in after.items()} if exact else {}
        entries = self._entries([*typed, *details])
        hits = [
            Hit(replace(entry, detail=details.get(entry.name, "")), (entry.name,), 0.0) for entry in entries
        ]
        return typed, sorted(hits, key=lambda hit: hit.entry.fits is False)[:limit]

    def _numbers_in(self, text: str, limit: int) -> tuple[list[str], bool]:
        candidates = typed_in(text)
        if found := gathering.numbers_of(self._connection, candidates):
            return list(found.values())[:limit], True
        likely = list(worth_widening(candidates))
        if looks_like_a_number(text):
            likely = [*candidates[:1], *(each for each in likely if each != candidates[0])]
        for reading_of in (readings, wider_readings):
            tried = list(dict.fromkeys(chain.from_iterable(map(reading_of, likely))))
            if found := gathering.numbers_of(self._connection, tried):
                return list(found.values())[:limit], True
            if begins := self._beginning(text, limit):
                return begins, False
        return [], False

    def _beginning(self, text: str, limit: int) -> list[str]:
        """The numbers that begin as the text, where it can be the beginning of one."""
        start = as_typed(text)
        if len(start) < _LEAST_BEGINNING or not (looks_like_a_number(text) or text.rstrip().endswith("-")):
            return []
        return gathering.numbers_beginning(self._connection, start[:_LONGEST_START], limit)

    def _entries(self, numbers: Sequence[str]) -> list[Entry]:
        """The components of these numbers, in their order, with whether they fit."""
        own = {number: self._own(number) for number in numbers}
        others = gathering.entries_of(self._connection, [number for number in numbers if own[number] is None])
        fits = None if self._vehicle is None else False
        beyond = {entry.name: replace(entry, fits=fits) for entry in others}
        found = (own[number] or beyond.get(number) for number in numbers)
        return [entry for entry in found if entry is not None]

    def _own(self, number: str) -> Entry | None:
        if self._of_book is None or self._vehicle is None:
            return None
        return self._of_book.of_number(number, self._vehicle)

    def put_right(self, terms: Sequence[Term]) -> tuple[list[Term], Mapping[str, str]]:
        """The terms with their slips mended, and the words that were looked among: root → a word of it."""
        knows = self._of_book.index.knows if self._of_book else _nothing
        strange = slips.unknown(terms, knows)
        if not strange:
            return list(terms), {}
        words = dict(self._of_book.words) if self._of_book else {}
        pieces = {word for term in terms for way in term.ways for word in way} | slips.pieces_of(terms)
        words |= gathering.known_words(self._connection, pieces)
        if self._of_book is None:
            for term in slips.unknown(terms, words.__contains__):
                words |= gathering.words_near(self._connection, term.said)
        starts = self._of_book.index.begins if self._of_book else _none_begins
        mended = slips.put_right(terms, words.__contains__, lambda start: bool(starts(start)), words)
        return mended, words

    def by_words(self, terms: Sequence[Term], limit: int) -> list[Hit]:
        """What answers to the terms: of the book, and of the whole catalogue where that answers to more."""
        if not terms:
            return []
        own: list[Hit] = []
        if self._of_book and self._vehicle:
            own = self._of_book.ranked(terms, self._vehicle, limit)
        met = len(own[0].met) if own else 0
        if met == len(terms):
            return own
        beyond = [hit for hit in self._beyond(terms, limit) if len(hit.met) > met]
        return [*own, *beyond] if 2 * met >= len(terms) else [*beyond, *own]

    def _beyond(self, terms: Sequence[Term], limit: int) -> list[Hit]:
        """What the whole catalogue has, but for what is in the rule book; of that vehicle none fits."""
        known = self._of_book.known if self._of_book else frozenset[tuple[str, str]]()
        fits = None if self._vehicle is None else False
        found = [
            replace(entry, fits=fits)
            for entry in (
                *gathering.components_of(self._connection, terms),
                *gathering.upgrades_of(self._connection),
                *gathering.flaws_of(self._connection, terms),
            )
            if (entry.kind, entry.name) not in known
        ]
        return [hit for _, hit in Index(found).ranked(terms, limit)]


def _nothing(_: str) -> bool:
    return False


def _none_begins(_: str) -> list[str]:
    return []


def search_document(found: SearchFound) -> "SearchOut":
    """A search as facts."""
    return {
        "text": found.text,
        "terms": [{"said": term.said, "also": list(term.also)} for term in found.terms],
        "read_as": list(found.read_as),
        "items": [_found_document(hit) for hit in found.hits],
        "sentence": sentence(found),
        "near": list(found.near),
        "catalogue_revision": found.revision,
    }


def _found_document(hit: Hit) -> "FoundOut":
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


def sentence(found: SearchFound) -> str:
    """What was found, or what was tried."""
    words = " and ".join(f"'{term.said}'" for term in found.terms)
    if not found.hits:
        tried = f"as a number and by {words}" if looks_like_a_number(found.text) and words else f"by {words}"
        near = f" Like it: {', '.join(found.near)}." if found.near else ""
        return f"Nothing was found {tried}.{near}" if words else "Type a number, or what the part is called."
    met = set(found.hits[0].met)
    if found.read_as:
        return _not_as_typed(found)
    missed = [term.said for term in found.terms if term.said not in met]
    return f"Nothing has all of it; left out: {', '.join(missed)}." if missed else ""


def _not_as_typed(found: SearchFound) -> str:
    """That no part has the number which was typed; empty where one has it, or begins so."""
    typed = as_typed(found.text)
    numbers = [as_typed(number) for number in found.read_as]
    if any(number in typed or number.startswith(typed) for number in numbers):
        return ""
    return f"There is no part {found.text.strip()}. Like it: {', '.join(found.read_as)}."
