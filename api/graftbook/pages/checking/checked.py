"""What a page says of a list: each entry settled or left out, the verdict, and what there is to do."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from graftbook.http.fields import LONGEST_WORD
from graftbook.pages.answer.answer import check_groups, flaw_groups
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.checking.clashes import Listed, Sources, clashes_of, surplus_of, ways_of
from graftbook.pages.checking.missing import MissingParts, missing_of, needed_by_rules
from graftbook.pages.checking.typed_list import ListEntry
from graftbook.pages.words import counted
from graftbook.problems import InvalidRequest, Problem, UnknownPosition
from graftbook.process.state import Service
from graftbook.questions.checks.service import Proposed, check_what_is_known, near_cut
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.schemas import SetOut
from graftbook.questions.closures.service import document_of
from graftbook.questions.schemas import CheckIn
from graftbook.questions.vehicles.service import member

LONGEST_ADDRESS = 6_000
"""A list that makes a longer address is answered without one: mail and chat cut long addresses."""


_ASKED_ALIKE = ("vehicle", "wishes", "limits", "preference", "specification", "rules", "as_of")
"""Fields that a closure's body and a check's have in common and an address can say."""


@dataclass(frozen=True, slots=True)
class ListMistake:
    """An entry that is left out, why, and what could stand instead of the `wrong` part of its line."""

    line: int
    text: str
    why: str
    wrong: str = ""
    instead: tuple[str, ...] = ()


def checked_facts(
    service: Service, question: PageQuestion, entries: Sequence[ListEntry]
) -> tuple[dict[str, Any], list[ListMistake]]:
    """What the page says of the list, and the entries that it had to leave out."""
    body, sources = body_of(question, entries)
    answering, proposed = check_what_is_known(service, body)
    has_place, mistakes = dict[int, int](), list[ListMistake]()
    for pointer, (entry, placed) in sources.items():
        if pointer in proposed.wrong and id(entry) not in has_place:
            mistakes.append(_mistake(entry, placed, proposed.wrong[pointer]))
            has_place[id(entry)] = placed
    kept = [replace(entry, count=has_place.get(id(entry), entry.count)) for entry in entries]
    near = near_cut(proposed.wrong)
    if not any(entry.count for entry in kept):
        return {"near_cut": near}, mistakes
    document = document_of(service, answering)
    facts = _page_facts(service, question, document, proposed, sources)
    facts |= {"pieces_listed": sum(entry.count for entry in kept), "near_cut": near}
    return facts | {"entries_listed": len(entries)}, mistakes


def body_of(question: PageQuestion, entries: Iterable[ListEntry]) -> tuple[CheckIn, Sources]:
    """The body that checks these, and where each of its pointers comes from. Raises InvalidRequest."""
    asked = question.body()
    components: list[str] = []
    positions: dict[str, str | None] = {}
    sources: Sources = {}
    for entry in entries:
        if entry.position:
            positions[entry.position] = entry.number or None
            sources[f"/positions/{member(entry.position)}"] = (entry, 0)
            continue
        for placed in range(entry.count):
            sources[f"/components/{len(components)}"] = (entry, placed)
            components.append(entry.number)
    if len(components) > 1_000:
        raise InvalidRequest("A list has at most 1,000 pieces in all")
    common = {name: getattr(asked, name) for name in _ASKED_ALIKE}
    return CheckIn(components=components, positions=positions, **common), sources


def _mistake(entry: ListEntry, placed: int, problem: Problem) -> ListMistake:
    if placed:
        has = "has" if placed == 1 else "have"
        return ListMistake(entry.line, entry.text, f"only {placed} of {entry.count} {has} a place here")
    if places := problem.fields.get("positions", ()):
        here = tuple(f"{entry.number} @ {name}" for name in places)
        why = f"{entry.number} fits several positions; say which"
        return ListMistake(entry.line, entry.text, why, entry.number, here)
    wrong = entry.position if isinstance(problem, UnknownPosition) else entry.number
    why = problem.detail.partition("; did you mean")[0]
    return ListMistake(entry.line, entry.text, why, wrong, problem.near)


def _page_facts(
    service: Service, question: PageQuestion, document: CheckOut, proposed: Proposed, sources: Sources
) -> dict[str, Any]:
    """The document, with what the page says of it: what is missing, what clashes, what to do.

    Flaws and claims are those of the whole set where there is one; checks those of the list as it is, so that
    what it does to the vehicle without the missing parts is not hushed up.
    """
    book = service.books.book(document["vehicle"]["variant"])
    closure, missing = document["completed"], missing_of(document, proposed, question)
    whole = closure["set"] if closure else None
    listed = Listed(proposed, sources)
    clashes = clashes_of(document, listed, missing)
    remarks = whole or document
    sections = {book.positions[place].section for place in proposed.sits if place in book.positions}
    known = [*remarks["flaws_gone"], *remarks["flaws_brought"], *remarks["flaws_left"]]
    touched = whole["changes"] if whole else [flaw for flaw in known if flaw["section"] in sections]
    return {
        "document": document,
        "headline": headline(document, missing, len(clashes)),
        "titles": {name: position.title for name, position in book.positions.items()},
        "whole": whole,
        "remarks": remarks,
        "missing": missing,
        "clashes": clashes,
        "names": listed.names,
        "ways": ways_of(document, listed),
        "surplus": surplus_of(document, listed),
        "flaws": flaw_groups(remarks, touched),
        "checks": check_groups(document["checks"]),
        "cautions": list(dict.fromkeys([*document["cautions"], *(closure["cautions"] if closure else ())])),
        "bench_address": bench_address(question, proposed, whole),
    }


def headline(document: CheckOut, missing: MissingParts | None, clashes: int) -> str:
    """The verdict in one sentence, in parts and clashes."""
    if document["complete"]:
        return "Complete: nothing is missing and nothing clashes."
    parts = missing["parts"] if missing else 0
    off = missing["comes_off"] if missing else 0
    limits = len(document["limits_broken"])
    counts = (
        f"{counted(parts, 'part is', 'parts are')} missing" if parts else "",
        counted(clashes, "clash", "clashes") if clashes else "",
        f"{counted(off, 'part has', 'parts have')} to come off" if off else "",
        f"{counted(limits, 'limit is', 'limits are')} broken" if limits else "",
    )
    lacking = "; ".join(filter(None, counts))
    return f"Not complete: {lacking}." if lacking else "Not complete."


def bench_address(question: PageQuestion, proposed: Proposed, whole: SetOut | None) -> str | None:
    """The address that asks for the whole set around the list; None when the list is too long for one.

    Loose parts that the whole set asks for by itself are not wished, or it would have them twice.
    """
    asked = question.without("as_of")
    for position, number in proposed.sits.items():
        if number is None:
            asked = asked.adding("clear", position)
        elif not asked.has("fit", number):
            asked = asked.adding("fit", f"{number}@{position}")
    needed = {p["component"] for p in whole["loose_parts"] if needed_by_rules(p)} if whole else set[str]()
    for number in proposed.loose:
        if number not in needed:
            asked = asked.adding("fit", number)
    words = asked.values("fit") + asked.values("clear")
    address = asked.address()
    too_long = any(len(word) > LONGEST_WORD for word in words) or len(address) > LONGEST_ADDRESS
    return None if too_long else address
