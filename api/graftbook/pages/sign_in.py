"""The page on which one signs in. The form is taken by `graftbook.access.session_endpoints`."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from graftbook.access.session_endpoints import local_path
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router

router = pages_router()


@router.get("/signin")
def sign_in_page(
    request: Request, following: Annotated[str, Query(alias="next", max_length=2000)] = ""
) -> Response:
    """A form that takes a key."""
    return page(request, "signin.html", following=local_path(following), refused="")
