"""What goes wrong, told on a page to whoever asks with a browser."""

from urllib.parse import urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from api.pages.frame import page
from api.problems import Problem
from api.wire.responses import KEEP_NOTHING


def pages_router() -> APIRouter:
    """A router of pages; they are no part of the API's document."""
    return APIRouter(include_in_schema=False)


def wants_page(request: Request) -> bool:
    """Whether a browser asks for something that is no part of the API."""
    accepted = request.headers.get("accept", "")
    return "text/html" in accepted and not request.url.path.startswith("/v1/")


def problem_page(request: Request, problem: Problem) -> Response:
    """A problem in the words of the API, with the near names as links where a number was asked for."""
    return page(
        request,
        "problem.html",
        status=problem.answer_status,
        headers={**KEEP_NOTHING, **problem.headers},
        problem=problem,
        errors=problem.fields.get("errors", ()),
        request_id=getattr(request.state, "request_id", ""),
    )


def sign_in_address(request: Request) -> str:
    """Where to sign in, and to come back from there."""
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return "/signin?" + urlencode({"next": here})
