"""The views of an answer: the whole document, or what of it a program at the counter holds."""

from collections.abc import Callable
from typing import Annotated, Any

import orjson
from fastapi import Query

from graftbook.http.responses import etag_of
from graftbook.http.values import json_bytes
from graftbook.process.state import Made, Make, Service
from graftbook.questions.schemas import ViewWord

VIEW = (
    "`summary`: the set line by line with its sums, what is worse, every caution, and `full`, the address of "
    "the whole answer; what is unchanged is counted"
)
View = Annotated[ViewWord, Query(description=VIEW)]


def viewed(
    service: Service, view: ViewWord, etag: str, make: Make, summary: Callable[[Any], Any]
) -> tuple[str, Make]:
    """The ETag of an answer in a view, and how to make it. The summary is taken from the whole document, so
    that asking for both reasons once."""
    if view == "full":
        return etag, make

    def make_summary() -> Made:
        body, lasting = service.answers.kept_or_made(etag, make)
        return json_bytes(summary(orjson.loads(body))), lasting

    return etag_of("summary", etag), make_summary
