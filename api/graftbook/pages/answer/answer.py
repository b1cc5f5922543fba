"""The answer: what changes and why, what it costs, what else could be, or why it cannot be."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from typing import Any, TypedDict
from urllib.parse import urlencode

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.builds.stored.documents import build_document
from graftbook.catalogue.finding.speech import stems
from graftbook.pages.answer import rows
from graftbook.pages.answer.charts import charts_of
from graftbook.pages.answer.drawing import drawing_of, told_of
from graftbook.pages.answer.gives_up import addresses_of_ways
from graftbook.pages.asking.ask import form_facts, vehicle_of
from graftbook.pages.asking.find import is_for_the_search
from graftbook.pages.asking.question import PageQuestion, question_of, takes_question
from graftbook.pages.frame import gone_to, page
from graftbook.pages.measures import Units
from graftbook.pages.problems import pages_router
from graftbook.pages.reader import units_of
from graftbook.pages.words import paired
from graftbook.problems import UnknownChassis, UnknownComponent
from graftbook.process.state import Service, ServiceDep
from graftbook.questions.checks.documents import (
    BY_THE_SET,
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
    RemarksOut,
    SetOut,
    StayingOut,
    TotalsOut,
)
from graftbook.questions.closures.service import closure_document
from graftbook.questions.reading import Asked, present_revision
from graftbook.questions.schemas import WishIn
from graftbook.rulebook.model import Upgrade

router = pages_router()

IN_PLACE, THE_RESULT = "Graftbook-In-Place", "result"
"""Sent by the bench's script, which wants the result alone or `both`, the form with it; no frame around."""
VARIES = {"Vary": f"Cookie, {IN_PLACE}"}


class FindingTold(FindingOut):
    """A finding, what the same check says of today, and those that lack the same figures."""

    today: str
    more: list["FindingTold"]


class FlawTold(FlawNoteOut):
    """A flaw with every position that has it."""

    positions: list[str]


class FlawGroup(TypedDict):
    """Flaws under one title; `alike`: those that differ in their side alone, together."""

    title: str
    style: str
    flaws: list[FlawTold]
    alike: list[list[Mapping[str, Any]]]


class OtherSet(TypedDict):
    """Another good set beside the one that is told: what differs, the address that wishes for it, and the one
    that lays it beside this one."""

    totals: TotalsOut
    confidence: str | None
    differs: list[ChangeOut]
    stays: list[str]
    address: str
    beside: str


@router.get("/answer", dependencies=[MayRead, takes_question("look")])
def answer(request: Request, service: ServiceDep) -> Response:
    """The answer to the address's question. Its address names the revision, so that it stays the same."""
    question = question_of(request.query_params)
    part = request.headers.get(IN_PLACE, "")
    if not question.values("chassis") and not question.values("build"):
        return gone_to(question.of_the_home_page().address("/"))
    look = request.query_params.get("look", "")
    present = present_revision(service)
    beside = {"look": look} if look else {}
    if not question.value("as_of"):
        question = question.adding("as_of", present)
        if not part:
            return gone_to(question.address(more=beside))
    if part == THE_RESULT:
        with suppress(UnknownComponent):  # its words may be those of an upgrade
            facts = _result_facts(request, service, question, look)
            return _in_place(request, facts | {"present": present}, beside)
    try:
        vehicle = vehicle_of(service, question)
    except UnknownChassis:
        alone = {name for name, _ in question.pairs} <= {"chassis", "as_of"}
        if not (alone and is_for_the_search(service, question.value("chassis"))):
            raise
        return gone_to("/find?" + urlencode({"text": question.value("chassis")}))
    if (meant := with_upgrades_meant(question, vehicle["upgrades"])) != question:
        return gone_to(meant.address(more=beside))
    facts = vehicle | _result_facts(request, service, question, look)
    facts |= form_facts(question, facts["sections"], blanks=1) | {"present": present}
    if part:
        return _in_place(request, facts, beside)
    return page(request, "answer.html", headers=VARIES, **facts)


