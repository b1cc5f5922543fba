"""An answer as plain text for a terminal or a printer: 100 columns, no colour, made from the JSON facts."""

import textwrap
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

WIDTH = 100
Facts = dict[str, Any]


def wrap(text: str, indent: int = 0, hang: int | None = None) -> Iterator[str]:
    """Lines of at most 100 columns; `hang` is the indent of the second and further lines."""
    first, rest = " " * indent, " " * (indent if hang is None else hang)
    yield from textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest) or [""]


def amount(price: str | None, currency: str = "") -> str:
    """A price with thousands apart, or the plain word that it is unknown."""
    if price is None:
        return "price unknown"
    return f"{Decimal(price):,.2f} {currency}".rstrip()


def hours(minutes: int) -> str:
    """Labour as a fitter reads it: "9 h 40 min"."""
    whole, rest = divmod(minutes, 60)
    if not whole:
        return f"{rest} min"
    return f"{whole} h {rest:02d} min" if rest else f"{whole} h"


def count(number: int, one: str, many: str = "") -> str:
    """ "1 change", "3 changes", "no changes"."""
    word = one if number == 1 else many or f"{one}s"
    return f"{number or 'no'} {word}"


def answer_lines(document: Facts) -> Iterator[str]:
    """A whole closure document: vehicle, wishes, the set or the contradiction, what to know."""
    yield from _vehicle(document)
    yield ""
    yield from wrap(_verdict(document))
    if document["set"]:
        yield from set_lines(document, document["set"])
        for number, other in enumerate(document["other_sets"], 2):
            yield ""
            yield from wrap(f"ANOTHER GOOD SET ({number}): {_cost(other['totals'], document['currency'])}")
            yield from _changes(other)
    for contradiction in document["contradictions"]:
        yield from _contradiction(contradiction)
    yield from _ways_out(document)
    if document.get("cautions"):
        yield ""
        for caution in document["cautions"]:
            yield from wrap(caution)


def _vehicle(document: Facts) -> Iterator[str]:
    vehicle = document["vehicle"]
    estimated = ", estimated from the number" if vehicle.get("built_is_estimated") else ""
    chassis = f", chassis {vehicle['chassis']}" if vehicle["chassis"] else ""
    options = f", with {', '.join(vehicle['options'])}" if vehicle["options"] else ""
    yield from wrap(f"{vehicle['title']}{chassis} (built {vehicle['built']}{estimated}){options}", hang=2)
    for wish in document["wishes"]:
        yield from wrap(f"You wish: {wish['sentence']}", hang=10)
    for limit in document["limits"]:
        yield from wrap(f"You set:  {limit['sentence']}", hang=10)


def _verdict(document: Facts) -> str:
    outcome, revision = document["outcome"], f"Catalogue revision {document['catalogue_revision']}."
    if outcome == "proved":
        return f"PROVED: no better set fulfils this. {_cost(document['set']['totals'], document['currency'])} {revision}"
    if outcome == "impossible":
        return f"IMPOSSIBLE, and that is proved: no set fulfils this. {revision}"
    if document["set"]:
        gap = f" It may be up to {document['gap']:.0%} off the best." if document["gap"] is not None else ""
        cost = _cost(document["set"]["totals"], document["currency"])
        return f"NOT PROVED: a set that works, but time ran out before it was shown to be the best.{gap} {cost} {revision}"
    return f"NOT ANSWERED: {outcome}. {revision}"


def _cost(totals: Facts, currency: str) -> str:
    put_back = "nothing is cut or welded"
    if totals["irreversible"]:
        put_back = f"{count(totals['irreversible'], 'change')} cannot be put back"
    shows = "nothing shows" if not totals["visible"] else f"{totals['visible']} of them show"
    if totals["visible"] == 1:
        shows = "1 of them shows"
    unknown = f", and {count(len(totals['unknown_prices']), 'price')} unknown" if totals["unknown_prices"] else ""
    return (
        f"{count(totals['changes'], 'change').capitalize()}; {put_back}; {shows}. Parts "
        f"{amount(totals['price'], currency)}{unknown}; labour {hours(totals['labour_minutes'])}."
    )


def set_lines(document: Facts, solution: Facts) -> Iterator[str]:
    """One set: what changes by section, what stays, what to know about it."""
    yield from _changes(solution)
    yield from _loose(solution)
    yield from _stays(solution, document["section_titles"])
    yield from _notes("WORTH DOING AT THE SAME TIME", solution["advised"], "sentence")
    yield from _flaws(solution)
    yield from _notes("ALREADY SO, and left as it is", solution["already_so"], "sentence")
    yield from _notes("NOT DETERMINED, because it is not recorded", solution["not_determined"], "sentence", "missing")
    yield from _unconfirmed(solution)
    yield from _findings(document.get("checks") or {})


