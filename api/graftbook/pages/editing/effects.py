"""The effect of an edit as it is finished in the background: how far it is, and stopping it."""

from copy import deepcopy
from typing import Annotated

from fastapi import Path, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from graftbook.access.guard import Editor, MayEdit, session_of
from graftbook.access.keys import digest_of
from graftbook.access.principal import Principal
from graftbook.editing.effect import Effect, EffectLook
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.frame import gone_to, page
from graftbook.pages.problems import pages_router
from graftbook.process.background import BackgroundJob, JobState
from graftbook.process.state import Service, ServiceDep

router = pages_router()

Name = Annotated[str, Path(max_length=40, pattern=r"^[\w-]+$")]
SECONDS_TO_REFRESH = 3
"""Between two looks of a page that shows a job at work."""


def looked_at(request: Request, look: EffectLook, about: str) -> tuple[Effect, BackgroundJob | None]:
    """The effect as far as it is known now, and the job that goes on with the rest."""
    effect = look.compare()
    effect.about = about
    return effect, look.finish(_owner(request, request.state.principal), deepcopy(effect))


def _owner(request: Request, principal: Principal) -> str:
    """A job is shown to the browser that began it, or to the key where there is no browser."""
    session = session_of(request)
    return digest_of(session.secret) if session else principal.key


@router.get("/edit/effect/{name}", dependencies=[MayEdit])
def progress(request: Request, name: Name, service: ServiceDep) -> Response:
    """How far a look at an effect is, and what it found so far. It looks again by itself."""
    job = service.background.find(name, _owner(request, request.state.principal))
    if job is None:
        return page(request, "effect.html", status=404, headers=KEEP_NOTHING, name=name, job=None)
    with job.lock:
        found = deepcopy(job.result)
        state = job.state
    return page(
        request,
        "effect.html",
        headers=KEEP_NOTHING,
        name=name,
        job=job,
        found=found,
        state=state.value,
        goes_on=state in (JobState.waiting, JobState.working),
        seconds=SECONDS_TO_REFRESH,
    )


@router.post("/edit/effect/{name}/stop")
async def stop(request: Request, name: Name, service: ServiceDep, editor: Editor) -> Response:
    """Stop looking; what was found stays to be seen."""
    return await run_in_threadpool(_stop, request, service, name, editor)


def _stop(request: Request, service: Service, name: str, editor: Principal) -> Response:
    job = service.background.find(name, _owner(request, editor))
    if job is not None:
        job.stop()
    return gone_to(f"/edit/effect/{name}")
