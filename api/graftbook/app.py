"""The application: routers first, then how it starts, how it answers errors, what surrounds it."""

import gc
import logging
import re
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from difflib import get_close_matches
from functools import partial
from importlib.metadata import version
from typing import Any

from anyio.to_thread import current_default_thread_limiter
from fastapi import Depends, FastAPI
from fastapi.concurrency import run_in_threadpool
from fastapi.exceptions import RequestValidationError
from fastapi.routing import iter_route_contexts
from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolTimeout
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from graftbook import database_faults, problems
from graftbook.access import endpoints as keys
from graftbook.access import session_endpoints
from graftbook.access.authenticator import Authenticator
from graftbook.access.endpoints import describe_access
from graftbook.access.guard import LONGEST_FORM, AuditTrail, known_reader, sends_upload
from graftbook.access.service import require_keys_beyond_this_machine
from graftbook.builds import endpoints as builds
from graftbook.builds import specification_endpoints
from graftbook.builds.life import endpoints as build_life
from graftbook.builds.standards import endpoints as standards
from graftbook.closure.search.deadline import OutOfTime
from graftbook.editing.flat import endpoints as flat_lists
from graftbook.editing.flat.rows import LARGEST as LARGEST_FLAT_LIST
from graftbook.editing.imports import endpoints as imports
from graftbook.editing.linting import endpoints as linting
from graftbook.editing.records import endpoints as records
from graftbook.editing.records import listing as record_lists
from graftbook.editing.review import endpoints as review
from graftbook.editing.revisions import endpoints as revisions
from graftbook.events import endpoints as events
from graftbook.events import webhook_endpoints as webhooks
from graftbook.events.delivering import delivered
from graftbook.events.waiting import Waiting
from graftbook.health import endpoints as health
from graftbook.http.compression import Compress
from graftbook.http.errors import problem_from_mistakes
from graftbook.http.middleware import BodyRefused, Cors, Guard, Strict, known_routes
from graftbook.http.openapi import DESCRIPTION, TAGS, complete
from graftbook.http.parameters import known_parameters
from graftbook.http.response_cache import ResponseCache
from graftbook.http.responses import KEEP_NOTHING, problem_answer, read_answer
from graftbook.idempotency.header import response_of
from graftbook.idempotency.service import AnsweredBefore
from graftbook.orders import endpoints as orders
from graftbook.orders.fitting import endpoints as fitting
from graftbook.orders.lists import endpoints as order_lists
from graftbook.orders.stock import endpoints as stock
from graftbook.pages.editing.imports import LARGEST_WORKBOOK_HERE
from graftbook.pages.editing.pictures import PICTURES
from graftbook.pages.problems import problem_page, sign_in_address, wants_page
from graftbook.pages.routers import ROUTERS as PAGES
from graftbook.pictures import endpoints as pictures
from graftbook.pictures.image import LARGEST_FILE
from graftbook.process.commits import CommitWatch
from graftbook.process.draining import drain_before_the_end
from graftbook.process.service import THREADS, NotInTime, Service, make_service
from graftbook.process.state import Readings
from graftbook.process.warm import warm_up
from graftbook.questions.checks import endpoints as checks
from graftbook.questions.closures import endpoints as closures
from graftbook.questions.compatibility import endpoints as compatibility
from graftbook.questions.finding import endpoints as finding
from graftbook.questions.lookup import endpoints as lookups
from graftbook.questions.measuring import endpoints as measuring
from graftbook.questions.vehicles import endpoints as vehicles
from graftbook.reports import endpoints as reports
from graftbook.rulebook.scope import ScopeTooLarge
from graftbook.settings import Settings
from graftbook.telemetry import tracing


def allowed_methods(app: FastAPI, path: str) -> str:
    """Every method of every route at this address, HEAD where there is GET, OPTIONS everywhere."""
    methods = {method for pattern, taken, _ in known_routes(app) if pattern.match(path) for method in taken}
    if "GET" in methods:
        methods.add("HEAD")
    return ", ".join(sorted(methods | {"OPTIONS"}))


_LOG = logging.getLogger("graftbook")

