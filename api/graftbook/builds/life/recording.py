"""What people record of a build: its names settled, written down, and told again."""

from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from sqlalchemy import Engine

from graftbook.builds import service as builds
from graftbook.builds.life import schemas as s
from graftbook.builds.service import Recorded
from graftbook.builds.stored import store
from graftbook.builds.stored.documents import BuildOut, build_document, row_of, specification_document
from graftbook.builds.stored.events import BuildEvent, taken_back
from graftbook.catalogue.format.records import CharacteristicKindRecord, PositionRecord
from graftbook.catalogue.store.nearest import names_near
from graftbook.catalogue.store.places import places_of
from graftbook.catalogue.store.tables import table
from graftbook.catalogue.store.titles import kinds_called, titles
from graftbook.closure.words.phrases import opening, with_article
from graftbook.database import reading
from graftbook.http.values import counted
from graftbook.idempotency.service import EACH_TIME, Once
from graftbook.problems import InvalidRequest, UnknownCharacteristic, pointing_at
from graftbook.process.service import Service
from graftbook.questions.schemas import VehicleIn, WishIn
from graftbook.questions.vehicles.service import Names, name_vehicle
from graftbook.rulebook.units import NotAMeasure, read_measure


def record(service: Service, name: str, body: s.EventsIn, who: str, once: Once = EACH_TIME) -> BuildOut:
    """Record what was so of a build, all of it or nothing.

    Raises UnknownBuild, the problem of the first name that is not known, InvalidRequest for what cannot be,
    and what `once` raises.
    """
    kept = build_document(service.engine, name)
    asked = name_vehicle(service, VehicleIn(chassis=kept["chassis"], options=kept["options"]))
    recorded: list[Recorded] = []
    for place, event in enumerate(body.events):
        detail = _Settling(service, kept, asked.names, f"/events/{place}").of(event)
        recorded.append((event.what, day_of(event.day), detail))
    return builds.record(service.engine, name, recorded, who, once)


def day_of(day: date | None) -> date:
    """The day that was said, else today."""
    return day or builds.today()


class _Settling:
    """One event with its names as the catalogue writes them; `at` is the pointer of it."""

    def __init__(self, service: Service, build: BuildOut, names: Names, at: str) -> None:
        self._service, self._build, self._names, self._at = service, build, names, at

    def of(self, event: s.EventIn) -> dict[str, Any]:
        match event:
            case s.FittedIn():
                return self._fitted(event)
            case s.UsedIn():
                return self._used_event(event)
            case s.KeptIn():
                where = self._position(event.position) if event.position else None
                return {"component": self._component(event.component), "position": where, "kept": event.kept}
            case s.WorkIn():
                return {"done": event.done, "minutes": event.minutes}
            case s.BuildMeasuredIn():
                return self._measurement(event)
            case s.DecidedIn():
                return self._wishes_event(event.wishes, event.reason)
            case s.BuiltToIn():
                return {"specification": self._specification(event.specification)}
            case s.NotedIn():
                return {"text": event.text}
            case s.EventTakenBackIn():
                return self._taken_back(event)

    def _position(self, word: str) -> str:
        return self._names.of_book.position(word, f"{self._at}/position")

    def _component(self, word: str, member: str = "component") -> str:
        return self._names.component(word, f"{self._at}/{member}")

    def _fitted(self, event: s.FittedIn) -> dict[str, Any]:
        off = self._component(event.off, "off") if event.off else None
        component = self._component(event.component) if event.component else None
        where = {"position": self._position(event.position), "component": component}
        return {**where, "off": off, "kept": event.kept, "reason": event.reason, "list": None}

    def _used_event(self, event: s.UsedIn) -> dict[str, Any]:
        """A loose part: what has a place of its own is fitted there, which says where."""
        component = self._component(event.component)
        variant = self._build["variant"]
        with reading(self._service.engine) as session:
            known = session.connection()
            places = places_of(known, component, variant) or places_of(known, component)
            called = titles(session, PositionRecord, places)
        if places:
            where = " or ".join(dict.fromkeys(with_article(called.get(p, p)) for p in places[:3]))
            message = f"{component} is no loose part, it goes at {where}: record it as fitted"
            raise InvalidRequest(message, pointer=f"{self._at}/component")
        return {"component": component, "quantity": event.quantity, "reason": event.reason}

    def _kind(self, word: str) -> tuple[str, str]:
        """A kind of characteristic, by its name or its title, and the quantity that it is measured in."""
        pointer = f"{self._at}/characteristic"
        with reading(self._service.engine) as session:
            meant = kinds_called(session, word)
            if not meant:
                near = names_near(session.connection(), table("characteristic_kind").c.name, word)
                raise UnknownCharacteristic(word, near, pointer=pointer)
        if len(meant) > 1:
            raise InvalidRequest(f"'{word}' could be {' or '.join(meant)}", pointer=pointer)
        return next(iter(meant.items()))

    def _measurement(self, event: s.BuildMeasuredIn) -> dict[str, Any]:
        kind, quantity = self._kind(event.characteristic)
        try:
            value = event.value if quantity == "choice" else read_measure(event.value, quantity).written
        except NotAMeasure as wrong:
            raise InvalidRequest(str(wrong), pointer=f"{self._at}/value") from wrong
        position = self._position(event.position)
        return {"position": position, "characteristic": kind, "value": value}

    def _wishes_event(self, wishes: Sequence[WishIn], reason: str) -> dict[str, Any]:
        self._names.wishes(wishes, f"{self._at}/wishes")
        written = {wish.fit: self._component(wish.fit) for wish in wishes if wish.fit}
        numbered = builds.with_numbers(wishes, written)
        return {"wishes": [wish.model_dump(exclude_unset=True) for wish in numbered], "reason": reason}

    def _specification(self, word: str) -> str:
        name, _, version = word.partition("@")
        number = int(version) if version.isascii() and version.isdigit() and len(version) < 10 else None
        with pointing_at(f"{self._at}/specification"):
            exact = name if number or not version else word
            found = specification_document(self._service.engine, exact, number)
        if found["variants"] and self._build["variant"] not in found["variants"]:
            message = f"'{found['name']}' is for {', '.join(found['variants'])}, not {self._build['variant']}"
            raise InvalidRequest(message, pointer=f"{self._at}/specification")
        return f"{found['name']}@{found['version']}"

    def _taken_back(self, event: s.EventTakenBackIn) -> dict[str, Any]:
        at = f"{self._at}/event"
        with reading(self._service.engine) as session:
            events = store.events_of(session, self._build["name"])
        found = next((one for one in events if one.id == event.event), None)
        if found is None or found.what == "taken back":
            message = f"'{self._build['name']}' has no event {event.event} that could be taken back"
            raise InvalidRequest(message, pointer=at)
        if found.id in taken_back(events):
            raise InvalidRequest(f"Event {event.event} was taken back before", pointer=at)
        return {"event": event.event, "reason": event.reason}


