"""A part that nobody knows yet: what it could be, where it could serve, and what to measure next."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection

from graftbook.catalogue.history.revisions import current_revision
from graftbook.catalogue.store.nearest import names_near
from graftbook.catalogue.store.tables import table
from graftbook.closure.measuring import (
    JointAsks,
    Measures,
    Next,
    ServingPlace,
    asked_at,
    may_be,
    next_to_measure,
    places,
)
from graftbook.closure.words import phrases, sentences
from graftbook.database import reading
from graftbook.problems import InvalidRequest, UnknownCharacteristic
from graftbook.process.service import Service
from graftbook.questions.measuring import store
from graftbook.questions.measuring.schemas import (
    MOST_CANDIDATES,
    AskedOut,
    CandidateOut,
    MeasuredOut,
    MeasureIn,
    NextOut,
    PartMeasuredIn,
    ServingPlaceOut,
)
from graftbook.questions.vehicles.service import ask_vehicle, of_one_revision
from graftbook.rulebook.model import Comparator
from graftbook.rulebook.scope import Scope, scope_for
from graftbook.rulebook.slips import in_unit
from graftbook.rulebook.units import UNITS, WORDED, Measure, NotAMeasure, number_and_unit, read_measure

MOST_NEXT = 3
_WORDS = {
    Comparator.equal: "equal to",
    Comparator.at_least: "at least",
    Comparator.at_most: "at most",
    Comparator.within: "inside",
    None: "must take in",
}
_MARGIN: dict[Comparator | None, str] = {Comparator.at_least: "plus", Comparator.at_most: "less"}
_BY_HAND = ("length", "count", "angle", "area", "volume", "mass", "resistance", "choice", "text")
"""Quantities that a workshop measures of a part; what it is rated for stands in no caliper."""


@dataclass(frozen=True, slots=True)
class Read:
    """A measure as understood: the span that the true figure lies in; `within`: how far off, in words."""

    kind: str
    title: str
    value: Measure
    within: str


def measured_document(service: Service, body: PartMeasuredIn) -> MeasuredOut:
    """What the part could be and where it could serve.

    Raises InvalidRequest for a value that is none, UnknownCharacteristic, and what `ask_vehicle` raises.
    """
    if not (body.measured or body.position):
        raise InvalidRequest("Give at least one measure, or a position", pointer="/measured")
    if body.position and not body.vehicle:
        raise InvalidRequest("What a position asks for depends on the vehicle; name one", pointer="/vehicle")
    vehicle = body.vehicle
    asked = of_one_revision(lambda: ask_vehicle(service, vehicle)) if vehicle else None
    scope = scope_for(asked.names.book(), asked.vehicle, asked.fitted, asked.on_the_bench) if asked else None
    position = asked.names.of_book.position(body.position, "/position") if asked and body.position else ""
    with reading(service.engine) as session:
        connection = session.connection()
        read = [_read_measure(connection, one, f"/measured/{n}") for n, one in enumerate(body.measured)]
        found = _Found(connection, read, scope)
        return found.document(position)


def _read_measure(connection: Connection, one: MeasureIn, pointer: str) -> Read:
    kind = store.kinds_named(connection, [one.kind]).get(one.kind)
    if kind is None:
        near = names_near(connection, table("characteristic_kind").c.name, one.kind)
        raise UnknownCharacteristic(one.kind, near, pointer=f"{pointer}/kind")
    try:
        value = read_measure(one.value, kind.quantity, tuple(kind.choices.split("; ")))
    except NotAMeasure as wrong:
        raise InvalidRequest(str(wrong), pointer=f"{pointer}/value") from wrong
    if kind.quantity in WORDED or value.low is None or value.high is None:
        return Read(kind.name, kind.title, value, "")
    try:
        off = _off(one, kind.quantity)
    except NotAMeasure as wrong:
        raise InvalidRequest(str(wrong), pointer=f"{pointer}/within") from wrong
    unit = number_and_unit(value.written)[2]
    span = Measure(value.written, value.low - off, value.high + off)
    return Read(kind.name, kind.title, span, in_unit(off, kind.quantity, unit) if off else "")


def _off(one: MeasureIn, quantity: str) -> float:
    """How far the measure may be off, in SI: as said, else half of its last digit; a count is what it is."""
    written = one.within
    if written is None:
        if quantity == "count":
            return 0.0
        low, high, unit = number_and_unit(one.value)
        digits = max(len(part.partition(".")[2]) for part in (low, high))
        return 0.5 * 10.0**-digits * UNITS[quantity, unit].factor
    number, further, unit = number_and_unit(written)
    if further or float(number) < 0 or (quantity, unit) not in UNITS:
        raise NotAMeasure(f"'{written}' is not how far a measure of {quantity} may be off, such as `0.5 mm`")
    return float(number) * UNITS[quantity, unit].factor


class _Found:
    """One look at the catalogue for a part with these measures."""

    def __init__(self, connection: Connection, read: Sequence[Read], scope: Scope | None) -> None:
        self._connection, self._read_measure, self._scope = connection, read, scope
        self._measured: dict[str, Measure] = {one.kind: one.value for one in read}
        self._kinds = store.kinds(connection)
        self._titles = {name: kind.title for name, kind in self._kinds.items()}
        self._all = self._candidates() if read else {}

    def _candidates(self) -> dict[str, Measures]:
        """Components that agree with a measure and contradict none: those with most figures first."""
        some = store.components_with(self._connection, self._measured)
        every = store.measures_of(self._connection, some)
        agreeing = {number: own for number, own in every.items() if self._contradicts_none(own)}
        order = sorted(agreeing, key=lambda n: (-sum(k in agreeing[n] for k in self._measured), n))
        return {number: agreeing[number] for number in order}

    def _contradicts_none(self, own: Measures) -> bool:
        return all(may_be(value, own[kind]) for kind, value in self._measured.items() if kind in own)

    def document(self, position: str) -> MeasuredOut:
        shown = dict(list(self._all.items())[:MOST_CANDIDATES])
        lines = store.lines_of(self._connection, shown)
        where = places(self._scope, self._measured) if self._scope and self._measured else []
        asked = [self._position(position)] if position else []
        document: MeasuredOut = {
            "read": [
                {"kind": one.kind, "title": one.title, "value": one.value.written, "within": one.within}
                for one in self._read_measure
            ],
            "sentence": self._sentence(where),
            "could_be": [self._candidate(number, own, lines[number]) for number, own in shown.items()],
            "more": len(self._all) - len(shown),
            "measure_next": self._measure_next(shown),
            "places": [self._place(place) for place in where],
            "position": asked[0] if asked else None,
            "cautions": _cautions([lines[number].section for number in shown], self._scope, where, position),
            "catalogue_revision": current_revision(self._connection),
        }
        return document

    def _sentence(self, where: Sequence[ServingPlace]) -> str:
        if not self._read_measure:
            return ""
        whole = sum(all(kind in own for kind in self._measured) for own in self._all.values())
        if not self._all:
            sentence = "No component on record has these measures."
        elif whole:
            more = f"; {len(self._all) - whole} more in part" if len(self._all) > whole else ""
            sentence = (
                f"{_count_words(whole, 'component agrees', 'components agree')} in every measure{more}."
            )
        else:
            sentence = (
                f"No component has all of them on record; as far as recorded {len(self._all)} may be it."
            )
        if self._scope:
            sentence += f" By the joints it may serve at {_count_words(len(where), 'position', 'positions')}."
        return sentence

    def _candidate(self, number: str, own: Measures, line: Any) -> CandidateOut:
        return {
            "number": number,
            "name": line.name,
            "section": line.section,
            "agrees": [
                {"kind": kind, "title": self._titles[kind], "recorded": own[kind].written}
                for kind in self._measured
                if kind in own
            ],
            "not_recorded": [kind for kind in self._measured if kind not in own],
            "fits": bool(self._scope.serving(number)) if self._scope else None,
        }

    def _measure_next(self, candidates: Mapping[str, Measures]) -> list[NextOut]:
        every = next_to_measure(candidates, self._measured)
        by_hand = [one for one in every if self._kinds[one.kind].quantity in _BY_HAND]
        return [self._next(one) for one in by_hand[:MOST_NEXT]]

    def _next(self, one: Next) -> NextOut:
        return {
            "kind": one.kind,
            "title": self._titles[one.kind],
            "groups": [{"value": value, "numbers": list(numbers)} for value, numbers in one.groups],
            "without": list(one.without),
            "left": round(one.left, 1),
        }

    def _position(self, position: str) -> ServingPlaceOut:
        """What the joints ask of any part there; what was measured is told as met."""
        assert self._scope is not None
        every = asked_at(self._scope, position)
        met = tuple(one for one in every if one.met_by(self._measured.get(one.kind)))
        return self._place(ServingPlace(position, met, tuple(one for one in every if one not in met)))

    def _place(self, place: ServingPlace) -> ServingPlaceOut:
        assert self._scope is not None
        return {
            "position": place.position,
            "title": phrases.position(self._scope.book, place.position),
            "today": self._scope.today.get(place.position),
            "met": [self._asked_document(one) for one in place.met],
            "open": [self._asked_document(one) for one in place.open],
        }

    def _asked_document(self, one: JointAsks) -> AskedOut:
        assert self._scope is not None
        book = self._scope.book
        off = ""
        if one.margin and one.value is not None:
            quantity = book.kinds[one.kind].quantity
            unit = number_and_unit(one.value.written)[2]
            off = f" {_MARGIN.get(one.comparator, 'within')} {in_unit(one.margin, quantity, unit)}"
        return {
            "joint": one.joint.name,
            "kind": one.kind,
            "title": self._titles.get(one.kind, one.kind),
            "asks": f"{_WORDS[one.comparator]} {one.value.written}{off}" if one.value else "",
            "because": f"{phrases.component(book, one.other)}, {phrases.position(book, one.other_position)}",
            "reason": one.joint.reason,
        }


def _count_words(count: int, one: str, many: str) -> str:
    return f"{count} {one if count == 1 else many}"


def _cautions(
    sections: Iterable[str], scope: Scope | None, where: Iterable[ServingPlace], position: str
) -> list[str]:
    """The cautions of the sections that the part may belong to."""
    own: list[str] = list(sections)
    if scope:
        named = [place.position for place in where] + ([position] if position else [])
        own += [scope.book.positions[name].section for name in named]
    return list(sentences.cautions_by(" ".join(own)))


def kinds_to_measure(service: Service) -> list[Mapping[str, Any]]:
    """What can be measured of a part: name, title and quantity, by title."""
    with reading(service.engine) as session:
        return [
            {"name": row.name, "title": row.title, "quantity": row.quantity}
            for row in store.kinds_of_components(session.connection())
        ]
