"""What a member of a document means that says the same wherever it stands; a schema's own words come first.

Examples are real answers, see `tests/api/examples.py`; here is what no answer shows.
"""

from collections.abc import Mapping
from typing import Any

MEMBERS = {
    "advised": "parts that are advised and not in the set",
    "already_so": "wishes that are met as the vehicle stands",
    "also_needed_by": "further reasons that ask for it",
    "answer_parts": "the answer's parts at the catalogue's prices; null: not known",
    "asked_numbers": "the numbers as they were asked for, where they are older ones",
    "at_hand": "what lies on the bench already and need not be bought",
    "because": "the reason, as facts",
    "built": "the day it was built",
    "built_from": "first day built",
    "built_is_estimated": "the day built is estimated from the chassis number",
    "built_to": "last day built",
    "can_be_bought": "somebody supplies it today; null: not known",
    "can_be_put_back": "the vehicle can be put back as it was",
    "carriage": "carriage; null: not known",
    "catalogue_revision": "revision of the catalogue that answers",
    "cause": "what kind of reason it is",
    "cautions": "what can hurt people, in words; show them with the answer",
    "changes": "positions at which something changes",
    "chassis": "chassis number",
    "chassis_spans": "its chassis numbers",
    "check": "name of the check",
    "completed": "the closure that keeps the set and adds what is missing; null: none was asked for",
    "component": "part number; null: nothing sits there",
    "confidence": "the grade of the weakest claim; null: no claim is needed",
    "currency": "currency of every amount of money in the document (ISO 4217)",
    "cut_short": "the deadline came before everything was told",
    "date": "the day of the answer: prices and offers are those of that day",
    "defers": "that local codes and a licensed person's judgement come first",
    "delivery_note": "number of the supplier's delivery note; may be empty",
    "deposit": "deposit on one piece, paid back for the old one; null: not known",
    "deposits": "deposits on all pieces, paid back for the old ones; null: not known",
    "detail": "the fault in a sentence for people",
    "dry_run": "everything was checked and nothing stored",
    "effort": "how it goes on: `direct`, `with companions`, `machining`, `cutting`",
    "evidence": "what stands behind it",
    "evidence_grade": "what the weakest claim behind it is worth",
    "evidence_records": "why it is believed",
    "figures": "what was worked out, with units",
    "finish_minutes": "minutes from the beginning to the end, with so many hands",
    "first": "first chassis number",
    "fitted": "position → component fitted today instead of the original; null: empty",
    "flaws": "known flaws that are left",
    "flaws_brought": "known flaws that the set brings",
    "flaws_gone": "known flaws that the set mends",
    "flaws_left": "known flaws that the set leaves",
    "for": "what the pieces are for",
    "from_position": "the change that brings the rule; null for a wish",
    "from_stock": "what the shop's own store gives",
    "from_version": "the earlier version",
    "generation": "generation of the range",
    "gives_up": "the wishes and limits that are given up",
    "grade": "what the evidence is worth",
    "hand": "left or right; null: it has no hand",
    "hands": "pairs of hands",
    "hazard": "what makes it dangerous goods; null: it is none",
    "irreversible": "changes, and loose parts, that are cut or welded",
    "items": "the lines of this page",
    "kind": "what kind it is",
    "label": "how the list calls the vehicle",
    "labour": "minutes of labour",
    "labour_minutes": "minutes of labour",
    "last": "last chassis number",
    "latest": "number of the latest version",
    "lead_days": "days from the order to the delivery; null: not known",
    "limits": "what the answer may not do",
    "line": "number of the line, from 1",
    "lines": "its lines",
    "loose_parts": "parts that sit at no position: gaskets, fluids, fasteners",
    "market": "market that the vehicle is for, or whose law and taxes are meant",
    "message": "what is wrong, and what would be right",
    "minutes": "minutes of labour",
    "name": "its name",
    "net": "the sum without tax; null: not known",
    "not_bought_why": "the reasons why lines are not bought, each once",
    "not_determined": "what cannot be told, because something is not recorded",
    "note": "anything worth knowing",
    "now": "what lies there now; null: it has no place in the store",
    "number": "part number",
    "on_the_bench": "components at hand; they need not be bought",
    "only_asked": "changes that only the answer as asked has",
    "only_instead": "changes that only the other answer has",
    "options": "options that the vehicle has",
    "order": "place in the order of its kind",
    "order_parts": "the order's parts, without carriage, deposits and tax; null: not known",
    "origin": "where it comes from: `original`, `later-model`, `modern`",
    "other_vehicle": "the vehicle to compare with",
    "outcome": "what came of the question",
    "pack": "pieces in a pack",
    "packs": "packs to buy",
    "pieces": "pieces to buy: whole packs",
    "place": "where in the store it lies; may be empty",
    "places": "the positions that it may sit at, the best first",
    "position": "position by name; null: a loose part",
    "position_title": "the position in words",
    "preference": "what sets are compared by, first to last",
    "price_of_days": "what each day costs on which everything could be there",
    "proved": "it is certain that nothing is better",
    "proved_of": "what `proved` speaks of",
    "quantity": "pieces",
    "questions": "the questions; each is answered for itself, and one's mistake is its own",
    "range": "range of vehicles",
    "reason": "the reason",
    "reasons": "why it is needed, in words",
    "remark": "anything worth keeping of the delivery",
    "replaces": "number that comes off; null: nothing sat there",
    "replaces_name": "what comes off, in words; null: nothing",
    "request_id": "id of the request, as X-Request-ID; quote it when you ask",
    "scope": "what the key may do",
    "section": "section of the vehicle",
    "section_title": "the section in words",
    "section_titles": "section → its title",
    "sections": "the time that each section takes",
    "sentence": "the same in words",
    "severity": "how bad it is",
    "split": "whether a cheaper split over the suppliers is possible",
    "state": "how far the list has come; null: it is not kept",
    "status": "the HTTP status",
    "stays": "positions that stay as they are",
    "steering": "steering side: `left` or `right`",
    "step": "number of the step, from 1",
    "subject": "what it was looked at: an axle, a circuit, a joint",
    "supplier": "name of the supplier",
    "supplier_title": "the supplier in words; null: of several, or not known",
    "suppliers": "what each supplier sends",
    "supply": "whether it is still made: `current`, `superseded`, `no longer supplied`",
    "surplus": "pieces beyond those needed, because packs are whole",
    "symptom": "how it shows",
    "taken_off": "what comes off, and what becomes of it",
    "tax": "tax; null: not known",
    "tax_rate": "per cent; null: not known",
    "time": "whether its minutes are recorded",
    "title": "in words",
    "to_version": "the later version",
    "tools": "what it takes beside common tools",
    "totals": "the sums",
    "type": "stable name of the problem, an address of this service",
    "unconfirmed": "claims that nobody measured, fitted or drove",
    "unit_price": "of one piece, without tax and deposit; null: not known",
    "unknown_prices": "numbers whose price is not known and in no sum",
    "variant": "variant by name",
    "vehicle": "the vehicle",
    "vehicles": "the vehicles, each with what was wished for it",
    "verdict": "what it comes to, in a word",
    "visible": "changes that one sees",
    "was": "what lay there before; null: it had no place in the store",
    "why": "the reason, in words",
    "wishes": "what is wanted",
    "wishes_added": "wishes that only the later version has",
    "wishes_removed": "wishes that only the earlier version has",
    "work": "whether something comes off or goes on",
}

