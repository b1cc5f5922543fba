"""A build's state and its sheet as facts: what was recorded, laid against what the catalogue knows.

What may be driven: whether anything that is known speaks against a vehicle as it stands.

It never says that a vehicle is safe. Rules that its parts break, checks that they make fail, and what nobody
recorded are told, the worst first; the word of somebody licensed comes before all of it.
"""

from collections.abc import Iterable
from decimal import Decimal
from urllib.parse import urlencode

from graftbook.builds.life import schemas as s
from graftbook.builds.life.recording import event_documents
from graftbook.builds.life.schemas import DriveOut, DriveWord
from graftbook.builds.life.standing import BuildStanding
from graftbook.closure.words.phrases import with_article
from graftbook.closure.words.sentences import section_cautions
from graftbook.http.values import EFFORT_WORDS, GRADE_WORDS
from graftbook.orders.documents import DEFERS
from graftbook.questions.closures.check_schemas import FindingOut
from graftbook.questions.closures.documents import section_title, staying
from graftbook.questions.closures.schemas import (
    ChangeOut,
    LooseOut,
    NoteOut,
    StayingOut,
)
from graftbook.rulebook.model import Companion, RuleBook

SENTENCES: dict[DriveWord, str] = {
    "do not drive": "Do not drive it as it stands.",
    "with caution": "Nothing that is recorded forbids driving it; see to what follows first.",
    "not determined": "What is recorded does not say whether it can be driven.",
    "nothing known against it": "Nothing that is recorded speaks against driving it. That is no licence: "
    "have it inspected.",
}


def drive(standing: BuildStanding) -> DriveOut:
    """Whether anything that is known speaks against driving it."""
    book, check = standing.scope.book, standing.check
    broken = [*check["missing"], *check["clashing"]]
    unrecorded = [note for note in broken if _asks_for_loose_parts(book, note)]
    rules = [note for note in broken if note not in unrecorded]
    findings = check["checks"]["findings"]
    worse = [f for f in findings if f["kind"] == "worse"]
    unknown = [f for f in findings if f["kind"] == "newly not determined"]
    empty = _empty_essentials(standing)
    grave = [note for note in rules if _can_hurt(book, note)]
    failing = [f for f in worse if f["verdict"] == "fails"]
    verdict: DriveWord = "nothing known against it"
    if empty or grave or failing:
        verdict = "do not drive"
    elif rules or worse or unrecorded:
        verdict = "with caution"
    elif unknown or standing.not_understood:
        verdict = "not determined"
    return {
        "verdict": verdict,
        "sentence": SENTENCES[verdict],
        "reasons": [
            *empty,
            *_sentences(rules),
            *_sentences(worse),
            *[f"Not recorded as used: {sentence}" for sentence in _sentences(unrecorded)],
            *_open(unknown),
        ],
        "broken": rules,
        "not_recorded": unrecorded,
    }


def _asks_for_loose_parts(book: RuleBook, note: NoteOut) -> bool:
    """Whether a companion rule is met by loose parts alone: then nobody may have written them down."""
    rule = next((one for one in book.companions if one.name == note["name"]), None)
    if isinstance(rule, Companion):
        return all(alternative.loose for alternative in rule.alternatives)
    return note["cause"] == "companion" and note["name"] in book.components


def _can_hurt(book: RuleBook, note: NoteOut) -> bool:
    """Whether it is about a place where a fault hurts people; what names no place may be."""
    sections = {book.positions[p].section for p in note["positions"] if p in book.positions}
    return not sections or any(section_cautions(book, section) for section in sections)


def _empty_essentials(standing: BuildStanding) -> list[str]:
    """Places that are never left empty, and are."""
    places = standing.scope.book.positions
    return [
        f"Nothing sits at {with_article(places[p].title)}, which is never left empty."
        for p in standing.changed
        if standing.sits[p] is None and places[p].essential
    ]


