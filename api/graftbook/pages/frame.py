"""How every page is made: the frame round it, who is signed in, the headers that keep it safe."""

import hashlib
from base64 import b64encode
from collections.abc import AsyncIterator, Iterable, Iterator
from functools import lru_cache
from http import HTTPStatus
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup
from starlette.responses import RedirectResponse, Response, StreamingResponse

from graftbook.access.guard import session_of
from graftbook.access.scopes import Scope
from graftbook.access.sessions import FORM_FIELD, PageSession, form_token
from graftbook.database import UNREACHABLE
from graftbook.http.responses import KEEP_NOTHING
from graftbook.pages import country, measures, words
from graftbook.pages.asking.question import PageQuestion
from graftbook.pages.in_hand import chassis_in_hand, take_in_hand
from graftbook.pages.reader import country_of, units_of
from graftbook.process.state import Service

FOLDER = Path(__file__).parent
STATIC = FOLDER / "static"
HTML = "text/html; charset=utf-8"

SEND = "\x1e"
"""Where a template says so, what stands before it is sent while what follows is being written."""

STYLES = {path.stem: path.read_text(encoding="utf-8") for path in sorted((FOLDER / "styles").iterdir())}
"""Style sheets stand in the page: fetched by themselves they cost a third of the time to first content."""


def _digest(text: str) -> str:
    """As a content policy names what may stand in a page (W3C CSP Level 3, 2.3.1)."""
    return f"'sha256-{b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


CONTENT_POLICY = (
    f"default-src 'none'; style-src {' '.join(map(_digest, STYLES.values()))}; script-src 'self'; "
    "img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {"Content-Security-Policy": CONTENT_POLICY, "Vary": "Cookie"}


@lru_cache
def _environment() -> Environment:
    made = Environment(
        loader=FileSystemLoader(FOLDER / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(words.FILTERS | country.FILTERS | measures.FILTERS)
    made.globals.update(words.GLOBALS | country.GLOBALS, style=style, SEND=SEND)
    made.globals.update(UNITS_WORDS=measures.UNITS_WORDS, COUNTRY_WORDS=country.COUNTRY_WORDS)
    return made


def style(name: str) -> Markup:
    """A style sheet as it stands in a page."""
    return Markup(f"<style>{STYLES[name]}</style>")


def gone_to(address: str) -> Response:
    """Sends a browser on; nothing is kept of that it was here."""
    return RedirectResponse(address, 303, KEEP_NOTHING)


@lru_cache
def static_digest() -> str:
    """Stands in the address of a script, so that a browser may keep it for good."""
    digest = hashlib.sha256()
    for path in sorted(STATIC.iterdir()):
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def page(
    request: Request,
    template: str,
    *,
    status: int = 200,
    headers: dict[str, str] | None = None,
    **facts: Any,
) -> Response:
    """A page from a template. `facts` are what the template speaks of."""
    vehicle = facts.get("vehicle")
    chassis = vehicle.get("chassis", "") if isinstance(vehicle, dict) else ""
    in_hand = chassis or chassis_in_hand(request)
    pieces = pieces_of(
        _environment().get_template(template).generate(**_frame(request), in_hand=in_hand, **facts)
    )
    first, more = next(pieces)
    known = {"Cache-Control": "private, no-cache", **HEADERS, **(headers or {})}
    response = (
        StreamingResponse(_one_by_one(first, more, pieces), status, known, HTML)
        if more
        else Response(first, status, known, HTML)
    )
    if status == HTTPStatus.OK and chassis:
        take_in_hand(request, response, chassis)
    return response


def pieces_of(written: Iterable[str]) -> Iterator[tuple[str, bool]]:
    """A page cut where its template says `SEND`; each piece with whether more follows."""
    piece: list[str] = []
    for text in written:
        if text == SEND:
            yield "".join(piece), True
            piece.clear()
        else:
            piece.append(text)
    yield "".join(piece), False


async def _one_by_one(piece: str, more: bool, pieces: Iterator[tuple[str, bool]]) -> AsyncIterator[str]:
    """Each piece before the next one is written."""
    yield piece
    while more:
        piece, more = await run_in_threadpool(next, pieces)
        yield piece


def _session(request: Request) -> PageSession | None:
    """Who is signed in; nobody while the database does not answer, so that a page can say so."""
    try:
        return session_of(request)
    except UNREACHABLE:
        return None


def _frame(request: Request) -> dict[str, Any]:
    """What the frame itself speaks of."""
    service: Service = request.app.state.service
    session = _session(request)
    scope = session.principal.scope if session else None
    return {
        "static": f"/static/{static_digest()}",
        "here": request.url.path,
        "address": str(request.url.path) + (f"?{request.url.query}" if request.url.query else ""),
        "units": units_of(request),
        "country": country_of(request),
        "can_be_asked_again": request.method in ("GET", "HEAD"),
        "signed_in": session.principal.label if session else None,
        "may_order": bool(scope and scope.includes(Scope.ORDER)),
        "may_administer": scope is Scope.ADMINISTER,
        "may_edit": bool(scope and scope.includes(Scope.EDIT)),
        "form_field": FORM_FIELD,
        "form_token": form_token(session) if session else "",
        "currency": service.settings.currency,
        "house_rules": service.settings.rules,
        "sought": request.query_params.get("text", "") if request.url.path == "/find" else "",
        "no_question": PageQuestion(),
    }
