"""The page on which one signs in. The form is taken by `api.routes.signing`."""

from typing import Annotated

from fastapi import Query, Request
from starlette.responses import Response

from api.pages.frame import page
from api.pages.problems import pages_router
from api.routes.signing import local_path

router = pages_router()


@router.get("/signin")
def sign_in_page(
    request: Request, following: Annotated[str, Query(alias="next", max_length=2000)] = ""
) -> Response:
    """A form that takes a key."""
    return page(request, "signin.html", following=local_path(following), refused="")
