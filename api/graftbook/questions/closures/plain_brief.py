"""An answer as plain text on one or two screens: what to do and why; what there is besides is counted."""

from collections.abc import Iterator

from graftbook.http.plain_text import count, wrap
from graftbook.questions.checks.documents import BY_THE_SET, told_in_full
from graftbook.questions.closures.check_schemas import ChecksOut, FindingOut
from graftbook.questions.closures.plain_set import (
    ALREADY_SO,
    contradicted_lines,
    flaw_lines,
    group_lines,
    loose_line,
    note_lines,
    once_each,
    priced_line,
    sections_of,
    severities,
    untouched_lines,
    work_lines,
)
from graftbook.questions.closures.schemas import ClosureOut, SetOut

REST = "`--full` tells the rest: next bests and their prices, what stays, every flaw, claim and check."


def brief_set_lines(document: ClosureOut, solution: SetOut) -> Iterator[str]:
    """One set: every change with its reason, every loose part, and of the rest what asks for a decision."""
    yield from brief_changes(solution)
    if solution["loose_parts"]:
        yield ""
        yield "WITH IT"
    for part in solution["loose_parts"]:
        yield from loose_line(part)
        yield from work_lines(part)
    untouched = [*untouched_lines(solution, document["section_titles"])]
    if untouched and (solution["changes"] or solution["loose_parts"]):
        yield from ("", *untouched)
    yield from note_lines("WORTH DOING AT THE SAME TIME", solution["advised"])
    yield from note_lines(ALREADY_SO, solution["already_so"])
    yield from note_lines("NOT DETERMINED, because it is not recorded", solution["not_determined"])
    yield from _flaws(solution)
    yield from contradicted_lines(solution)
    yield from ("", *wrap(solution["rests_on"]))
    if document["least_evidence"]:
        yield from wrap(document["least_evidence"]["sentence"])
    if document["checks"]:
        yield from brief_finding_lines(document["checks"])


def brief_changes(solution: SetOut) -> Iterator[str]:
    """What changes, numbered, each with the first of its reasons."""
    for title, lines in sections_of(solution):
        yield ""
        yield title
        for number, group in lines:
            first = group[0]
            if first["component"] is None:
                off = f"{first['replaces']} {first['replaces_name'] or ''}".rstrip()
                yield from wrap(f"{number:3}. Take out {off}", hang=5)
            else:
                yield from priced_line(f"{number:3}. {first['component']:<8} {first['name']}", group)
            yield from wrap("You wish it." if first["because"]["cause"] == "wish" else first["why"], indent=5)
            if first["asked_number"]:
                yield from wrap(f"{first['asked_number']} is now {first['component']}.", indent=5)
            yield from work_lines(first)


def _flaws(solution: SetOut) -> Iterator[str]:
    """What it brings, and what is left that is dangerous, in words; the rest by severity."""
    named = (("gone", solution["flaws_gone"]), ("brought", solution["flaws_brought"]))
    left = solution["flaws_left"]
    if not left and not any(flaws for _, flaws in named):
        return
    yield ""
    yield "KNOWN FLAWS"
    counted = [(word, flaws) for word, flaws in (*named, ("left", left)) if flaws]
    counts_in_words = "; ".join(
        f"{len(once_each(flaws))} {word} ({severities(flaws)})" for word, flaws in counted
    )
    yield from wrap(f"{counts_in_words}.")
    dangerous = [flaw for flaw in left if flaw["severity"] == "dangerous"]
    yield from flaw_lines(solution, (("brought", solution["flaws_brought"]), ("left", dangerous)))


def brief_finding_lines(checks: ChecksOut) -> Iterator[str]:
    """What the set makes worse, whole; what fails on today's vehicle already; the rest by its verdict."""
    yield ""
    yield "DOES IT WORK TOGETHER (today -> then)"
    yield from wrap(checks["sentence"])
    for group in told_in_full(checks):
        if group["kinds"] == BY_THE_SET:
            yield from (*group_lines(group), "")
    kinds: dict[str, list[FindingOut]] = {}
    for finding in checks["findings"]:
        kinds.setdefault(finding["kind"], []).append(finding)
    already = kinds.get("already so", [])
    for finding in (f for f in already if f["verdict"] == "fails"):
        yield from wrap(f"already fails  {finding['sentence']}", indent=2, hang=17)
    warned = sum(finding["verdict"] != "fails" for finding in already)
    counts = (
        (len(kinds.get("mended", ())), "check is mended", "checks are mended"),
        (warned, "caution was so already", "cautions were so already"),
        (len(kinds.get("holds", ())), "check holds", "checks hold"),
        (
            len(kinds.get("not determined", ())),
            "is not determined, today either",
            "are not determined, today either",
        ),
    )
    sentence = "; ".join(count(number, one, many) for number, one, many in counts if number)
    yield from wrap(f"{sentence}." if sentence else "")
