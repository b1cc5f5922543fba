"""One set as plain text: what changes by section and why, what stays, what to know about it."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal
from itertools import groupby

from graftbook.http.plain_text import WIDTH, amount, count, hours, wrap
from graftbook.http.values import capital
from graftbook.questions.checks.documents import (
    FindingsGroup,
    cannot_be,
    counted_only,
    for_want_of,
    of_today,
    told_in_full,
)
from graftbook.questions.closures.check_schemas import ChecksOut, FindingOut
from graftbook.questions.closures.schemas import (
    ChangeOut,
    ClosureOut,
    FlawNoteOut,
    LooseOut,
    NoteOut,
    SetOut,
)
from graftbook.rulebook.model import Severity

ALREADY_SO = "ALREADY SO: rules that today's parts break, left as they are"


def set_lines(document: ClosureOut, solution: SetOut) -> Iterator[str]:
    """One set, whole."""
    yield from changes_of(solution)
    yield from _loose(solution)
    yield from _stays(solution, document["section_titles"])
    yield from note_lines("WORTH DOING AT THE SAME TIME", solution["advised"])
    yield from _flaws(solution)
    yield from note_lines(ALREADY_SO, solution["already_so"])
    yield from note_lines("NOT DETERMINED, because it is not recorded", solution["not_determined"])
    yield from _unconfirmed_lines(solution)
    yield from contradicted_lines(solution)
    if document["least_evidence"]:
        yield from ("", *wrap(document["least_evidence"]["sentence"]))
    if document["checks"]:
        yield from finding_lines(document["checks"])


def grouped(solution: SetOut) -> list[list[ChangeOut]]:
    """Changes by line: places of one section that get the same number share a line.

    Sections in their order; in a section, what is nearest to a wish first, and behind it the other side that
    is changed together with it.
    """
    groups: dict[tuple[str, str], list[ChangeOut]] = {}
    sections = list(dict.fromkeys(change["section"] for change in solution["changes"]))
    at = {change["position"]: change for change in solution["changes"]}

    def turn(change: ChangeOut) -> tuple[int, int, str, bool]:
        because = change["because"]
        other_side = at.get(because["from_position"] or "") if because["cause"] == "pair" else None
        first = other_side or change
        return sections.index(change["section"]), first["depth"], first["position"], first is not change

    for change in sorted(solution["changes"], key=turn):
        key = (change["section"], change["component"] or f"nothing at {change['position']}")
        groups.setdefault(key, []).append(change)
    return list(groups.values())


def sections_of(solution: SetOut) -> Iterator[tuple[str, list[tuple[int, list[ChangeOut]]]]]:
    """The titles of the sections in capitals, each with its numbered lines of changes."""
    numbered = enumerate(grouped(solution), 1)
    for _, lines in groupby(numbered, key=lambda line: line[1][0]["section"]):
        own = list(lines)
        yield own[0][1][0]["section_title"].upper(), own


def changes_of(solution: SetOut) -> Iterator[str]:
    """What changes, numbered, under the titles of the sections."""
    for title, lines in sections_of(solution):
        yield ""
        yield title
        for number, group in lines:
            yield from _change(number, group)


def _change(number: int, group: list[ChangeOut]) -> Iterator[str]:
    first = group[0]
    where = "; ".join(change["position_title"] for change in group)
    if first["component"] is None:
        yield from wrap(
            f"{number:3}. Take out {first['replaces']} {first['replaces_name'] or ''}".rstrip(), hang=5
        )
        yield from wrap(f"{capital(where)}: nothing takes its place.", indent=5)
    else:
        yield from priced_line(f"{number:3}. {first['component']:<8} {first['name']}", group)
        old = dict.fromkeys(
            f"{c['replaces']} {c['replaces_name'] or ''}".strip() for c in group if c["replaces"]
        )
        yield from wrap(f"{capital(where)}{'; instead of ' if old else ''}{', '.join(old)}.", indent=5)
    reasons = {change["because"]["sentence"]: change["why"] for change in reversed(group)}
    for why in reversed(reasons.values()):
        yield from wrap(f"Why: {why}", indent=5, hang=10)
    yield from _remarks(first)


def priced_line(left: str, group: list[ChangeOut]) -> Iterator[str]:
    """A line of changes with its pieces, price and labour."""
    pieces = sum(change["quantity"] for change in group)
    prices = [Decimal(price) for change in group if (price := change["price"]) is not None]
    price = amount(None if len(prices) < len(group) else str(sum(prices)))
    left += f", {pieces} off" if pieces > 1 else ""
    right = f"{price:>13}{_time([change['minutes'] for change in group]):>12}"
    if len(left) + len(right) < WIDTH:
        yield left.ljust(WIDTH - len(right)) + right
        return
    yield from wrap(left, hang=14)
    yield right.rjust(WIDTH)


def _time(minutes: list[int]) -> str:
    """The work of some fits together; of one without minutes nobody recorded how long it takes."""
    if not any(minutes):
        return "? min"
    return hours(sum(minutes)) if all(minutes) else f" at least {hours(sum(minutes))}"


def _remarks(change: ChangeOut) -> Iterator[str]:
    if change["asked_number"]:
        yield from wrap(f"{change['asked_number']} is now {change['component']}.", indent=5)
    if change["choice"]:
        yield from wrap(change["choice"], indent=5)
    yield from work_lines(change)


def work_lines(item: ChangeOut | LooseOut) -> Iterator[str]:
    """The work that a change or a loose part asks for."""
    work = {"machining": "Needs machining.", "cutting": "Needs cutting or welding: it cannot be put back."}
    if item["effort"] in work:
        yield from wrap(work[item["effort"]], indent=5)


def _loose(solution: SetOut) -> Iterator[str]:
    if solution["loose_parts"]:
        yield ""
        yield "WITH IT"
    for part in solution["loose_parts"]:
        yield from loose_line(part)
        yield from wrap(f"Why: {part['why']}", indent=5, hang=10)
        yield from _further_reasons(part)
        yield from work_lines(part)
        if part["note"]:
            yield from wrap(f"Note: {part['note'].rstrip('.')}.", indent=5, hang=11)


def loose_line(part: LooseOut) -> Iterator[str]:
    """A loose part with its pieces, price and labour."""
    left = f"{part['quantity']:3} x {part['component']:<8} {part['name'] or ''}"
    labour = f", {hours(part['minutes'])}" if part["minutes"] else ""
    yield from wrap(f"{left}: {amount(part['price'])}{labour}", hang=14)


def _further_reasons(part: LooseOut) -> Iterator[str]:
    """What else the quantity is for; a reason that is told already is not told again."""
    sentences = (capital(because["sentence"].rstrip(".")) for because in part["also_needed_by"])
    for sentence in dict.fromkeys(s for s in sentences if s not in part["why"]):
        yield from wrap(f"And: {sentence}.", indent=5, hang=10)


def _stays(solution: SetOut, titles: Mapping[str, str]) -> Iterator[str]:
    changed = {change["section"] for change in solution["changes"]}
    bought = _loose_by_section(solution)
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
    for section in (s for s in by_section if s in bought and s not in changed):
        new = f"all of it, with new parts: {', '.join(bought[section])}"
        yield from wrap(f"{titles.get(section, section)}: {new}.", indent=2, hang=4)
    yield from untouched_lines(solution, titles)


def untouched_lines(solution: SetOut, titles: Mapping[str, str]) -> Iterator[str]:
    """The sections in which nothing is changed or bought."""
    touched = {change["section"] for change in solution["changes"]} | _loose_by_section(solution).keys()
    stays = dict.fromkeys(entry["section"] for entry in solution["stays"])
    if whole := [titles.get(section, section) for section in stays if section not in touched]:
        yield from wrap(f"Untouched altogether: {'; '.join(whole)}.", indent=2, hang=4)


def _loose_by_section(solution: SetOut) -> dict[str | None, list[str]]:
    """The numbers of the loose parts, by the section that they belong to."""
    bought: dict[str | None, list[str]] = {}
    for part in solution["loose_parts"]:
        bought.setdefault(part["section"], []).append(part["component"])
    return bought


def note_lines(title: str, notes: list[NoteOut], *, where: bool = False) -> Iterator[str]:
    """Notes under their title, each sentence once, with all its places where that is wanted; nothing where
    there are none."""
    if notes:
        yield ""
        yield title
    places: dict[tuple[str, str], dict[str, None]] = {}
    for note in notes:
        at = places.setdefault((note["sentence"], "; ".join(note["missing"])), {})
        at |= dict.fromkeys(note["positions"] if where else ())
    for (sentence, missing), at in places.items():
        where_too = f"{sentence.removesuffix('.')} ({', '.join(at)})." if at else sentence
        yield from wrap(f"- {where_too}{f' Not recorded: {missing}.' if missing else ''}", indent=2, hang=4)


def _flaws(solution: SetOut) -> Iterator[str]:
    """Flaws gone, brought, and left in the sections that are touched; of the rest the dangerous ones.

    What is left besides is counted by severity.
    """
    touched = {change["section"] for change in solution["changes"]} | _loose_by_section(solution).keys()
    near: list[FlawNoteOut] = []
    rest: list[FlawNoteOut] = []
    for flaw in solution["flaws_left"]:
        is_near = flaw["section"] in touched or flaw["severity"] == "dangerous"
        (near if is_near else rest).append(flaw)
    named = (("gone", solution["flaws_gone"]), ("brought", solution["flaws_brought"]), ("left", near))
    if not rest and not any(flaws for _, flaws in named):
        return
    yield ""
    yield "KNOWN FLAWS"
    yield from flaw_lines(solution, named)
    if rest:
        more = "more " if any(flaws for _, flaws in named) else ""
        besides = f"{len(once_each(rest))} {more}in sections that nothing here touches: {severities(rest)}."
        yield from wrap(f"         {besides}", indent=2, hang=11)


def severities(flaws: Iterable[FlawNoteOut]) -> str:
    """How many there are of each severity, the worst first, the same of several places once: "2 minor"."""
    counted = Counter(severity for _, severity in once_each(flaws))
    return ", ".join(f"{counted[one.name]} {one.name}" for one in reversed(Severity) if counted[one.name])


def once_each(flaws: Iterable[FlawNoteOut]) -> set[tuple[str, str]]:
    """Their symptoms and severities: the same of both sides is one."""
    return {(flaw["symptom"], flaw["severity"]) for flaw in flaws}


def flaw_lines(solution: SetOut, named: Iterable[tuple[str, list[FlawNoteOut]]]) -> Iterator[str]:
    """Flaws under the words for what becomes of them; the same of several places once."""
    titles = {p["position"]: p["position_title"] for p in (*solution["changes"], *solution["stays"])}
    for word, flaws in named:
        alike: dict[tuple[str, str], dict[str, list[str]]] = {}
        for f in flaws:
            places = alike.setdefault((f["symptom"], f["severity"]), {})
            places.setdefault(f["component"], []).append(titles.get(f["position"], f["position"]))
        for (symptom, severity), places in alike.items():
            at = "; ".join(f"{part} at {'; '.join(where)}" for part, where in places.items())
            yield from wrap(f"{word:<9}{symptom.rstrip('.')} ({severity}; {at}).", indent=2, hang=11)


def _unconfirmed_lines(solution: SetOut) -> Iterator[str]:
    yield ""
    if not solution["unconfirmed"]:
        yield from wrap(f"{'CONFIRMED: ' if solution['confidence'] else ''}{solution['rests_on']}")
        return
    yield "CLAIMS NOBODY HAS CONFIRMED"
    yield from wrap(solution["rests_on"])
    claims: dict[str, dict[str, list[str]]] = {}
    for claim in solution["unconfirmed"]:
        claims.setdefault(claim["evidence"], {}).setdefault(claim["what"], []).append(claim["claim"])
    for evidence, of_evidence in claims.items():
        grade = evidence if evidence == "no evidence" else f"{evidence} only"
        yield f"  {capital(grade)}:"
        for what, names in of_evidence.items():
            yield from wrap(f"- {what.rstrip('.')} ({', '.join(dict.fromkeys(names))}).", indent=2, hang=4)


def contradicted_lines(solution: SetOut) -> Iterator[str]:
    """The claims that a workshop found otherwise."""
    if solution["contradicted"]:
        yield ""
        yield "CLAIMS THAT A WORKSHOP FOUND OTHERWISE"
    for sentence in dict.fromkeys(claim["sentence"] for claim in solution["contradicted"]):
        yield from wrap(f"- {sentence}", indent=2, hang=4)


def finding_lines(checks: ChecksOut) -> Iterator[str]:
    """What the set makes worse, what was so already, what it mends; the rest is counted."""
    yield ""
    yield "DOES IT WORK TOGETHER (today -> then)"
    yield from wrap(checks["sentence"])
    for group in told_in_full(checks):
        yield from group_lines(group)
    yield from _what_holds(counted_only(checks))
    yield from _cannot_be(cannot_be(checks))


def group_lines(group: FindingsGroup) -> Iterator[str]:
    """A group of findings under its title, with its cautions."""
    yield ""
    yield group["title"].upper()
    for finding, others in for_want_of(group["findings"]):
        yield from _finding(finding)
        if others:
            yield from wrap(f"{count(len(others), 'more check')} for want of the same.", indent=17)
    for caution in group["cautions"]:
        yield from wrap(caution, indent=2, hang=4)


def _finding(finding: FindingOut) -> Iterator[str]:
    sentence = f"{finding['sentence']} {of_today(finding)}".rstrip()
    yield from wrap(f"{finding['verdict']:<15}{sentence}", indent=2, hang=17)
    if finding["mend"]:
        yield from wrap(f"To mend it: {finding['mend']}", indent=17)


def _what_holds(rest: list[FindingOut]) -> Iterator[str]:
    """Figures that the set changes and that hold, then how many checks there are besides."""
    if rest:
        yield ""
        yield "WHAT HOLDS"
    changed = [finding for finding in rest if finding["changed"] and finding["verdict"] == "holds"]
    for finding in changed:
        yield from _finding(finding)
    same = [finding for finding in rest if finding not in changed]
    holding = sum(finding["verdict"] == "holds" for finding in same)
    if holding:
        yield from wrap(f"{count(holding, 'check')} {'hold' if holding > 1 else 'holds'} as today.", indent=2)
    if open_today := len(same) - holding:
        yield from wrap(f"{count(open_today, 'check')} not determined, today either.", indent=2)


def _cannot_be(findings: list[FindingOut]) -> Iterator[str]:
    if findings:
        yield ""
        yield "NOT DETERMINED, because of a figure that cannot be"
    for finding in findings:
        yield from wrap(f"- {finding['sentence']}", indent=2, hang=4)
