"""Keys over the API: made, listed and revoked by whoever may administer.

In the OpenAPI document: how to send one, what each operation takes, how it refuses.
"""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query, Request
from starlette.responses import Response

from graftbook import problems
from graftbook.access import service as access
from graftbook.access.guard import SCHEME, MayAdminister, authenticator_of, caller_of
from graftbook.access.schemas import AccessEventsOut, KeyIn, KeysOut, NewKeyOut
from graftbook.access.scopes import Scope
from graftbook.access.sessions import COOKIE, FORM_HEADER
from graftbook.catalogue.store.cursors import read_cursor, read_number, write_cursor
from graftbook.http.errors import answers, documented
from graftbook.http.parameters import Cursor, Limit, page_answer, page_of
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.problems import ForeignName, ForgedRequest, KeyNeeded, ScopeNeeded, SlowDown
from graftbook.process.state import ServiceDep

router = APIRouter(prefix="/v1", tags=["access"], dependencies=[MayAdminister])

KeyId = Annotated[str, Path(max_length=16, examples=["4fT0a9Zq"], description="as the list shows it")]


@router.get(
    "/keys",
    operation_id="listKeys",
    summary="The keys, without their secrets",
    responses=answers(KeysOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_keys(request: Request, service: ServiceDep, limit: Limit = None, cursor: Cursor = "") -> Response:
    """In the order of their creation; revoked ones stay."""
    size, search = limit or service.settings.page_size, {"list": "keys"}
    after = None
    if cursor:
        created, key = read_cursor(cursor, search, 2)
        after = _moment(created), key
    rows = access.list_keys(service.engine, after, size + 1)
    last = rows[size - 1] if len(rows) > size else None
    following = write_cursor(search, [last["created"], last["id"]]) if last else None
    return page_answer(request, rows[:size], following)


@router.post(
    "/keys",
    operation_id="createKey",
    summary="Make a key; the answer shows it this once",
    status_code=201,
    responses=answers(
        NewKeyOut,
        problems.MalformedRequest,
        problems.InvalidRequest,
        problems.TooLarge,
        problems.UnsupportedMedia,
        status=201,
    ),
)
def create_key(body: KeyIn, request: Request, service: ServiceDep) -> Response:
    """It is stored as a digest only. The trail says who made it."""
    made = access.create_key(service.engine, body.label, body.scope, body.expires, caller_of(request))
    request.state.recorded = True
    return json_answer(made.document(), status=201, headers=KEEP_NOTHING)


@router.delete(
    "/keys/{id}",
    operation_id="revokeKey",
    summary="Revoke a key: from now on it opens nothing",
    status_code=204,
    responses=documented(problems.UnknownKey, problems.InvalidRequest),
)
def revoke_key(id: KeyId, request: Request, service: ServiceDep) -> Response:
    """Takes no If-Match, so that it never fails for being late; a revoked key may be revoked again."""
    access.revoke_key(service.engine, id, caller_of(request))
    request.state.recorded = True
    return Response(status_code=204)


@router.get(
    "/audit",
    operation_id="listAccessEvents",
    summary="The trail: changes made, keys made and revoked, attempts refused",
    responses=answers(AccessEventsOut, problems.InvalidCursor, problems.InvalidRequest),
)
def list_events(
    request: Request,
    service: ServiceDep,
    key: Annotated[str, Query(max_length=16, description="of this key only")] = "",
    outcome: Annotated[str, Query(pattern="^(done|failed|refused)?$")] = "",
    limit: Limit = None,
    cursor: Cursor = "",
) -> Response:
    """Newest first. Refused attempts are counted together, `times` a row."""
    authenticator_of(request).write_counted_refusals()
    size, search = limit or service.settings.page_size, {"list": "audit", "key": key, "outcome": outcome}
    rows = access.list_events(service.engine, read_number(cursor, search), size + 1, key, outcome)
    return page_of(request, rows, size, search, by="number")


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise problems.InvalidCursor("take the cursor from the answer before, unchanged") from None


COOKIE_SCHEME = "page_session"


def describe_access(document: dict[str, Any], reading: str) -> None:
    """Complete a document in which the guards of the routes are named. `reading`: open or closed."""
    schemes = document.setdefault("components", {}).setdefault("securitySchemes", {})
    schemes[COOKIE_SCHEME] = {
        "type": "apiKey",
        "in": "cookie",
        "name": COOKIE,
        "description": f"Set by POST /signin. Changes also need the header {FORM_HEADER} or the form field.",
    }
    for item in document["paths"].values():
        for method, operation in item.items():
            operation.setdefault("security", [])
            if scopes := _scopes(operation):
                _describe(operation, max(scopes, key=list(Scope).index), method, reading)


def _scopes(operation: dict[str, Any]) -> list[Scope]:
    return [Scope(name) for needed in operation.get("security", []) for name in needed.get(SCHEME, [])]


def _describe(operation: dict[str, Any], scope: Scope, method: str, reading: str) -> None:
    operation["security"] = [{SCHEME: [scope.value]}, {COOKIE_SCHEME: []}]
    refusals = [KeyNeeded, ScopeNeeded, SlowDown]
    if scope is Scope.READ and reading == "open":
        operation["security"].insert(0, {})
        refusals.append(ForeignName)
    if scope is not Scope.READ and method != "get":
        refusals.append(ForgedRequest)
    for status, answer in documented(*refusals).items():
        operation["responses"].setdefault(str(status), answer)