ROUTERS = (
    *PAGES,
    health.router,
    closures.router,
    checks.router,
    compatibility.router,
    orders.router,
    order_lists.router,
    stock.router,
    fitting.router,
    vehicles.router,
    lookups.router,
    finding.router,
    measuring.router,
    builds.router,
    build_life.router,
    specification_endpoints.router,
    standards.router,
    imports.router,
    record_lists.router,
    flat_lists.router,
    records.router,
    revisions.router,
    review.router,
    events.router,
    webhooks.router,
    reports.router,
    pictures.router,
    linting.router,
    keys.router,
    session_endpoints.router,
)


_NO_TELEMETRY: Any = {"tracing": False, "metrics": False, "logs": False, "auto_configure": False}
"""The framework's own would send the words of exceptions, which may hold what was sent."""


class _Application(FastAPI):
    def openapi(self) -> dict[str, Any]:
        return complete(self, describe_access)


def openapi_document(request: Request) -> Response:
    """What the API answers, in words for programs."""
    return read_answer(request, request.app.openapi())


def create_app(settings: Settings | None = None) -> FastAPI:
    """The service, ready to be served; the database is touched when it starts."""
    settings = settings or Settings()
    app = _Application(
        title="Graftbook",
        version=version("graftbook"),
        description=DESCRIPTION,
        openapi_tags=TAGS,
        openapi_url=None,  # our own, with an ETag
        docs_url=None,
        redoc_url=None,
        redirect_slashes=False,
        telemetry=_NO_TELEMETRY,
        lifespan=_lifespan,
        dependencies=[Depends(known_parameters)],
    )
    app.state.service = make_service(settings)
    commits = CommitWatch(app.state.service.engine)
    authenticator = app.state.authenticator = Authenticator(app.state.service.engine, commits)
    app.state.readings = Readings(app.state.service)
    app.state.waiting = Waiting(app.state.service.engine, commits)
    app.state.service.before_closing += [authenticator.close, commits.close]
    app.get("/openapi.json", include_in_schema=False)(openapi_document)
    for router in ROUTERS:
        app.include_router(router)
    _answer_errors(app)
    app.add_middleware(AuditTrail)
    answers = app.state.service.answers
    app.add_middleware(Compress, answers=answers)
    app.add_middleware(
        ResponseCache,
        commits=commits,
        answers=answers,
        known_reader=partial(known_reader, settings, authenticator),
    )
    app.add_middleware(Strict)
    app.add_middleware(
        Guard,
        limits={
            "/v1/imports": settings.largest_import,
            "/v1/flat-lists": LARGEST_FLAT_LIST,
            "/edit/flat": LARGEST_FLAT_LIST + LONGEST_FORM,
            "/v1/pictures": LARGEST_FILE,
            PICTURES: LARGEST_FILE + LONGEST_FORM,
            "/edit/import": LARGEST_WORKBOOK_HERE + settings.largest_body,
            "": settings.largest_body,
        },
        afterwards=app.state.readings.now_and_then,
    )
    if settings.origins:
        app.add_middleware(Cors, origins=settings.origins)
    return app


BETWEEN_TWO_LOOKS = (5_000, 20, 50)
"""Objects until the collector looks at the new ones; looks until it takes those that stayed in, and all.
A rule book is 17,000, and each that was compiled made it walk all that there is, once or twice. Much more
seldom is no better: a book and its index hold each other, so that what is let go waits for it, and with 1.8
million objects waiting one walk stood still for 3 s."""
SECONDS_AT_A_STRETCH = 0.0005
"""So long a thread that reckons keeps the interpreter from one that got its answer: each statement of an
edit waits for it, with the writers' lock held."""


def served_app() -> FastAPI:
    """The same for `serve`, whose process does nothing else: what would hold everybody up is done before.

    The framework reads the routes when the first is looked for, on the event loop: 0.5 s of the processor.
    And the program is 360,000 objects: each time that the collector walked them every thread stood still for
    0.2 s, on a busy machine for several times that, with the writers' lock held or not. So it walks what
    came since, rule books mostly, seldom; and who waited for the database goes on before who reckons.
    """
    app = create_app()
    for _ in iter_route_contexts(app.routes):
        pass
    collect_seldom()
    sys.setswitchinterval(SECONDS_AT_A_STRETCH)
    return app


