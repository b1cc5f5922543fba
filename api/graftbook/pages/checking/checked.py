"""What a page says of a list: each entry settled or left out, the answer, what would complete the set."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from graftbook.catalogue.format.names import as_typed
from graftbook.http.fields import LONGEST_WORD
from graftbook.pages.answer.answer import check_groups, flaw_groups
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.checking.typed_list import Entry
from graftbook.problems import InvalidRequest, Problem, UnknownPosition
from graftbook.process.state import Service
from graftbook.questions.checks.service import Wrong, check, near_cut
from graftbook.questions.closures.compared_schemas import CheckOut
from graftbook.questions.closures.schemas import ChangeOut, LooseOut
from graftbook.questions.closures.service import document_of
from graftbook.questions.names import member
from graftbook.questions.schemas import CheckIn

LONGEST_ADDRESS = 6_000
"""A list that makes a longer address is answered without one: mail and chat cut long addresses."""


_ASKED_ALIKE = ("vehicle", "wishes", "limits", "preference", "specification", "rules", "as_of")
"""Fields that a closure's body and a check's have in common and an address can say."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """An entry that is left out, why, and what could stand instead of the `wrong` part of its line."""

    line: int
    text: str
    why: str
    wrong: str = ""
    instead: tuple[str, ...] = ()


Sources = dict[str, tuple[Entry, int]]
"""JSON pointer → the entry behind it, and how many of its pieces have a place already."""


def checked_facts(
    service: Service, question: PageQuestion, entries: Sequence[Entry]
) -> tuple[dict[str, Any], list[Mistake]]:
    """What the page says of the list, and the entries that it had to leave out."""
    body, sources = body_of(question, entries)
    wrong: Wrong = {}
    answering = check(service, body, wrong)
    has_place, mistakes = dict[int, int](), list[Mistake]()
    for pointer, (entry, placed) in sources.items():
        if pointer in wrong and id(entry) not in has_place:
            mistakes.append(_mistake(entry, placed, wrong[pointer]))
            has_place[id(entry)] = placed
    kept = [replace(entry, count=has_place.get(id(entry), entry.count)) for entry in entries]
    kept = [entry for entry in kept if entry.count]
    if not kept:
        return {"near_cut": near_cut(wrong)}, mistakes
    facts = _shown(service, question, kept, document_of(service, answering))
    return facts | {"near_cut": near_cut(wrong)}, mistakes


def body_of(question: PageQuestion, entries: Iterable[Entry]) -> tuple[CheckIn, Sources]:
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


def _mistake(entry: Entry, placed: int, problem: Problem) -> Mistake:
    if placed:
        has = "has" if placed == 1 else "have"
        return Mistake(entry.line, entry.text, f"only {placed} of {entry.count} {has} a place here")
    if places := problem.fields.get("positions", ()):
        here = tuple(f"{entry.number} @ {name}" for name in places)
        why = f"{entry.number} fits several positions; say which"
        return Mistake(entry.line, entry.text, why, entry.number, here)
    wrong = entry.position if isinstance(problem, UnknownPosition) else entry.number
    why = problem.detail.partition("; did you mean")[0]
    return Mistake(entry.line, entry.text, why, wrong, problem.near)


def _shown(
    service: Service, question: PageQuestion, entries: Sequence[Entry], document: CheckOut
) -> dict[str, Any]:
    """The document, with what the page says of it: titles, groups, what would complete the set."""
    book = service.books.book(document["vehicle"]["variant"])
    closure = document["completed"]
    completed = closure["set"] if closure else None
    own = {as_typed(entry.number) for entry in entries}
    brought: list[ChangeOut | LooseOut]
    brought = [*completed["changes"], *completed["loose_parts"]] if completed else []
    added = [new for new in brought if not new["component"] or as_typed(new["component"]) not in own]
    gone_or_new = [*document["flaws_gone"], *document["flaws_brought"]]
    return {
        "document": document,
        "pieces_listed": sum(entry.count for entry in entries),
        "titles": {name: position.title for name, position in book.positions.items()},
        "flaws": flaw_groups(document, completed["changes"] if completed else gone_or_new),
        "checks": check_groups(document["checks"]),
        "completed": completed,
        "added": added,
        "met_by": met_by(added),
        "complete_address": complete_address(question, entries),
    }


def met_by(added: Iterable[ChangeOut | LooseOut]) -> dict[str, list[str]]:
    """Rule → the numbers that the whole set adds because of it."""
    found: dict[str, list[str]] = {}
    for change in added:
        for because in (change["because"], *change["also_needed_by"]):
            numbers = found.setdefault(because["name"], [])
            if change["component"] and change["component"] not in numbers:
                numbers.append(change["component"])
    return {name: numbers for name, numbers in found.items() if numbers}


def complete_address(question: PageQuestion, entries: Iterable[Entry]) -> str | None:
    """The address that asks for the whole set around the list; None when the list is too long for one."""
    asked = question.without("as_of")
    for entry in entries:
        if not entry.number:
            asked = asked.adding("clear", entry.position)
        else:
            place = f"@{entry.position}" if entry.position else ""
            asked = asked.adding("fit", entry.number + place)
    words = asked.values("fit") + asked.values("clear")
    address = asked.address()
    too_long = any(len(word) > LONGEST_WORD for word in words) or len(address) > LONGEST_ADDRESS
    return None if too_long else address
