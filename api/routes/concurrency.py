"""If-Match and If-None-Match on changes: nobody overwrites what he has not read (RFC 9110, 13.1)."""

from typing import Annotated

from fastapi import Header

from api.builds.service import version_in
from api.problems import PreconditionFailed, PreconditionRequired

IfMatch = Annotated[str | None, Header(description="the ETag that you read")]


def version_wanted(if_match: str | None, kind: str) -> int:
    """The version that the asker read. Raises PreconditionRequired, PreconditionFailed."""
    if not if_match:
        raise PreconditionRequired("Read it first, then send If-Match with its ETag")
    version = version_in(if_match, kind)
    if not version:
        raise PreconditionFailed(f"If-Match takes the one ETag that reading the {kind} gave you")
    return version
