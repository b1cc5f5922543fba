"""Cursor pages: the links of RFC 8288 and the bounds of a page."""

from collections.abc import Mapping, Sequence
from typing import Annotated

from fastapi import Query, Request
from pydantic import Field
from starlette.responses import Response

from graftbook.document import Document
from graftbook.http.conditional import read_answer
from graftbook.http.responses import ASK_AGAIN

Limit = Annotated[int | None, Query(ge=1, le=500, description="lines a page")]
Cursor = Annotated[str, Query(max_length=2_000, description="the `next` of the page before")]


class PageOut(Document):
    next: Annotated[
        str | None, Field(description="cursor of the next page; null on the last; also a Link header")
    ]


def page_answer(request: Request, items: Sequence[Mapping[str, object]], following: str | None) -> Response:
    """A page, with the next page's address in the body and as a Link header; 304 for who has it."""
    headers = {**ASK_AGAIN, **next_link(request, following)}
    return read_answer(request, {"items": items, "next": following}, headers)


def next_link(request: Request, following: str | None) -> dict[str, str]:
    """The header that leads to the next page (RFC 8288); none on the last."""
    if not following:
        return {}
    address = request.url.include_query_params(cursor=following)
    return {"Link": f'<{address.path}?{address.query}>; rel="next"'}