EXAMPLES: dict[str, Any] = {
    "after": "46.00",
    "also": ["disc"],
    "as_of": 41,
    "asked_number": "QB-3300",
    "asked_numbers": ["QB-3300"],
    "asking_position": "brake.front.left",
    "before": "43.50",
    "build": "red-van",
    "chain": ["QB-3300", "QB-3310"],
    "chassis_from": "24PL-018001",
    "chassis_to": "24PL-019999",
    "clashing": ["The discs do not go inside these wheels."],
    "clear": "heater",
    "contradiction": ["You want the discs and keep the wheels, which have no room for them."],
    "contradictions": [["You want the discs and keep the wheels, which have no room for them."]],
    "due": "2026-12-09",
    "engines": ["p21"],
    "evidence": ["brakes-book-32"],
    "expires": "2027-12-31T23:59:59Z",
    "fewer_other_sets": "There is no further set that is better in some way.",
    "from_date": "1971-03-01",
    "from_loose_part": "QB-9001",
    "goes_in": "brake.front.left",
    "impossible": ["disc_diameter"],
    "jobs": ["brake.front.left", "hub.front.left"],
    "keep": ["steering.box"],
    "limits_broken": ["The wheels are to stay as they are."],
    "markets": ["home"],
    "more": ["fitments"],
    "near": ["QB-3310"],
    "new": "QB-3310",
    "not_in_it": ["QB-9001: its price is not known"],
    "old": "QB-3300",
    "other_component": "QW-1100",
    "other_having": ["offset at least 30 mm"],
    "other_position": "wheel.front.left",
    "price_at_most": "1500.00",
    "promised": "2026-12-09",
    "read_as": ["QB-3310"],
    "records": ["disc-before-hub", "hub-before-disc"],
    "refuse": ["QB-7050"],
    "remedy": "transmission.crash-gears-16",
    "removed": ["QB-9001"],
    "revoked": "2026-11-25T12:00:00Z",
    "room_in": ["brakes", "electrical"],
    "specification": "house-standard@2",
    "substitute": "QB-7090",
    "tax_market": "home",
    "unknown_prices": ["QB-9001"],
    "valid_from": "2026-01-01",
    "valid_to": "2026-12-31",
    "without": ["heater"],
    "BookingOut.accepted": ["too many"],
    "ClosureOut.gap": 0.02,
    "ReceivedIn.accept": ["too many"],
    "SplitOut.gap": "4.00",
}
"""Member, or `Schema.member`, whose value no answer of the demo range shows, and one that it may have."""


