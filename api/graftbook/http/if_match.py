"""If-Match on changes: nobody overwrites what he has not read (RFC 9110, 13.1)."""

from typing import Annotated

from fastapi import Depends, Header

from graftbook.problems import PreconditionRequired

WANTED = "x-wanted"
"""In the OpenAPI document the header is required where it has this: without it the answer is 428."""


def _needed(
    if_match: Annotated[
        str | None, Header(description="the ETag that you read", json_schema_extra={WANTED: True})
    ] = None,
) -> str | None:
    return _sent(if_match)


def _sent(
    if_match: Annotated[
        str | None, Header(description="the ETag that you read, of what is there; left out for what is new")
    ] = None,
) -> str | None:
    return (if_match or "").strip() or None


IfMatch = Annotated[str | None, Depends(_needed)]
IfMatchOfWhatIsThere = Annotated[str | None, Depends(_sent)]
"""Where a request without it may be right, too."""


def etag_wanted(if_match: str | None) -> str:
    """The ETag that the asker read. Raises PreconditionRequired."""
    if not if_match:
        raise PreconditionRequired("Read it first, then send If-Match with its ETag")
    return if_match