def events_of(engine: Engine, name: str) -> list[BuildEvent]:
    """All that was recorded of a build, in the order in which it was written down. Raises UnknownBuild."""
    with reading(engine) as session:
        row_of(session, name)
        return store.events_of(session, name)


def called_in(engine: Engine, events: Sequence[BuildEvent]) -> dict[str, str]:
    """What people call the positions and the characteristics that events name."""
    details = [event.detail for event in events]
    wishes = [wish for detail in details for wish in detail.get("wishes", ())]
    places = {one[key] for one in (*details, *wishes) for key in ("position", "clear") if one.get(key)}
    kinds = {detail["characteristic"] for detail in details if detail.get("characteristic")}
    with reading(engine) as session:
        return titles(session, PositionRecord, places) | titles(session, CharacteristicKindRecord, kinds)


def event_documents(events: Sequence[BuildEvent], called: Mapping[str, str]) -> list[s.BuildEventOut]:
    """Events as facts, each with its sentence, in the order given. `called`: a name → what people call it."""
    gone = taken_back(events)
    return [
        {
            "id": event.id,
            "day": event.day.isoformat(),
            "at": event.at.isoformat(),
            "who": event.who,
            "what": event.what,
            "sentence": sentence_of(event, called),
            "detail": dict(event.detail),
            "taken_back": gone[event.id].detail["reason"] if event.id in gone else None,
        }
        for event in events
    ]


def sentence_of(event: BuildEvent, called: Mapping[str, str]) -> str:
    """What an event says."""
    detail = event.detail
    place = with_article(called.get(where, where)) if (where := detail.get("position")) else ""
    match event.what:
        case "stated":
            return _stated_sentence(detail)
        case "fitted":
            return _fitted(detail, place)
        case "used":
            return f"{detail['quantity']} × {detail['component']} used{_by(detail)}.{_why(detail)}"
        case "kept":
            return f"{detail['component']} is kept: {detail['kept']}."
        case "work":
            hours, minutes = divmod(detail["minutes"], 60)
            return f"{detail['done']}{f' ({hours} h {minutes:02} min)' if detail['minutes'] else ''}."
        case "measured":
            kind = detail["characteristic"]
            return f"{opening(called.get(kind, kind))} at {place} measured: {detail['value']}."
        case "decided":
            reason = f": {detail['reason']}" if detail["reason"] else ""
            wishes = ", ".join(_wish(wish, called) for wish in detail["wishes"])
            return f"Decided{reason} ({wishes or 'nothing any more'})."
        case "built to":
            return f"Built to {detail['specification']}."
        case "note":
            return str(detail["text"])
        case "taken back":
            return f"Record {detail['event']} taken back: {detail['reason']}."


def _wish(wish: Mapping[str, Any], called: Mapping[str, str]) -> str:
    """A decided wish in the words in which it was sent, a position as people call it."""
    in_words = {word: with_article(called[v]) if v in called else v for word, v in wish.items()}
    return " ".join(f"{_SAID.get(word, word).replace('_', ' ')} {value}" for word, value in in_words.items())


_SAID = {"position": "at"}


def brief_of(event: s.BuildEventOut) -> str:
    """What an event says without its reason, which stands elsewhere."""
    reason: str = event["detail"].get("reason") or ""
    return event["sentence"].removesuffix(reason).rstrip() if event["what"] == "fitted" else event["sentence"]


def _stated_sentence(said: Mapping[str, Any]) -> str:
    options = f" with {', '.join(said['options'])}" if said["options"] else ""
    count = len(said["fitted"])
    other = f"{counted(count, 'position')} not as the factory left it" if count else "as the factory left it"
    return f"{said['chassis']}{options}, {other}."


def _fitted(said: Mapping[str, Any], place: str) -> str:
    number = said["component"]
    what = f"{number} fitted at {place}" if number else f"Nothing sits at {place} any more"
    off = f", {said['off']} came off" if said["off"] else ""
    kept = f", kept: {said['kept']}" if said["kept"] else ""
    return f"{what}{off}{kept}{_by(said)}.{_why(said)}"


def _by(said: Mapping[str, Any]) -> str:
    return f" (order list {listed})" if (listed := said.get("list")) else ""


def _why(said: Mapping[str, Any]) -> str:
    return f" {reason}" if (reason := said.get("reason")) else ""
