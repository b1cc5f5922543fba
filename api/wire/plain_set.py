"""One set as plain text: what changes by section and why, what stays, what to know about it."""

from collections.abc import Iterator
from decimal import Decimal

from api.wire.plain import WIDTH, Facts, amount, count, hours, wrap

_WORST_FIRST = ("fails", "caution", "not determined", "holds")


def set_lines(document: Facts, solution: Facts) -> Iterator[str]:
    """One set, whole."""
    yield from changes_of(solution)
    yield from _loose(solution)
    yield from _stays(solution, document["section_titles"])
    yield from _notes("WORTH DOING AT THE SAME TIME", solution["advised"])
    yield from _flaws(solution)
    yield from _notes("ALREADY SO, and left as it is", solution["already_so"])
    yield from _notes("NOT DETERMINED, because it is not recorded", solution["not_determined"])
    yield from _unconfirmed(solution)
    yield from _findings(document["checks"]["findings"] if document["checks"] else [])


def grouped(solution: Facts) -> list[list[Facts]]:
    """Changes by line: places of one section that get the same number share a line.

    Sections in their order; in a section, what is nearest to a wish first.
    """
    groups: dict[tuple[str, str], list[Facts]] = {}
    sections = list(dict.fromkeys(change["section"] for change in solution["changes"]))
    for change in sorted(solution["changes"], key=lambda c: (sections.index(c["section"]), c["depth"])):
        key = (change["section"], change["component"] or f"nothing at {change['position']}")
        groups.setdefault(key, []).append(change)
    return list(groups.values())


def changes_of(solution: Facts) -> Iterator[str]:
    """What changes, numbered, under the titles of the sections."""
    section = None
    for number, group in enumerate(grouped(solution), 1):
        if group[0]["section"] != section:
            section = group[0]["section"]
            yield ""
            yield str(group[0]["section_title"]).upper()
        yield from _change(number, group)


def _change(number: int, group: list[Facts]) -> Iterator[str]:
    first = group[0]
    where = "; ".join(change["position_title"] for change in group)
    if first["component"] is None:
        yield from wrap(
            f"{number:3}. Take out {first['replaces']} {first['replaces_name'] or ''}".rstrip(), hang=5
        )
        yield from wrap(f"{_capital(where)}: nothing takes its place.", indent=5)
    else:
        yield from _priced(f"{number:3}. {first['component']:<8} {first['name']}", group)
        old = dict.fromkeys(
            f"{c['replaces']} {c['replaces_name'] or ''}".strip() for c in group if c["replaces"]
        )
        yield from wrap(f"{_capital(where)}{'; instead of ' if old else ''}{', '.join(old)}.", indent=5)
    for why in dict.fromkeys(change["why"] for change in group):
        yield from wrap(f"Why: {why}", indent=5, hang=10)
    yield from _remarks(first)


def _priced(left: str, group: list[Facts]) -> Iterator[str]:
    pieces = sum(change["quantity"] for change in group)
    prices = [change["price"] for change in group]
    price = amount(None if None in prices else str(sum(Decimal(p) for p in prices)))
    left += f", {pieces} off" if pieces > 1 else ""
    right = f"{price:>13}{hours(sum(change['minutes'] for change in group)):>12}"
    if len(left) + len(right) < WIDTH:
        yield left.ljust(WIDTH - len(right)) + right
        return
    yield from wrap(left, hang=14)
    yield right.rjust(WIDTH)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _remarks(change: Facts) -> Iterator[str]:
    if change["asked_number"]:
        yield from wrap(f"{change['asked_number']} is now {change['component']}.", indent=5)
    if change["choice"]:
        yield from wrap(change["choice"], indent=5)
    work = {"machining": "Needs machining.", "cutting": "Needs cutting or welding: it cannot be put back."}
    if change["effort"] in work:
        yield from wrap(work[change["effort"]], indent=5)


def _loose(solution: Facts) -> Iterator[str]:
    if solution["loose_parts"]:
        yield ""
        yield "WITH IT"
    for part in solution["loose_parts"]:
        left = f"{part['quantity']:3} x {part['component']:<8} {part['name'] or ''}"
        yield from wrap(f"{left}: {amount(part['price'])}", indent=0, hang=14)
        yield from wrap(f"Why: {part['why']}", indent=5, hang=10)