Seen = Mapping[str, Mapping[str, Any]]
"""Schema → member → a real value."""


def describe_members(schemas: dict[str, Any], seen: Seen) -> None:
    """Words and examples for every member that has none."""
    anywhere = {member: value for shown in seen.values() for member, value in shown.items()}
    for name, schema in schemas.items():
        for member, described in schema.get("properties", {}).items():
            described.pop("title", None)
            if told := MEMBERS.get(member):
                described.setdefault("description", told)
            if "examples" not in described and (found := _shown(name, member, described, seen, anywhere)):
                described["examples"] = found


def _shown(
    name: str, member: str, described: dict[str, Any], seen: Seen, anywhere: Mapping[str, Any]
) -> list[Any]:
    """One example at most."""
    own = seen.get(name, {})
    places = ((EXAMPLES, f"{name}.{member}"), (own, member), (EXAMPLES, member), (anywhere, member))
    for values, key in places:
        if key in values and (values is own or "." in key or _may_be(values[key], described)):
            return [values[key]]
    if described.get("default") not in (None, "", [], {}):
        return [described["default"]]
    if described.get("type") == "boolean":
        return [True]
    words = [word for form in described.get("anyOf", [described]) for word in form.get("enum", ())]
    return words[:1]


_JSON_TYPES: dict[type, set[str]] = {
    bool: {"boolean"},
    int: {"integer", "number"},
    float: {"number"},
    str: {"string"},
    list: {"array"},
    dict: {"object"},
}


def _may_be(value: Any, described: Mapping[str, Any]) -> bool:
    """Whether a value seen elsewhere has a type of this member; never by a reference or a list of words."""
    for form in described.get("anyOf", [described]):
        if form.get("type") in _JSON_TYPES[type(value)] and "enum" not in form:
            return not isinstance(value, list) or all(_may_be(item, form["items"]) for item in value)
    return False
