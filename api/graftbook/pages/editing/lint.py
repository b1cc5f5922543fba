"""The lint as a page: findings by severity, and the place to mend each."""

from collections import Counter
from typing import Any
from urllib.parse import urlencode

from fastapi import Request
from starlette.responses import Response

from graftbook.access.guard import MayEdit
from graftbook.editing.linting import service as linting
from graftbook.http.parameters import takes
from graftbook.pages.frame import page
from graftbook.pages.problems import pages_router
from graftbook.process.state import ServiceDep

router = pages_router()

SEVERITIES = {
    "serious": "Serious: answers are wrong, or impossible where they need not be",
    "doubtful": "Doubtful: something is missing that an answer may need",
    "untidy": "Untidy: nothing depends on it",
}
MOST_SHOWN = 300


@router.get("/lint", dependencies=[MayEdit, takes("kind", "severity", "vehicles", "touched_by")])
def findings(request: Request, service: ServiceDep) -> Response:
    """Of the records side by side; with `vehicles` of every vehicle that differs too."""
    query = {name: value for name, value in request.query_params.items() if value}
    revision = query.get("touched_by", "")
    touched = int(revision) if revision.isdecimal() and len(revision) < 10 else None
    found = linting.findings(service, vehicles=query.get("vehicles") == "yes", touched_by=touched)
    wanted = [
        one
        for one in found
        if query.get("kind", one["kind"]) == one["kind"]
        and query.get("severity", one["severity"]) == one["severity"]
    ]
    groups = [
        {"title": title, "severity": word, "findings": [one for one in wanted if one["severity"] == word]}
        for word, title in SEVERITIES.items()
    ]
    return page(
        request,
        "lint.html",
        groups=[_cut(group) for group in groups if group["findings"]],
        kinds=sorted(Counter(one["kind"] for one in found).items()),
        asked=query,
        touched=touched,
        vehicles=f"/lint?{urlencode(query | {'vehicles': 'yes'})}",
        count=len(wanted),
    )


def _cut(group: dict[str, Any]) -> dict[str, Any]:
    return group | {"findings": group["findings"][:MOST_SHOWN], "count": len(group["findings"])}