def grouped(solution: Facts) -> list[list[Facts]]:
    """Changes by line: the sides of a pair that get the same number for the same reason share one."""
    groups: dict[tuple[str, ...], list[Facts]] = {}
    for change in solution["changes"]:
        alike = (change["section"], str(change["component"]), change["because"]["name"], str(change["depth"]))
        key = alike if change["component"] else (*alike, change["position"])
        groups.setdefault(key, []).append(change)
    return list(groups.values())


def _changes(solution: Facts) -> Iterator[str]:
    groups = grouped(solution)
    line_of = {c["position"]: i for i, group in enumerate(groups, 1) for c in group}
    section = None
    for number, group in enumerate(groups, 1):
        first = group[0]
        if first["section"] != section:
            section = first["section"]
            yield ""
            yield str(first.get("section_title", section)).upper()
        yield from _change(number, group, line_of)


def _change(number: int, group: list[Facts], line_of: dict[str, int]) -> Iterator[str]:
    first = group[0]
    pieces = sum(c["quantity"] for c in group)
    where = ", ".join(c["position_title"] for c in group)
    if first["component"] is None:
        yield from wrap(f"{number:3}. {where}: take out {first['replaces']} {first['replaces_name'] or ''}".rstrip(), hang=5)
    else:
        prices = [c["price"] for c in group]
        price = amount(None if None in prices else str(sum(Decimal(p) for p in prices)))
        left = f"{number:3}. {first['component']:<9} {first['name']}" + (f", {pieces} off" if pieces > 1 else "")
        right = f"{price:>12}  {hours(sum(c['minutes'] for c in group)):>11}"
        if len(left) + len(right) < WIDTH:
            yield left.ljust(WIDTH - len(right)) + right
        else:
            yield from wrap(left, hang=5)
            yield right.rjust(WIDTH)
        old = sorted({f"{c['replaces']} {c['replaces_name'] or ''}".strip() for c in group if c["replaces"]})
        takes = f"; comes off: {', '.join(old)}" if old else ""
        yield from wrap(f"{where[:1].upper()}{where[1:]}{takes}.", indent=5)
    yield from _reasons(first, line_of)
    yield from _remarks(first)


def _reasons(change: Facts, line_of: dict[str, int]) -> Iterator[str]:
    because = change["because"]
    if because["cause"] == "wish":
        yield from wrap("Why: you wished it.", indent=5, hang=10)
    else:
        asker = line_of.get(because["from_position"] or "")
        who = f" (asked by {asker})" if asker else ""
        yield from wrap(f"Why: {because['sentence'].rstrip('.')}{who}.", indent=5, hang=10)
    others = sorted({line_of[b["from_position"]] for b in change["also_needed_by"] if b["from_position"] in line_of})
    if others:
        yield from wrap(f"Also asked by {', '.join(map(str, others))}.", indent=10)


def _remarks(change: Facts) -> Iterator[str]:
    if change["asked_number"]:
        yield from wrap(f"{change['asked_number']} is now {change['component']}.", indent=5)
    if change["choices"] > 1 and not change["forced"]:
        yield from wrap(f"Chosen out of {change['choices']}.{_next_best(change)}", indent=5)
    if change["effort"] in ("machining", "cutting"):
        words = {"machining": "Needs machining.", "cutting": "Needs cutting or welding: it cannot be put back."}
        yield from wrap(words[change["effort"]], indent=5)


def _next_best(change: Facts) -> str:
    for other in change["alternatives"]:
        if other["outcome"] != "proved":
            continue
        terms = [_term(name, value) for name, value in other["difference"].items()]
        what = ", ".join(terms) or "nothing more or less"
        return f" The next best, {other['component']} {other['name'] or ''}".rstrip() + f", would mean: {what}."
    return ""


_WORDS = {
    "irreversible": "cannot be put back",
    "visible": "visible",
    "changes": "changes",
    "flaws": "points of flaws",
    "labour": "minutes of labour",
    "unconfirmed": "unconfirmed claims",
}


def _term(name: str, value: Any) -> str:
    if name == "price":
        return f"{Decimal(value):+,.2f} in parts"
    return f"{value:+d} {_WORDS.get(name, name)}"


def _loose(solution: Facts) -> Iterator[str]:
    if solution["loose_parts"]:
        yield ""
        yield "WITH IT"
    for part in solution["loose_parts"]:
        left = f"     {part['quantity']} off {part['component']} {part['name'] or ''}"
        yield left.ljust(WIDTH - 25)[: WIDTH - 25] + f"{amount(part['price']):>12}"
        yield from wrap(f"Why: {part['because']['sentence']}", indent=5, hang=10)


def _stays(solution: Facts, titles: Facts) -> Iterator[str]:
    changed = {change["section"] for change in solution["changes"]}
    by_section: dict[str, list[str]] = {}
    for entry in solution["stays"]:
        by_section.setdefault(entry["section"], []).append(entry["position_title"])
    if not by_section:
        return
    yield ""
    yield "STAYS AS IT IS"
    whole = [titles.get(s, s) for s in by_section if s not in changed]
    for section in (s for s in by_section if s in changed):
        yield from wrap(f"{titles.get(section, section)}: {', '.join(by_section[section])}.", indent=2, hang=4)
    if whole:
        yield from wrap(f"Untouched altogether: {', '.join(whole)}.", indent=2, hang=4)


