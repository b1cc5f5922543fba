"""Keys in the OpenAPI document: how to send one, what each operation takes, how it refuses."""

from typing import Any

from graftbook.access.guard import SCHEME
from graftbook.access.scopes import Scope
from graftbook.access.sessions import COOKIE, FORM_HEADER
from graftbook.http.errors import documented
from graftbook.problems import ForeignName, ForgedRequest, KeyNeeded, ScopeNeeded, SlowDown

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
