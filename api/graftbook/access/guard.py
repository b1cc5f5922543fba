"""What every route says of itself: MayRead, MayOrder, MayEdit or MayAdminister.

`dependencies=[MayEdit]` guards a route; a parameter `editor: Editor` gives it the principal too, which is
also `request.state.principal`. With reading open, MayRead lets anybody in and costs a look at two
headers. No session of the database is held while the route runs.

`AuditTrail`, round all routes: every request that was let in to change something leaves a row.
"""

import logging
from typing import Annotated
from urllib.parse import parse_qs

from fastapi import Request, Security
from fastapi.concurrency import run_in_threadpool
from fastapi.openapi.models import HTTPBearer
from fastapi.security.base import SecurityBase
from sqlalchemy.exc import SQLAlchemyError
from starlette.datastructures import FormData
from starlette.types import ASGIApp, Message, Receive, Send
from starlette.types import Scope as Connection

from graftbook.access import sessions
from graftbook.access.authenticator import NO_KEY, Authenticator
from graftbook.access.keys import presented
from graftbook.access.principal import Caller, Principal
from graftbook.access.scopes import Scope
from graftbook.access.service import moment
from graftbook.database import writing
from graftbook.http.responses import media_type_of
from graftbook.problems import ForeignName, KeyNeeded, Problem, ScopeNeeded, TooLarge
from graftbook.process.commits import CommitMark
from graftbook.settings import Settings, on_this_machine

SCHEME = "key"
State = dict[str, Principal]
CHANGES_NOTHING = ("GET", "HEAD", "OPTIONS")
FORM = "application/x-www-form-urlencoded"
UPLOAD = "multipart/form-data"
LONGEST_PART = 1_000_000
MOST_PARTS = 20
LONGEST_FORM = 500_000
LONGEST_OF_ANYBODY = 100_000
"""Bytes of a form of who is signed in, and of who need not be."""
MOST_FIELDS = 20_000
"""The delivery of a list has four fields a line."""


class NeedsScope(SecurityBase):
    """Lets in whoever may do what the scope says. Raises KeyNeeded, ScopeNeeded, SlowDown, ForgedRequest,
    ForeignName."""

    def __init__(self, scope: Scope) -> None:
        self.scope = scope
        self.scheme_name = SCHEME
        self.model = HTTPBearer(
            bearerFormat="graftbook_<id>_<secret>",
            description="A key as `graftbook keys create` shows it once.",
        )

    async def __call__(self, request: Request) -> Principal | None:
        settings: Settings = request.app.state.service.settings
        free = self.scope is Scope.READ and settings.reading == "open"
        if free and not _sends_key(request):
            _require_own_name(request, settings)
            return None
        try:
            principal = await _principal_of(request)
            if not principal.scope.includes(self.scope):
                raise ScopeNeeded(
                    f"This takes a key that may {self.scope}; yours may {principal.scope}",
                    scope=self.scope.value,
                )
            if principal.by_cookie and self.scope is not Scope.READ:
                await _require_no_forgery(request)
        except Problem as refusal:
            what = f"{what_of(request)}: {refusal.answer_status}"
            authenticator_of(request).refused(caller_of(request), what)
            request.state.recorded = True
            raise
        if self.scope is not Scope.READ and request.method not in CHANGES_NOTHING:
            request.state.to_record = True
        return principal


MayRead = Security(NeedsScope(Scope.READ), scopes=[Scope.READ.value])
MayOrder = Security(NeedsScope(Scope.ORDER), scopes=[Scope.ORDER.value])
MayEdit = Security(NeedsScope(Scope.EDIT), scopes=[Scope.EDIT.value])
MayAdminister = Security(NeedsScope(Scope.ADMINISTER), scopes=[Scope.ADMINISTER.value])

Orderer = Annotated[Principal, MayOrder]
Editor = Annotated[Principal, MayEdit]
Administrator = Annotated[Principal, MayAdminister]


def authenticator_of(request: Request) -> Authenticator:
    """The authenticator of the application that answers."""
    found: Authenticator = request.app.state.authenticator
    return found


def session_of(request: Request) -> sessions.PageSession | None:
    """The page session of the request's cookie; None without one. Reads the database once a request."""
    state = request.state
    if not hasattr(state, "page_session"):
        secret = request.cookies.get(sessions.COOKIE, "")
        state.page_session = sessions.open_session(authenticator_of(request), secret) if secret else None
    found: sessions.PageSession | None = state.page_session
    return found


def caller_of(request: Request) -> Caller:
    """Where the request comes from, for the trail."""
    principal: Principal | None = getattr(request.state, "principal", None)
    return Caller(
        who=principal.who if principal else "",
        key=principal.key if principal else getattr(request.state, "key_named", None),
        request=getattr(request.state, "request_id", ""),
        client=request.client.host if request.client else "",
    )


def what_of(request: Request) -> str:
    """Method and path, for the trail. The query is left out: anything may stand in it."""
    return f"{request.method} {request.scope['path'][:150]}"


async def form_of(request: Request, longest: int = LONGEST_FORM) -> dict[str, str]:
    """The fields of a form, each once; empty unless the request is a form. Raises TooLarge."""
    if media_type_of(request) != FORM:
        return {}
    length = request.headers.get("content-length", "")
    if not length and "transfer-encoding" not in request.headers:
        return {}
    if not length.isdecimal() or int(length[:20]) > longest:
        raise TooLarge(f"A form says how long it is, and has at most {longest:,} bytes")
    sent = await request.body()
    if sent.count(b"&") >= MOST_FIELDS:
        raise TooLarge(f"A form has at most {MOST_FIELDS:,} fields; over the API more can be sent")
    try:
        fields = parse_qs(sent.decode(), keep_blank_values=True)
    except ValueError:
        return {}
    # Nobody can type U+0000, and a database refuses it.
    return {name: values[0].replace("\0", "") for name, values in fields.items()}


