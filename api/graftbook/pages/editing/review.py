"""Proposed changes: which wait, what each would do, and what was decided."""

from typing import Annotated

from fastapi import Path, Query, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import Editor, MayRead, Orderer, form_of, session_of
from graftbook.access.principal import Principal
from graftbook.editing.effect import Effect
from graftbook.editing.review import service as review
from graftbook.editing.review.schemas import LONGEST_WHY
from graftbook.editing.review.tables import OPEN
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.editing.changes import change_shown
from graftbook.pages.editing.edit import what_is_wrong_with
from graftbook.pages.editing.effects import looked_at
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.problems import Problem
from graftbook.process.background import BackgroundJob
from graftbook.process.state import Service, ServiceDep

router = pages_router()

MOST_SHOWN = 100
TICKED = "proposal-"
Number = Annotated[int, Path(ge=1, le=2_000_000_000)]
Done = Annotated[str, Query(pattern=r"^(proposed|refused|withdrawn|accepted as revision \d{1,10})?$")]
"""What the page before did."""


@router.get("/review", dependencies=[MayRead])
def proposals(
    request: Request,
    service: ServiceDep,
    show: Annotated[str, Query(max_length=20)] = "",
    before: Annotated[int | None, Query(ge=1, le=2_000_000_000)] = None,
    done: Done = "",
) -> Response:
    """Those that wait to be decided, or all of them."""
    return _list_page(request, service, show, before, done=done)


def _list_page(
    request: Request,
    service: Service,
    show: str = "",
    before: int | None = None,
    *,
    done: str = "",
    wrong: str = "",
    ticked: frozenset[int] = frozenset(),
    reason: str = "",
) -> Response:
    states = [] if show == "all" else [OPEN]
    found = review.proposals(service, before, MOST_SHOWN + 1, states)
    further = len(found) > MOST_SHOWN
    return page(
        request,
        "review.html",
        status=409 if wrong else 200,
        headers=KEEP_NOTHING,
        proposals=found[:MOST_SHOWN],
        following=f"/review?show={show}&before={found[MOST_SHOWN - 1]['number']}" if further else "",
        show=show,
        done=done,
        wrong=wrong,
        ticked=ticked,
        reason=reason,
    )


@router.post("/review")
async def decide_some(request: Request, service: ServiceDep, editor: Editor) -> Response:
    """Those that were ticked are accepted or refused, all of them or none."""
    form = await form_of(request)
    ticked = [int(name.removeprefix(TICKED)) for name in form if name.removeprefix(TICKED).isdecimal()]
    return await run_in_threadpool(_decided_some, request, service, ticked, form, editor)


def _decided_some(
    request: Request, service: Service, ticked: list[int], form: dict[str, str], by: Principal
) -> Response:
    reason = form.get("reason", "").strip()
    wrong = "" if ticked else "Tick at least one."
    wrong = wrong or what_is_wrong_with(reason)
    if not wrong:
        try:
            return gone_to(f"/review?done={_decide(service, ticked, form.get('do', ''), reason, by)}")
        except Problem as problem:
            wrong = _problem_sentence(problem)
    return _list_page(request, service, wrong=wrong, ticked=frozenset(ticked), reason=reason[:LONGEST_WHY])


def _problem_sentence(problem: Problem) -> str:
    """A problem as a whole sentence, since another follows it."""
    return f"{(problem.detail or problem.title).rstrip('.')}."


def _decide(service: Service, numbers: list[int], do: str, reason: str, by: Principal) -> str:
    """What was done, as the next page says it."""
    if do == "accept":
        return f"accepted as revision {review.accept(service, numbers, reason, by)['catalogue_revision']}"
    review.refuse(service, numbers, reason, by)
    return "refused"


@router.get("/review/{number}", dependencies=[MayRead])
def proposal(request: Request, number: Number, service: ServiceDep, done: Done = "") -> Response:
    """One proposal: each record before and after."""
    return _page(request, service, number, done=done)


@router.post("/review/{number}")
async def decide(request: Request, number: Number, service: ServiceDep, editor: Editor) -> Response:
    """Its effect is shown, or it is accepted or refused."""
    form = await form_of(request)
    return await run_in_threadpool(_decide_on, request, service, number, form, editor)


def _decide_on(
    request: Request, service: Service, number: int, form: dict[str, str], by: Principal
) -> Response:
    do, reason = form.get("do", "effect"), form.get("reason", "").strip()
    try:
        if do == "effect":
            look, report = review.look_at_effect(service, number)
            effect, job = looked_at(request, look, f"proposal {number}")
            return _page(
                request, service, number, reason=reason, effect=effect, job=job, changed=report.changed
            )
        if wrong := what_is_wrong_with(reason):
            return _page(request, service, number, wrong=wrong, reason=reason)
        return gone_to(f"/review/{number}?done={_decide(service, [number], do, reason, by)}")
    except Problem as problem:
        return _page(request, service, number, wrong=_problem_sentence(problem), reason=reason)


@router.post("/review/{number}/withdraw")
async def withdraw(request: Request, number: Number, service: ServiceDep, orderer: Orderer) -> Response:
    """Taken back by who proposed it."""
    form = await form_of(request)
    reason = form.get("reason", "").strip()[:LONGEST_WHY] or "withdrawn"
    await run_in_threadpool(review.withdraw, service, number, reason, orderer)
    return gone_to(f"/review/{number}?done=withdrawn")


def _page(
    request: Request,
    service: Service,
    number: int,
    *,
    done: str = "",
    wrong: str = "",
    reason: str = "",
    effect: Effect | None = None,
    job: BackgroundJob | None = None,
    changed: int = 0,
) -> Response:
    found = review.proposal(service, number)
    session = session_of(request)
    return page(
        request,
        "review_proposal.html",
        own=session is not None and session.principal.who == found["proposed_by"],
        reviewed=service.settings.review == review.ON,
        status=422 if wrong else 200,
        headers=KEEP_NOTHING,
        proposal=found,
        changes=[change_shown(one) for one in found["changes"]],
        done=done,
        wrong=wrong,
        reason=reason[:LONGEST_WHY],
        effect=effect,
        job=job,
        changed=changed,
    )