def _result_facts(request: Request, service: Service, question: PageQuestion, look: str) -> dict[str, Any]:
    """What is told of the answer, its drawing and pictures with it."""
    asked, document = closure_document(service, question.body())
    facts = answer_facts(service, question, asked, document, units_of(request))
    if "found" in facts:
        rows.with_pictures(service.engine, facts["groups"])
        facts |= drawn_facts(service, asked, document, facts, look)
    return facts


def _in_place(request: Request, facts: dict[str, Any], beside: dict[str, str]) -> Response:
    """What the bench puts in place of what it shows, under the address that it stands for: the result, with
    the form where that is there."""
    headers = VARIES | {"Content-Location": facts["question"].address(more=beside)}
    # The bench waits for all of it: sent in pieces it would only take longer.
    return page(request, "answer_in_place.html", headers=headers, SEND="", **facts)


def with_upgrades_meant(question: PageQuestion, upgrades: Iterable[Upgrade]) -> PageQuestion:
    """The question with an upgrade wished where its title, or what else it is called, was typed as a part."""
    called = {tuple(stems(other)): u.name for u in upgrades for other in (*u.called, u.title)}
    for typed in question.values("fit"):
        if name := called.get(tuple(stems(typed))):
            question = question.without("fit", typed).adding("upgrade", name)
    return question


def answer_facts(
    service: Service,
    question: PageQuestion,
    asked: Asked,
    document: ClosureOut,
    units: Units,
) -> dict[str, Any]:
    """What the page of an answer speaks of."""
    asked_now = question.without("as_of")
    found = document["set"]
    facts = {
        "question": question,
        "asked_now": asked_now,
        "document": document,
        "vehicle": document["vehicle"],
        "headline": document["sentences"][0],
    }
    if found is None:
        return facts | {
            "groups": [],
            "ways": addresses_of_ways(service, asked_now, document["ways_out"]),
            "contradictions": document["contradictions"],
        }
    checks = document["checks"]
    return facts | {
        "found": found,
        "undecided": _undecided(service, question, asked),
        "groups": rows.grouped(document, found, asked_now),
        "asking": rows.asking(found),
        "ways": [],
        "stays": by_section(document, found["stays"]),
        "flaws": flaw_groups(found, found["changes"]),
        "checks": check_groups(checks) if checks else None,
        "charts": charts_of(asked, found, units),
        "others": other_sets(document["other_sets"], found, asked_now),
        "fewer_others": document["fewer_other_sets"],
        "unconfirmed": found["unconfirmed"],
    }


def _undecided(service: Service, question: PageQuestion, asked: Asked) -> bool:
    """Whether something is wished for a build, as it is today, that is not decided for it."""
    build = question.value("build")
    if not build or question.value("on") or not question.wishes():
        return False
    kept = [WishIn(**wish) for wish in build_document(service.engine, build)["decided"]]
    decided = {wish.name for wish in asked.names.wishes(kept, "/vehicle/build")}
    return any(wish.name not in decided for wish in asked.names.wishes(question.body().wishes, "/wishes"))


def drawn_facts(
    service: Service, asked: Asked, document: ClosureOut, facts: dict[str, Any], look: str
) -> dict[str, Any]:
    """The drawing of the vehicle, and where on the page its marks lead; `look`: the section to look at."""
    flaws = [(group, flaw) for group in facts["flaws"] if group["title"] != "Gone" for flaw in group["flaws"]]
    numbered = {(group["title"], flaw["flaw"]): f"flaw-{n}" for n, (group, flaw) in enumerate(flaws, start=1)}
    flaw_ids = {
        (flaw["flaw"], position): numbered[group["title"], flaw["flaw"]]
        for group, flaw in flaws
        for position in flaw["positions"]
    }
    places = [place["position"] for _, some in facts["stays"] for place in some]
    stay_ids = {position: f"stay-{n}" for n, position in enumerate(places, start=1)}
    marked = told_of(facts["found"], rows.numbered(document), flaw_ids, stay_ids)
    drawing = drawing_of(service, asked.book.variant, marked, look)
    return {"drawing": drawing, "flaw_ids": numbered, "stay_ids": stay_ids}