def _notes(title: str, notes: list[Facts], *fields: str) -> Iterator[str]:
    if notes:
        yield ""
        yield title
    for note in notes:
        missing = f" Missing: {', '.join(note['missing'])}." if "missing" in fields and note["missing"] else ""
        yield from wrap(f"- {note['sentence']}{missing}", indent=2, hang=4)


def _flaws(solution: Facts) -> Iterator[str]:
    named = (("gone", "flaws_gone"), ("left in what is touched", "flaws_left"), ("brought by new parts", "flaws_brought"))
    if not any(solution[field] for _, field in named):
        return
    yield ""
    yield "KNOWN FLAWS"
    for word, field in named:
        seen = {(f["flaw"], f["component"]): f for f in solution[field]}
        for flaw in seen.values():
            yield from wrap(f"{word}: {flaw['symptom'].rstrip('.')} ({flaw['severity']}, {flaw['component']}).", 2, 4)


def _unconfirmed(solution: Facts) -> Iterator[str]:
    yield ""
    if not solution["unconfirmed"]:
        yield from wrap(f"CONFIRMED: every claim was measured, fitted or driven; the weakest is {solution['confidence']}.")
        return
    yield "CLAIMS NOBODY HAS CONFIRMED"
    for claim in solution["unconfirmed"]:
        grade = "no evidence" if claim["evidence"] == "none" else f"{claim['evidence']} only"
        about = claim["component"] or claim["position"] or ""
        yield from wrap(f"- {claim['claim']}{f' ({about})' if about and about not in claim['claim'] else ''}: {grade}.", 2, 4)


def _findings(checks: Facts) -> Iterator[str]:
    findings = checks.get("findings", [])
    if findings:
        yield ""
        yield "DOES IT WORK TOGETHER (today -> then)"
    for finding in findings:
        yield from wrap(f"{finding['verdict']:<15}{finding['sentence']}", indent=2, hang=17)
        if finding.get("mend"):
            yield from wrap(f"To mend it: {finding['mend']}", indent=17)


def _contradiction(contradiction: Facts) -> Iterator[str]:
    yield ""
    yield "These cannot all hold:" if contradiction["smallest"] else "These cannot all hold (fewer may be enough):"
    for part in contradiction["parts"]:
        yield from wrap(f"- {part['sentence']}", indent=2, hang=4)
    for fact in contradiction["facts"]:
        yield from wrap(f"- {fact['sentence']}", indent=2, hang=4)


def _ways_out(document: Facts) -> Iterator[str]:
    ways = document["ways_out"]
    if ways:
        yield ""
        yield "WAYS OUT, cheapest first, each tried"
    for number, way in enumerate(ways, 1):
        cost = f" {_cost(way['totals'], document['currency'])}" if way["totals"] else ""
        gives = "; ".join(part["sentence"] for part in way["gives_up"])
        yield from wrap(f"{number:3}. {way['instead'] or gives}.{cost}".replace("..", "."), hang=5)
    if document["more_ways_out"]:
        yield "     There are more."


def order_lines(document: Facts, currency: str) -> Iterator[str]:
    """An order list document as text."""
    yield "ORDER LIST"
    for line in document["lines"]:
        packs = f" ({line['packs']} packs of {line['pack']}, {line['surplus']} over)" if line["pack"] > 1 else ""
        left = f"  {line['pieces']:>3} x {line['number']:<10} {line['name']}{packs}"
        right = f"{amount(line['unit_price']):>13}{amount(line['total']) if line['total'] else '':>12}"
        if len(left) + len(right) > WIDTH:
            yield from wrap(left, hang=8)
            left = ""
        yield left.ljust(WIDTH - len(right)) + right
        if line["hazard"]:
            yield from wrap(f"Caution: {line['hazard']}", indent=8, hang=10)
    totals = document["totals"]
    yield f"Parts {amount(totals['parts'], currency)}".rjust(WIDTH)
    if Decimal(totals["deposits"]):
        yield f"Exchange deposits {amount(totals['deposits'], currency)}".rjust(WIDTH)
        yield f"Together {amount(totals['total'], currency)}".rjust(WIDTH)
    if totals["unknown_prices"]:
        yield from wrap(f"Price unknown, not in the total: {', '.join(totals['unknown_prices'])}.")
    for part in document["at_hand"]:
        yield from wrap(f"On the bench already: {part['quantity']} x {part['number']} {part['name']}.")
    if document["taken_off"]:
        off = ", ".join(f"{t['number']} {t['name']}".strip() for t in document["taken_off"])
        yield ""
        yield from wrap(f"COMES OFF, keep with the vehicle: {off}.", hang=2)