def _stays(solution: Facts, titles: Facts) -> Iterator[str]:
    changed = {change["section"] for change in solution["changes"]}
    by_section: dict[str, list[str]] = {}
    for entry in solution["stays"]:
        by_section.setdefault(entry["section"], []).append(entry["position_title"])
    if not by_section:
        return
    yield ""
    yield "STAYS AS IT IS"
    for section in (s for s in by_section if s in changed):
        yield from wrap(
            f"{titles.get(section, section)}: {'; '.join(by_section[section])}.", indent=2, hang=4
        )
    if whole := [titles.get(s, s) for s in by_section if s not in changed]:
        yield from wrap(f"Untouched altogether: {'; '.join(whole)}.", indent=2, hang=4)


def _notes(title: str, notes: list[Facts]) -> Iterator[str]:
    if notes:
        yield ""
        yield title
    for sentence, missing in dict.fromkeys((n["sentence"], "; ".join(n["missing"])) for n in notes):
        yield from wrap(f"- {sentence}{f' Not recorded: {missing}.' if missing else ''}", indent=2, hang=4)


def _flaws(solution: Facts) -> Iterator[str]:
    """Flaws gone, brought, and left in the sections that are touched; the rest is only counted."""
    touched = {change["section"] for change in solution["changes"]}
    near = [flaw for flaw in solution["flaws_left"] if flaw["section"] in touched]
    rest = len(solution["flaws_left"]) - len(near)
    named = (("gone", solution["flaws_gone"]), ("brought", solution["flaws_brought"]), ("left", near))
    if not rest and not any(flaws for _, flaws in named):
        return
    yield ""
    yield "KNOWN FLAWS"
    for word, flaws in named:
        for symptom, severity, part in dict.fromkeys(
            (f["symptom"], f["severity"], f["component"]) for f in flaws
        ):
            yield from wrap(f"{word:<9}{symptom.rstrip('.')} ({severity}; {part}).", indent=2, hang=11)
    if rest:
        yield from wrap(f"         {rest} more in sections that nothing here touches.", indent=2, hang=11)


def _unconfirmed(solution: Facts) -> Iterator[str]:
    yield ""
    if not solution["unconfirmed"]:
        yield from wrap(f"{'CONFIRMED: ' if solution['confidence'] else ''}{solution['rests_on']}")
        return
    yield "CLAIMS NOBODY HAS CONFIRMED"
    yield from wrap(solution["rests_on"])
    reasons = _reasons(solution)
    for claim, evidence in dict.fromkeys((c["claim"], c["evidence"]) for c in solution["unconfirmed"]):
        grade = evidence if evidence == "no evidence" else f"{evidence} only"
        sentence = f"{reasons[claim].rstrip('.')} " if claim in reasons else ""
        yield from wrap(f"- {sentence}({claim}): {grade}.", indent=2, hang=4)


def _reasons(solution: Facts) -> dict[str, str]:
    """The sentence of each rule that brought something, by its name."""
    brought = [*solution["changes"], *solution["loose_parts"]]
    every = [b for item in brought for b in (item["because"], *item["also_needed_by"])]
    return {because["name"]: because["sentence"] for because in every}


def _findings(findings: list[Facts]) -> Iterator[str]:
    """What the set changes, the worst first; what stays as it was is counted, and named where it is bad."""
    changed = sorted((f for f in findings if f["changed"]), key=lambda f: _WORST_FIRST.index(f["verdict"]))
    if changed:
        yield ""
        yield "DOES IT WORK TOGETHER (today -> then)"
    for finding in changed:
        yield from wrap(f"{finding['verdict']:<15}{finding['sentence']}", indent=2, hang=17)
        if finding["mend"]:
            yield from wrap(f"To mend it: {finding['mend']}", indent=17)
    yield from _as_before([f for f in findings if not f["changed"]])


def _as_before(findings: list[Facts]) -> Iterator[str]:
    if not findings:
        return
    yield ""
    total = {verdict: sum(f["verdict"] == verdict for f in findings) for verdict in _WORST_FIRST}
    words = ", ".join(f"{number} {verdict}" for verdict, number in reversed(total.items()) if number)
    yield from wrap(f"As before: {count(len(findings), 'check')} ({words}).")
    for finding in findings:
        if finding["verdict"] == "fails":
            yield from wrap(f"fails          {finding['sentence']}", indent=2, hang=17)
