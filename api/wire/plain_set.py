"""One set as plain text: what changes by section and why, what stays, what to know about it."""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

from api.wire.plain import WIDTH, Facts, amount, hours, wrap


def set_lines(document: Facts, solution: Facts) -> Iterator[str]:
    """One set: what changes by section, what stays, what to know about it."""
    yield from changes_of(solution)
    yield from _loose(solution)
    yield from _stays(solution, document["section_titles"])
    yield from _notes("WORTH DOING AT THE SAME TIME", solution["advised"], "sentence")
    yield from _flaws(solution)
    yield from _notes("ALREADY SO, and left as it is", solution["already_so"], "sentence")
    yield from _notes(
        "NOT DETERMINED, because it is not recorded", solution["not_determined"], "sentence", "missing"
    )
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


def changes_of(solution: Facts) -> Iterator[str]:
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
        yield from wrap(
            f"{number:3}. {where}: take out {first['replaces']} {first['replaces_name'] or ''}".rstrip(),
            hang=5,
        )
    else:
        prices = [c["price"] for c in group]
        price = amount(None if None in prices else str(sum(Decimal(p) for p in prices)))
        left = f"{number:3}. {first['component']:<9} {first['name']}" + (
            f", {pieces} off" if pieces > 1 else ""
        )
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
    others = sorted(
        {line_of[b["from_position"]] for b in change["also_needed_by"] if b["from_position"] in line_of}
    )
    if others:
        yield from wrap(f"Also asked by {', '.join(map(str, others))}.", indent=10)


def _remarks(change: Facts) -> Iterator[str]:
    if change["asked_number"]:
        yield from wrap(f"{change['asked_number']} is now {change['component']}.", indent=5)
    if change["choices"] > 1 and not change["forced"]:
        yield from wrap(f"Chosen out of {change['choices']}.{_next_best(change)}", indent=5)
    if change["effort"] in ("machining", "cutting"):
        words = {
            "machining": "Needs machining.",
            "cutting": "Needs cutting or welding: it cannot be put back.",
        }
        yield from wrap(words[change["effort"]], indent=5)


def _next_best(change: Facts) -> str:
    for other in change["alternatives"]:
        if other["outcome"] != "proved":
            continue
        terms = [_term(name, value) for name, value in other["difference"].items()]
        what = ", ".join(terms) or "nothing more or less"
        return (
            f" The next best, {other['component']} {other['name'] or ''}".rstrip() + f", would mean: {what}."
        )
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
        yield from wrap(
            f"{titles.get(section, section)}: {', '.join(by_section[section])}.", indent=2, hang=4
        )
    if whole:
        yield from wrap(f"Untouched altogether: {', '.join(whole)}.", indent=2, hang=4)


def _notes(title: str, notes: list[Facts], *fields: str) -> Iterator[str]:
    if notes:
        yield ""
        yield title
    for note in notes:
        missing = (
            f" Missing: {', '.join(note['missing'])}." if "missing" in fields and note["missing"] else ""
        )
        yield from wrap(f"- {note['sentence']}{missing}", indent=2, hang=4)


def _flaws(solution: Facts) -> Iterator[str]:
    named = (
        ("gone", "flaws_gone"),
        ("left in what is touched", "flaws_left"),
        ("brought by new parts", "flaws_brought"),
    )
    if not any(solution[field] for _, field in named):
        return
    yield ""
    yield "KNOWN FLAWS"
    for word, field in named:
        seen = {(f["flaw"], f["component"]): f for f in solution[field]}
        for flaw in seen.values():
            yield from wrap(
                f"{word}: {flaw['symptom'].rstrip('.')} ({flaw['severity']}, {flaw['component']}).", 2, 4
            )


def _unconfirmed(solution: Facts) -> Iterator[str]:
    yield ""
    if not solution["unconfirmed"]:
        yield from wrap(
            f"CONFIRMED: every claim was measured, fitted or driven; the weakest is {solution['confidence']}."
        )
        return
    yield "CLAIMS NOBODY HAS CONFIRMED"
    for claim in solution["unconfirmed"]:
        grade = "no evidence" if claim["evidence"] == "none" else f"{claim['evidence']} only"
        about = claim["component"] or claim["position"] or ""
        yield from wrap(
            f"- {claim['claim']}{f' ({about})' if about and about not in claim['claim'] else ''}: {grade}.",
            2,
            4,
        )


def _findings(checks: Facts) -> Iterator[str]:
    findings = checks.get("findings", [])
    if findings:
        yield ""
        yield "DOES IT WORK TOGETHER (today -> then)"
    for finding in findings:
        yield from wrap(f"{finding['verdict']:<15}{finding['sentence']}", indent=2, hang=17)
        if finding.get("mend"):
            yield from wrap(f"To mend it: {finding['mend']}", indent=17)