def _sentences(told: Iterable[NoteOut | FindingOut]) -> list[str]:
    return list(dict.fromkeys(one["sentence"] for one in told))


def _open(unknown: Iterable[FindingOut]) -> list[str]:
    """What cannot be worked out, counted: the sheet has each."""
    count = len(list(unknown))
    if not count:
        return []
    checks = "1 check cannot" if count == 1 else f"{count} checks cannot"
    return [f"{checks} be worked out with what is fitted: a characteristic is not recorded."]


def state_document(standing: BuildStanding) -> s.BuildStateOut:
    """How a build stands: what may be driven, what is still open."""
    build, state, check = standing.build, standing.state, standing.check
    work: list[s.WorkDoneOut] = [
        {"day": e.day.isoformat(), "who": e.who, "done": e.detail["done"], "minutes": e.detail["minutes"]}
        for e in state.of("work")
    ]
    return {
        "name": build["name"],
        "on": standing.on.isoformat(),
        "taken_in": state.taken_in.isoformat(),
        "built_to": state.built_to,
        "note": build["note"],
        "vehicle": check["vehicle"],
        "catalogue_revision": check["catalogue_revision"],
        "decided": standing.open.wishes,
        "decided_why": state.why,
        "drive": drive(standing),
        "still_open": open_document(standing),
        "changed": [_changed_document(standing, position) for position in standing.changed],
        "off": _off(standing),
        "used": [
            {"component": number, "name": _name(standing, number), "quantity": count}
            for number, count in sorted(state.used.items())
        ],
        "work": work,
        "minutes": sum(one["minutes"] for one in work),
        "measured": _measurements(standing),
        "not_understood": standing.not_understood,
        "cautions": list(dict.fromkeys([*standing.check["cautions"], *standing.open.cautions])),
        "defers": DEFERS.replace("this list", "this sheet"),
    }


def sheet_document(standing: BuildStanding) -> s.BuildSheetOut:
    """The paper that goes with the vehicle: every claim on it has its record."""
    check = standing.check
    counted = [event for event in standing.events if event.day <= standing.on]
    return {
        **state_document(standing),
        "currency": check["currency"],
        "section_titles": check["section_titles"],
        "kept_original": _kept_original(standing),
        "flaws_left": check["flaws_left"],
        "flaws_brought": check["flaws_brought"],
        "checks": check["checks"],
        "unconfirmed": check["unconfirmed"],
        "events": event_documents(counted, called(standing)),
    }  # fmt: skip


def _name(standing: BuildStanding, number: str | None) -> str | None:
    part = standing.scope.component(number)
    return part.name if part else None


def _title(standing: BuildStanding, position: str) -> str:
    place = standing.scope.book.positions.get(position)
    return place.title if place else position


def called(standing: BuildStanding) -> dict[str, str]:
    """What people call the positions and the characteristics that the records of a build name."""
    book = standing.scope.book
    kinds = {kind.name: kind.title for kind in book.kinds.values()}
    return kinds | {place.name: place.title for place in book.positions.values()}


def _changed_document(standing: BuildStanding, position: str) -> s.BuildChangedOut:
    scope, component = standing.scope, standing.sits[position]
    place, original = scope.book.positions[position], scope.today.get(position)
    event = standing.state.since.get(position)
    worked = event if event and event.what == "fitted" else None
    option = scope.options(position).get(component)
    fitment = option.fitment if option else None
    off = next((o for o in standing.state.off if (o.position, o.component) == (position, original)), None)
    return {
        "position": position,
        "position_title": place.title,
        "section": place.section,
        "section_title": section_title(scope.book, place.section),
        "component": component,
        "name": _name(standing, component),
        "original": original,
        "original_name": _name(standing, original),
        "since": (event.day if event else standing.state.taken_in).isoformat(),
        "event": worked.id if worked else None,
        "reason": worked.detail["reason"] if worked else "",
        "order_list": worked.detail["list"] if worked else None,
        "kept": off.kept or None if off else None,
        "effort": EFFORT_WORDS[fitment.effort] if fitment else None,
        "can_be_put_back": True if component is None else fitment.effort.reversible if fitment else None,
        "claim": fitment.name if fitment else None,
        "evidence": GRADE_WORDS[fitment.grade] if fitment else None,
        "flaws_gone": [flaw for flaw in standing.check["flaws_gone"] if flaw["position"] == position],
    }