def by_section(document: ClosureOut, places: Sequence[StayingOut]) -> list[tuple[str, list[StayingOut]]]:
    """Places by the title of their section."""
    found: dict[str, list[StayingOut]] = defaultdict(list)
    for place in places:
        found[place["section"]].append(place)
    titles = document["section_titles"]
    return [(titles.get(section, section), some) for section, some in found.items()]


def flaw_groups(found: RemarksOut, changed: Iterable[ChangeOut | FlawNoteOut]) -> list[FlawGroup]:
    """The flaws gone, brought, left where something is changed, and left elsewhere; each flaw once."""
    touched = {change["section"] for change in changed}
    left = found["flaws_left"]
    groups = (
        ("Gone", "good", found["flaws_gone"]),
        ("Brought along", "bad", found["flaws_brought"]),
        ("Left in the sections that change", "care", [f for f in left if f["section"] in touched]),
        ("Left elsewhere", "open", [f for f in left if f["section"] not in touched]),
    )
    return [_group(title, style, _once(flaws)) for title, style, flaws in groups if flaws]


def _group(title: str, style: str, flaws: list[FlawTold]) -> FlawGroup:
    return {"title": title, "style": style, "flaws": flaws, "alike": paired(flaws, "symptom", "severity")}


def _once(flaws: Sequence[FlawNoteOut]) -> list[FlawTold]:
    first: dict[str, FlawTold] = {}
    for flaw in flaws:
        known = first.setdefault(flaw["flaw"], {**flaw, "positions": []})
        known["positions"].append(flaw["position"])
    return list(first.values())


def check_groups(checks: ChecksOut) -> dict[str, Any]:
    """The findings as the page tells them: what the set makes worse, what was so, what it mends; the rest
    by subject, folded."""
    rest: dict[str, list[FindingOut]] = defaultdict(list)
    for finding in counted_only(checks):
        rest[finding["subject"]].append(finding)
    return {
        "sentence": checks["sentence"],
        "verdict": checks["verdict"],
        "by_the_set": sum(checks["counts"][kind] for kind in BY_THE_SET),
        "groups": [
            {
                **group,
                "count": len(group["findings"]),
                "findings": [_with_more(*one) for one in for_want_of(group["findings"])],
            }
            for group in told_in_full(checks)
        ],
        "cannot_be": cannot_be(checks),
        "holding": checks["counts"]["holds"],
        "not_determined": checks["counts"]["not determined"],
        "rest": [{"subject": subject, "findings": findings} for subject, findings in rest.items()],
    }


def _with_more(finding: FindingOut, others: Sequence[FindingOut] = ()) -> FindingTold:
    return {**finding, "today": of_today(finding), "more": [_with_more(other) for other in others]}


def other_sets(others: Sequence[SetOut], found: SetOut, asked_now: PageQuestion) -> list[OtherSet]:
    """The other good sets beside the one that was found."""
    here = {change["position"]: change["component"] for change in found["changes"]}
    told_sets: list[OtherSet] = []
    for other in others:
        there = {change["position"]: change for change in other["changes"]}
        differs = [change for p, change in there.items() if here.get(p, "") != change["component"]]
        question = asked_now
        for change in differs:
            if change["component"]:
                question = question.adding("fit", f"{change['component']}@{change['position']}")
        told_sets.append(
            {
                "totals": other["totals"],
                "confidence": other["confidence"],
                "differs": differs,
                "stays": [p for p in here if p not in there],
                "address": question.address(),
                "beside": asked_now.beside(question.without("alternatives")),
            }
        )
    return told_sets