def sends_upload(request: Request) -> bool:
    """Whether the request is a form that may hold a file."""
    return media_type_of(request) == UPLOAD


async def upload_of(request: Request) -> FormData:
    """A form that may hold a file (RFC 7578); read once, however often it is asked for. Whoever asks closes
    the request in the end."""
    return await request.form(max_files=1, max_fields=MOST_PARTS, max_part_size=LONGEST_PART)


async def _token_in_form(request: Request) -> str:
    if not sends_upload(request):
        return (await form_of(request)).get(sessions.FORM_FIELD, "")
    part = (await upload_of(request)).get(sessions.FORM_FIELD)
    return part if isinstance(part, str) else ""


async def _principal_of(request: Request) -> Principal:
    """The principal of the request's key, else of its cookie; looked up once a request."""
    known: Principal | None = getattr(request.state, "principal", None)
    if known is None:
        known = await (_by_key(request) if _sends_key(request) else _by_cookie(request))
        request.state.principal = known
    return known


def _sends_key(request: Request) -> bool:
    """Another scheme may be meant for a proxy before us."""
    return request.headers.get("authorization", "")[:7].lower() == "bearer "


async def _by_key(request: Request) -> Principal:
    sent = presented(request.headers["authorization"][7:].strip())
    if sent:
        request.state.key_named = sent.id
    return await run_in_threadpool(authenticator_of(request).authenticate, sent, caller_of(request))


async def _by_cookie(request: Request) -> Principal:
    if sessions.COOKIE not in request.cookies:
        raise KeyNeeded(NO_KEY)
    found = await run_in_threadpool(session_of, request)
    if found is None:
        raise KeyNeeded(NO_KEY)
    return found.principal


async def _require_no_forgery(request: Request) -> None:
    """A browser sends its cookie with whatever any page asks for: a change must come from our own."""
    if request.method in CHANGES_NOTHING:
        return
    require_own_page(request)
    page_session = session_of(request)
    token = request.headers.get(sessions.FORM_HEADER)
    if token is None:
        token = await _token_in_form(request)
    if page_session is not None:
        try:
            sessions.require_form_token(page_session, token)
        except Problem:
            await request.close()
            raise


def require_own_page(request: Request, *, told: bool = True) -> None:
    """Raises ForgedRequest unless the browser says that a page of this service sent the request."""
    headers = request.headers
    sessions.require_same_site(
        headers.get("sec-fetch-site", ""), headers.get("origin", ""), headers.get("host", ""), told=told
    )


def _require_own_name(request: Request, settings: Settings) -> None:
    """Refuse a page that reaches this machine under a name of its own (DNS rebinding), and a listener
    that the settings know nothing of. Raises ForeignName."""
    if not _own_name(settings, request.headers.get("host", "")):
        raise ForeignName("Ask under the name localhost or 127.0.0.1, or add this one to GRAFTBOOK_NAMES")
    if not _own_listener(settings, request.scope):
        raise ForeignName("The service listens beyond this machine: say so with GRAFTBOOK_HOST")


def _own_name(settings: Settings, host: str) -> bool:
    return settings.answers_as(_host_name(host))


def _own_listener(settings: Settings, scope: Connection) -> bool:
    server = scope.get("server")
    return not (settings.here_only and server and server[1] and not on_this_machine(server[0]))


def known_reader(
    settings: Settings, authenticator: Authenticator, scope: Connection, now: CommitMark | None
) -> State | None:
    """What MayRead would find, without asking the database: what the request's state then holds of who asks,
    nothing where anybody may read. None when the database must be asked, or the request is refused."""
    sent, host, cookie = None, b"", b""
    for name, value in scope["headers"]:
        if name == b"authorization":
            sent = value if sent is None else sent  # of several the first counts
        elif name == b"host":
            host = value
        elif name == b"cookie":
            cookie += b";" + value
    if sent is not None and sent[:7].lower() == b"bearer ":
        client = scope.get("client")
        principal = authenticator.known_by_key(sent[7:].strip(), client[0] if client else "", now)
    elif settings.reading == "open":
        own = _own_name(settings, host.decode("latin-1")) and _own_listener(settings, scope)
        return {} if own else None
    else:
        principal = sessions.known_by_cookie(authenticator, cookie, now)
    return None if principal is None else {"principal": principal}


def _host_name(host: str) -> str:
    """`[::1]:8000` as `::1`, `localhost:8000` as `localhost`."""
    if host.startswith("["):
        return host[1:].partition("]")[0]
    return host.partition(":")[0]


_LOG = logging.getLogger("graftbook")


class AuditTrail:
    """Writes the row before the answer leaves. A trail that cannot be written does not undo what was done:
    the log says so, and the history of the catalogue has its own record in the same transaction."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Connection, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return

        async def send_recorded(message: Message) -> None:
            if message["type"] == "http.response.start":
                await self._record(scope, "done" if message["status"] < 400 else "failed")
            await send(message)

        try:
            await self.app(scope, receive, send_recorded)
        except Exception:
            await self._record(scope, "failed")
            raise

    async def _record(self, scope: Connection, outcome: str) -> None:
        state = scope.get("state", {})
        if state.get("to_record") and not state.get("recorded"):
            state["recorded"] = True
            await run_in_threadpool(_write, Request(scope), outcome)


def _write(request: Request, outcome: str) -> None:
    row = caller_of(request).event(moment(), what_of(request), outcome)
    try:
        with writing(authenticator_of(request).engine) as session:
            session.add(row)
    except SQLAlchemyError as error:
        _LOG.error("request %s is not in the trail: %s", row.request, type(error).__name__)
