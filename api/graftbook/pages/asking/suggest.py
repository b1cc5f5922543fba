"""Suggestions of chassis numbers as one types, for the script of the pages."""

from typing import Annotated

from fastapi import Query
from starlette.responses import Response

from graftbook.access.guard import MayRead
from graftbook.catalogue.store.lookup import chassis_starting
from graftbook.database import reading
from graftbook.http.responses import KEEP_NOTHING, json_answer
from graftbook.pages.asking.mending import MOST_MEANT
from graftbook.pages.problems import pages_router
from graftbook.process.state import ServiceDep

router = pages_router()

Text = Annotated[str, Query(max_length=120)]


@router.get("/suggest/chassis", dependencies=[MayRead])
def suggest_chassis(service: ServiceDep, text: Text = "") -> Response:
    """What the number may become: a span, by the first number of it that begins so."""
    with reading(service.engine) as session:
        spans = chassis_starting(session, text, MOST_MEANT)
    rows = [
        {
            "value": span.first,
            "words": f"to {span.last}, {span.title}" if span.first != span.last else span.title,
        }
        for span in spans
    ]
    return json_answer(rows, headers=KEEP_NOTHING)
