"""Cursor pages: the links of RFC 8288 and the bounds of a page."""

from collections.abc import Mapping, Sequence
from typing import Annotated

from fastapi import Query, Request
from pydantic import Field
from starlette.responses import Response

from graftbook.document import Document
from graftbook.http.responses import ASK_AGAIN, json_answer

Limit = Annotated[int | None, Query(ge=1, le=500, description="lines a page")]
Cursor = Annotated[str, Query(max_length=2_000, description="the `next` of the page before")]


class PageOut(Document):
    next: Annotated[
        str | None, Field(description="cursor of the next page; null on the last; also a Link header")
    ]


def page_answer(request: Request, items: Sequence[Mapping[str, object]], following: str | None) -> Response:
    """A page, with the next page's address in the body and as a Link header."""
    headers = dict(ASK_AGAIN)
    if following:
        address = request.url.include_query_params(cursor=following)
        headers["Link"] = f'<{address.path}?{address.query}>; rel="next"'
    return json_answer({"items": items, "next": following}, headers=headers)
