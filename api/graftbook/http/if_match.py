"""If-Match on changes: nobody overwrites what he has not read (RFC 9110, 13.1)."""

from typing import Annotated

from fastapi import Depends, Header

from graftbook.problems import PreconditionRequired


def _sent(if_match: Annotated[str | None, Header(description="the ETag that you read")] = None) -> str | None:
    return (if_match or "").strip() or None


IfMatch = Annotated[str | None, Depends(_sent)]


def etag_wanted(if_match: str | None) -> str:
    """The ETag that the asker read. Raises PreconditionRequired."""
    if not if_match:
        raise PreconditionRequired("Read it first, then send If-Match with its ETag")
    return if_match
