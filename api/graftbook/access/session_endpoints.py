"""Signing in to the pages with a key, and out again."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse, Response

from graftbook import problems
from graftbook.access import sessions
from graftbook.access.guard import (
    FORM,
    LONGEST_OF_ANYBODY,
    authenticator_of,
    caller_of,
    form_of,
    require_own_page,
    session_of,
    what_of,
)
from graftbook.access.keys import presented
from graftbook.access.principal import Principal
from graftbook.http.contract.headers import carries
from graftbook.http.errors import documented
from graftbook.http.responses import KEEP_NOTHING
from graftbook.process.state import ServiceDep

router = APIRouter(tags=["access"])

HOME = "/"


def _form(*needed: str, **fields: str) -> dict[str, object]:
    properties = {name: {"type": "string", "description": words} for name, words in fields.items()}
    schema = {"type": "object", "properties": properties, "required": list(needed)}
    return {"requestBody": {"required": bool(needed), "content": {FORM: {"schema": schema}}}}


_REDIRECTS: dict[int | str, dict[str, Any]] = {
    303: {"description": "Go on there", **carries("Location", "Set-Cookie")}
}
_REFUSALS = (problems.ForgedRequest, problems.TooLarge)


@router.post(
    "/signin",
    operation_id="signIn",
    summary="Sign a browser in with a key",
    status_code=303,
    response_class=Response,
    openapi_extra=_form("key", key="the key", next="the page of this service to go on to"),
    responses={
        **_REDIRECTS,
        **documented(problems.KeyNeeded, problems.SlowDown, problems.UnsupportedMedia, *_REFUSALS),
    },
)
async def sign_in(request: Request, service: ServiceDep) -> Response:
    """A form. The answer sets a cookie that lasts twelve hours after its last use, a week at most."""
    require_own_page(request, told=False)
    form = await form_of(request, LONGEST_OF_ANYBODY)
    if not form and not request.headers.get("content-type", "").startswith(FORM):
        raise problems.UnsupportedMedia(f"Send the form as {FORM}")
    request.state.following = following = local_path(form.get("next", ""))
    principal = await run_in_threadpool(_admit, request, form.get("key", "").strip())
    begun = await run_in_threadpool(sessions.begin, service.engine, principal, caller_of(request))
    answer = RedirectResponse(following, 303, KEEP_NOTHING)
    answer.set_cookie(
        sessions.COOKIE,
        begun.secret,
        httponly=True,
        samesite="strict",
        path="/",
        secure=service.settings.secure_cookies or request.url.scheme == "https",
    )
    return answer


@router.post(
    "/signout",
    operation_id="signOut",
    summary="Sign this browser out",
    status_code=303,
    response_class=Response,
    openapi_extra=_form(form_token="the session's token, as its forms carry it"),
    responses={**_REDIRECTS, **documented(*_REFUSALS)},
)
async def sign_out(request: Request, service: ServiceDep) -> Response:
    """Needs the session's form token. Without a session it just goes on."""
    if (page_session := await run_in_threadpool(session_of, request)) is not None:
        require_own_page(request)
        sessions.require_form_token(page_session, (await form_of(request)).get(sessions.FORM_FIELD, ""))
        request.state.principal = page_session.principal
        await run_in_threadpool(sessions.end, service.engine, page_session, caller_of(request))
    answer = RedirectResponse(HOME, 303, KEEP_NOTHING)
    answer.delete_cookie(sessions.COOKIE, path="/", httponly=True, samesite="strict")
    return answer


def local_path(address: str) -> str:
    """The address when it is a path of this service, else home: a link must not lead a browser away."""
    own = address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if own and address.isascii() and address.isprintable() else HOME


def _admit(request: Request, text: str) -> Principal:
    authenticator, sent = authenticator_of(request), presented(text)
    if sent:
        request.state.key_named = sent.id
    try:
        principal = authenticator.authenticate(sent, caller_of(request))
    except problems.Problem as refusal:
        authenticator.refused(caller_of(request), f"{what_of(request)}: {refusal.answer_status}")
        raise
    request.state.principal = principal
    return principal