def _off(standing: BuildStanding) -> list[s.OffOut]:
    return [
        {
            "component": off.component,
            "name": _name(standing, off.component),
            "position": off.position,
            "position_title": _title(standing, off.position),
            "day": off.event.day.isoformat(),
            "kept": off.kept,
            "original": standing.scope.today.get(off.position) == off.component,
        }
        for off in standing.state.off
    ]


def _measurements(standing: BuildStanding) -> list[s.MeasurementOut]:
    return [
        {
            "day": event.day.isoformat(),
            "who": event.who,
            "position": event.detail["position"],
            "position_title": _title(standing, event.detail["position"]),
            "characteristic": event.detail["characteristic"],
            "value": event.detail["value"],
        }
        for event in standing.state.of("measured")
    ]


def open_document(standing: BuildStanding) -> s.StillOpenOut:
    """What is left to do, and what it costs."""
    found = standing.open
    changes = [*map(_open_change, found.changes), *(_open_part(*one) for one in found.loose)]
    prices = [change["price"] for change in changes]
    return {
        "outcome": found.outcome,
        "sentences": found.sentences,
        "changes": changes,
        "price": f"{sum(Decimal(price) for price in prices if price):.2f}",
        "unknown_prices": sum(price is None for price in prices),
        "minutes": sum(change["minutes"] for change in changes),
        "address": _address(standing),
    }


def _open_change(change: ChangeOut) -> s.OpenChangeOut:
    return {
        "position": change["position"],
        "position_title": change["position_title"],
        "component": change["component"],
        "name": change["name"],
        "quantity": change["quantity"],
        "replaces": change["replaces"],
        "why": change["why"],
        "minutes": change["minutes"],
        "price": change["price"],
    }


def _open_part(part: LooseOut, pieces: int) -> s.OpenChangeOut:
    return {
        "position": None,
        "position_title": None,
        "component": part["component"],
        "name": part["name"],
        "quantity": pieces,
        "replaces": None,
        "why": part["why"],
        "minutes": _minutes_of_pieces(part, pieces),
        "price": _of_pieces(part, pieces),
    }


def _minutes_of_pieces(part: LooseOut, pieces: int) -> int:
    """How long so many of a loose part's pieces take."""
    return part["minutes"] * pieces // part["quantity"]


def _of_pieces(part: LooseOut, pieces: int) -> str | None:
    """What so many of a loose part's pieces cost."""
    whole = part["price"]
    return None if whole is None else f"{Decimal(whole) / part['quantity'] * pieces:.2f}"


def _address(standing: BuildStanding) -> str:
    """The question that asks for what is missing, from how it stands."""
    asked = [("build", standing.build["name"])]
    asked += [("on", standing.asked_on.isoformat())] if standing.asked_on else []
    asked += [("specification", standing.build["built_to"])] if standing.build["built_to"] else []
    for change in standing.open.changes:
        position, number = change["position"], change["component"]
        asked.append(("fit", f"{number}@{position}") if number else ("clear", position))
    return "/answer?" + urlencode([*asked, *(("fit", part["component"]) for part, _ in standing.open.loose)])


def _kept_original(standing: BuildStanding) -> list[StayingOut]:
    """Positions that are as the factory left them."""
    changed = set(standing.changed)
    scope = standing.scope
    return [
        staying(scope.book, name, number)
        for name in scope.book.positions
        if name not in changed and (number := scope.today.get(name))
    ]