def collect_seldom() -> None:
    """Let the collector leave alone what is there now, and look at what comes after it seldom."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(*BETWEEN_TWO_LOOKS)


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    service: Service = app.state.service
    current_default_thread_limiter().total_tokens = THREADS
    await run_in_threadpool(warm_up, service)
    await run_in_threadpool(require_keys_beyond_this_machine, service.settings, service.engine)
    tracing.start(service.settings.traces_to)
    take_back = drain_before_the_end(service.settings.drain_seconds)
    async with delivered(service, app.state.waiting):
        yield
    take_back()
    await run_in_threadpool(tracing.stop)
    await run_in_threadpool(service.close)


def _answer_errors(app: FastAPI) -> None:
    @app.exception_handler(problems.Problem)
    def known(request: Request, problem: problems.Problem) -> Response:
        return _problem_response(request, problem.kept())

    @app.exception_handler(ScopeTooLarge)
    def entangled(request: Request, _: ScopeTooLarge) -> Response:
        return _problem_response(request, problems.TooEntangled("Ask for less at once"))

    @app.exception_handler(OutOfTime)
    def late(request: Request, _: OutOfTime) -> Response:
        return _problem_response(request, NotInTime("Ask for less at once, or for a longer deadline"))

    @app.exception_handler(RequestValidationError)
    def invalid(request: Request, error: RequestValidationError) -> Response:
        return _problem_response(request, problem_from_mistakes(error.errors()))

    @app.exception_handler(HTTPException)
    def framework(request: Request, error: HTTPException) -> Response:
        if error.status_code == 405:
            return _other_method(request)
        problem = error.problem if isinstance(error, BodyRefused) else _from_framework(request, error)
        answer = _problem_response(request, problem)
        for name, value in (error.headers or {}).items():
            answer.headers[name] = value
        return answer

    @app.exception_handler(AnsweredBefore)
    def answered_before(_request: Request, before: AnsweredBefore) -> Response:
        return response_of(before.answer, again=True)

    def no_database(request: Request, error: Exception) -> Response:
        if (words := database_faults.in_words(error)) is None:
            raise error
        _LOG.error("no answer from the database", exc_info=error)
        return _problem_response(request, problems.Unavailable(words))

    for fault in (DBAPIError, PoolTimeout):
        app.add_exception_handler(fault, no_database)


def _other_method(request: Request) -> Response:
    """What an address answers to a method that no route of it takes."""
    allow = {"Allow": allowed_methods(request.app, request.url.path)}
    if request.method == "OPTIONS":
        return Response(status_code=204, headers=allow)
    answer = _problem_response(request, problems.MethodNotAllowed())
    answer.headers.update(allow)
    return answer


def _problem_response(request: Request, problem: problems.Problem) -> Response:
    """A problem as a document, or on a page for a browser; whom a page needs to know signs in first."""
    if not wants_page(request):
        return problem_answer(problem, _request_id(request))
    if isinstance(problem, problems.KeyNeeded) and request.method in ("GET", "HEAD"):
        return RedirectResponse(sign_in_address(request), 303, KEEP_NOTHING)
    return problem_page(request, problem)


def _request_id(request: Request) -> str:
    return str(request.scope.get("state", {}).get("request_id", ""))


def _address_near(app: FastAPI, path: str) -> str:
    """The address that was meant by one with a slash too many, in capitals, or with a slip in its first name;
    empty when none is like it."""
    patterns = [pattern for pattern, _, _ in known_routes(app)]
    plain = path.rstrip("/").lower()
    likely = [path.rstrip("/"), plain]
    if in_api := re.match("/v1/([^/]+)(.*)", plain):
        names = {found[1] for each in patterns if (found := re.match(r"\^/v1/([a-z-]+)", each.pattern))}
        likely += [f"/v1/{name}{in_api[2]}" for name in get_close_matches(in_api[1], names, 1, 0.75)]
    return next((one for one in likely if one != path and any(p.match(one) for p in patterns)), "")


NO_FORM = "A form takes one file, and what is long as a file, not pasted. Go back, choose one, send it again."
_BY_STATUS: dict[int, type[problems.Problem]] = {
    400: problems.MalformedRequest,
    404: problems.NothingHere,
    405: problems.MethodNotAllowed,
    413: problems.TooLarge,
    415: problems.UnsupportedMedia,
}


def _from_framework(request: Request, error: HTTPException) -> problems.Problem:
    kind = _BY_STATUS.get(error.status_code, problems.Problem)
    if kind is problems.NothingHere and (near := _address_near(request.app, request.url.path)):
        return problems.NothingHere(f"Did you mean {near}?", near=[problems.printable(near)])
    return kind(NO_FORM if kind is problems.MalformedRequest and sends_upload(request) else "")
