"""What schemathesis asks of every answer beside its own checks; it loads this as its hooks.

Its own `positive_data_acceptance` wants every body that the schema allows to be accepted. Here a
schema cannot know the catalogue, so this says instead which refusals it may meet.
"""

import schemathesis
from schemathesis import Case, CheckContext, Response

REASONS_NO_SCHEMA_CAN_TELL = {
    "already-exists", "changed-meanwhile", "if-match-needed", "import-refused", "invalid-cursor", "no-set",
    "vehicle-mismatch", "idempotency-key-used",
}  # fmt: skip
"""The catalogue or the stored state says no. Beside these, every `unknown-…`."""

BEYOND_SCHEMAS = {
    "GET /v1/closures": ("chassis", "variant", "on", "fit"),
    "GET /v1/orders": ("chassis", "variant", "on", "fit"),
    "POST /v1/keys": ("/label", "/expires"),
    "PUT /v1/records/{kind}/{name}": ("/rows",),
    "POST /v1/webhooks": ("/url",),
    "PUT /v1/webhooks/{id}": ("/url",),
    "GET /v1/records/{kind}": ("fields",),
    "POST /v1/measured-parts": ("/measured", "/position", "/vehicle/build"),
    "POST /v1/proposals": ("/records",),
    "POST /v1/reports": ("/chassis", "/component", "/position"),
    "PUT /v1/flat-lists/{name}": ("/range", "/section", "/supplier", "/evidence", "/columns"),
    "PATCH /v1/flat-lists/{name}/decisions": ("/answers",),
    "GET /v1/flat-lists/{name}/issue": ("/columns", ""),
    "PUT /v1/flat-lists/{name}/issue": ("",),
}
"""Fields whose rules OpenAPI cannot say: parameters that need one another (a chassis number or a build),
what Unicode calls printable, a time that is not past, a row that is the record of the address, an address
that leads nowhere, fields of a kind, a change that changes something, names that the catalogue has, what is
asked of a list. Empty: the body is no JSON, and has no places."""


NOT_NOW = {"not-in-time", "busy"}
"""Of 503: what a slow machine answers to a question that is well."""


@schemathesis.check
def refused_for_what_no_schema_can_tell(ctx: CheckContext, response: Response, case: Case) -> bool | None:
    """A request that the document allows is refused only for what the catalogue says."""
    if case.meta is None or not case.meta.generation.mode.is_positive:
        return True
    if response.status_code not in (400, 415, 422):
        return None
    kind = response.json()["type"].removeprefix("/problems/")
    known = kind.startswith("unknown-") or kind in REASONS_NO_SCHEMA_CAN_TELL
    if kind == "invalid-request" and (fields := BEYOND_SCHEMAS.get(case.operation.label)):
        pointer = response.json().get("pointer", "")
        known = any(pointer.startswith(field) if field else not pointer for field in fields)
    assert known, f"the document allows what is refused as {kind}: {response.json().get('detail')}"
    return None


@schemathesis.check
def a_fault_is_a_problem_document(ctx: CheckContext, response: Response, case: Case) -> bool | None:
    """RFC 9457, under the status it tells, with the request's id and nothing of the program's inside."""
    if response.status_code < 400:
        return True
    assert response.headers["content-type"][0].startswith("application/problem+json")
    problem = response.json()
    assert problem["status"] == response.status_code
    assert problem["type"].startswith("/problems/")
    assert problem["request_id"] == response.headers["x-request-id"][0]
    if response.status_code == 503:
        assert problem["type"].removeprefix("/problems/") in NOT_NOW, problem
    assert not any(word in response.text for word in ("Traceback", "sqlalchemy", "psycopg", "site-packages"))
    return None
