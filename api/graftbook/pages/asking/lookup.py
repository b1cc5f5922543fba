"""Looking up: components by what one knows of them, and a vehicle with its equipment and flaws."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.format import records as r
from graftbook.catalogue.format.names import words_of
from graftbook.catalogue.search import ComponentFound, ComponentsPage, Search, find
from graftbook.catalogue.store.titles import section_titles, titles
from graftbook.database import reading
from graftbook.http.fields import LONGEST_WORD
from graftbook.http.parameters import takes
from graftbook.pages.asking.ask import vehicle_of
from graftbook.pages.asking.question import question_of, takes_question
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.pages.words import SEVERITIES, paired
from graftbook.problems import InvalidCursor, InvalidRequest, Problem, Unknown
from graftbook.process.state import ServiceDep
from graftbook.questions.lookup.documents import component_line
from graftbook.questions.lookup.schemas import ComponentLineOut

router = pages_router()

FIELDS = ("text", "section", "origin", "supply", "chassis", "variant", "position")
"""What the form and its links ask by; each stands once."""
CHOICES = {
    "origin": ("original", "later-model", "modern"),
    "supply": ("current", "superseded", "no longer supplied"),
}
CURSOR = "cursor"
OPEN = "open"


@router.get("/look-up", dependencies=[MayRead, takes(*FIELDS, CURSOR)])
def look_up(request: Request, service: ServiceDep) -> Response:
    """The form, and the components that meet what the address asks. The cursor names the page."""
    given = request.query_params
    asked = {name: given.get(name, "").strip()[:LONGEST_WORD] for name in FIELDS}
    asked |= {name: asked[name] if asked[name] in words else "" for name, words in CHOICES.items()}
    wrong: Problem | None = None
    found: ComponentsPage | None = None
    with reading(service.engine) as session:
        sections = section_titles(session)
        places = titles(session, r.PositionRecord, [asked["position"]]) if asked["position"] else {}
        if any(asked.values()):
            try:
                found = found_page(session, asked, service.settings.page_size, given.get(CURSOR, ""))
            except (InvalidCursor, InvalidRequest, Unknown) as problem:
                wrong = problem
    kept = {name: value for name, value in asked.items() if value}
    return page(
        request,
        "lookup.html",
        status=wrong.answer_status if wrong else 200,
        asked=asked,
        choices=CHOICES,
        sections=sections,
        places=places,
        wrong=wrong,
        lines=None if found is None else [_line(line, sections) for line in found.lines],
        first=_address(kept) if given.get(CURSOR) else None,
        following=_address({**kept, CURSOR: found.next}) if found and found.next else None,
        without={name: _address({n: v for n, v in kept.items() if n != name}) for name in kept},
        chassis=f"?{urlencode({'chassis': asked['chassis']})}" if asked["chassis"] else "",
    )


def found_page(session: Session, asked: dict[str, str], limit: int, cursor: str) -> ComponentsPage:
    """A page of what is asked. The text is the start of a number, or words when no number starts so.

    Raises what `find` raises, and InvalidRequest for a text without letters and digits.
    """
    text = asked["text"]
    narrowed = Search(
        section=asked["section"],
        origin=asked["origin"],
        supply=asked["supply"],
        chassis=asked["chassis"],
        variant=asked["variant"],
        position=asked["position"],
    )
    if text and not words_of(text):
        raise InvalidRequest("Type letters or digits: a number, or words of a name", pointer="/text")
    by_number = replace(narrowed, number=text)
    if text and not find(session, by_number, limit=1).lines:
        return find(session, replace(narrowed, words=text), limit=limit, cursor=cursor)
    return find(session, by_number, limit=limit, cursor=cursor)


def _line(line: ComponentFound, sections: dict[str, str]) -> ComponentLineOut:
    return {**component_line(line), "section": sections.get(line.section, line.section)}


def _address(fields: Mapping[str, str | None]) -> str:
    return f"/look-up?{urlencode(fields)}" if fields else "/look-up"


@router.get("/vehicle", dependencies=[MayRead, takes_question(OPEN)])
def vehicle(request: Request, service: ServiceDep) -> Response:
    """A vehicle: its plate, and by section what it was built with or has fitted and what is known to go wrong
    with it. The sections are folded, unless the address says that all are open."""
    question = question_of(request.query_params).without("as_of")
    if not (question.value("chassis") or question.value("build")):
        return RedirectResponse("/", 303)
    facts = vehicle_of(service, question)
    sections = [{**section, "counts": _tally(section["flaws"])} for section in facts["sections"]]
    counts = sum((Counter(dict(section["counts"])) for section in sections), Counter[str]())
    return page(
        request,
        "vehicle.html",
        question=question,
        counts=[(word, counts[word]) for word in SEVERITIES if counts[word]],
        chassis=f"?{urlencode({'chassis': facts['vehicle']['chassis']})}",
        opened=request.query_params.get(OPEN) == "all",
        **facts | {"sections": sections},
    )


def _tally(flaws: Iterable[Mapping[str, Any]]) -> list[tuple[str, int]]:
    """How many flaws of each severity, the worst first; what a pair has on both sides counts once."""
    alike = paired(flaws, "symptom", "severity", "remedies")
    counts = Counter(rows[0]["severity"] for rows in alike)
    return [(word, counts[word]) for word in SEVERITIES if counts[word]]
