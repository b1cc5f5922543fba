"""What goes wrong, told on a page to whoever asks with a browser."""

import re
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from starlette.responses import Response

from graftbook.access.guard import CHANGES_NOTHING
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages.asking.mending import QUESTION_PAGES, form_address, meant
from graftbook.pages.asking.question import question_of
from graftbook.pages.frame import page
from graftbook.pages.words import called_field
from graftbook.problems import KeyNeeded, Problem, SlowDown

_FORMS = (
    "/builds", "/check", "/edit", "/orders/", "/pictures", "/report", "/review", "/specifications", "/store",
    "/webhooks",
)  # fmt: skip
_ROOMS = {
    "/edit/flat/": "Flat parts lists",
    "/edit/": "Edit the catalogue",
    "/history/": "What changed in the catalogue",
    "/review/": "Proposed changes",
    "/builds/": "Builds",
    "/specifications/": "Specifications",
    "/orders/": "Orders",
    "/webhooks/": "Webhooks",
}
"""The page that lists what stands under an address, the narrower first."""
_STEP = re.compile(r"(/(?:orders|review|edit/flat|edit/effect)/[^/]+)/[a-z-]+")


def pages_router() -> APIRouter:
    """A router of pages; they are no part of the API's document."""
    return APIRouter(include_in_schema=False)


def wants_page(request: Request) -> bool:
    """Whether a browser asks for something that is no part of the API."""
    accepted = request.headers.get("accept", "")
    return "text/html" in accepted and not request.url.path.startswith("/v1/")


def problem_page(request: Request, problem: Problem) -> Response:
    """A problem in the words of the API, with ways on: near names, what words may mean, the form again."""
    path, question = request.url.path, question_of(request.query_params)
    if path == "/signin" and isinstance(problem, KeyNeeded | SlowDown):
        return _signing_in_again(request, problem)
    asked = path in QUESTION_PAGES
    return page(
        request,
        "problem.html",
        status=problem.answer_status,
        headers={**KEEP_NOTHING, **problem.headers},
        problem=problem,
        errors=[(called_field(one["pointer"]), one["message"]) for one in problem.fields.get("errors", ())],
        meant=meant(request.app.state.service, path, question, problem) if asked else [],
        form=form_address(question, problem) if asked else "",
        question=question,
        back=_page_of_form(request),
        room=next(((start[:-1], words) for start, words in _ROOMS.items() if path.startswith(start)), None),
        retyped=path if asked else "/vehicle",
        request_id=getattr(request.state, "request_id", ""),
    )


def _page_of_form(request: Request) -> str:
    """The page that a form was sent from; empty where none was sent. That of an order has its question in its
    address."""
    path = request.url.path
    if request.method in CHANGES_NOTHING:
        return ""
    if path == "/order" and request.url.query:
        return f"{path}?{request.url.query}"
    if not path.startswith(_FORMS):
        return ""
    step = _STEP.fullmatch(path)
    return quote(step[1] if step else path)


def _signing_in_again(request: Request, problem: KeyNeeded | SlowDown) -> Response:
    """The form once more. Why a key is not usable is not said, so that nobody learns which there are."""
    not_usable = "This key is not usable: look whether it was copied whole. It may also have ended."
    return page(
        request,
        "signin.html",
        status=problem.answer_status,
        headers={**KEEP_NOTHING, **problem.headers},
        following=request.state.following,
        refused=not_usable if isinstance(problem, KeyNeeded) else f"{problem.title}. {problem.detail}.",
    )


def sign_in_address(request: Request) -> str:
    """Where to sign in, and to come back from there."""
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return "/signin?" + urlencode({"next": here})
