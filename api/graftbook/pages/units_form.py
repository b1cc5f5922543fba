"""The form at the foot of every page: how measures, dates and numbers are written."""

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import LONGEST_OF_ANYBODY, form_of, require_own_page
from graftbook.access.session_endpoints import local_path
from graftbook.pages.frame import gone_to
from graftbook.pages.problems import pages_router
from graftbook.pages.reader import keep

router = pages_router()


@router.post("/units")
async def choose(request: Request) -> Response:
    """Keep the choice and go back to the page. It takes no key: nothing but that browser's cookie changes."""
    require_own_page(request, told=False)
    form = await form_of(request, LONGEST_OF_ANYBODY)
    answer = gone_to(local_path(form.get("next", "")))
    keep(answer, form.get("units", ""), form.get("country", ""))
    return answer
