"""What somebody changes he must have read: If-Match, and the ETags that it names (RFC 9110, 13.1.1)."""

import hashlib
from collections.abc import Mapping
from typing import Annotated

import orjson
from fastapi import Depends, Header

from graftbook.http.compression import untagged
from graftbook.problems import PreconditionFailed, PreconditionRequired

WANTED = "x-wanted"
"""In the OpenAPI document the header is required where it has this: without it the answer is 428."""


def _required_condition(
    if_match: Annotated[
        str | None, Header(description="the ETag that you read", json_schema_extra={WANTED: True})
    ] = None,
) -> str | None:
    return _condition(if_match)


def _condition(
    if_match: Annotated[
        str | None, Header(description="the ETag that you read, of what is there; left out for what is new")
    ] = None,
) -> str | None:
    return (if_match or "").strip() or None


IfMatch = Annotated[str | None, Depends(_required_condition)]
IfMatchOfWhatIsThere = Annotated[str | None, Depends(_condition)]
"""Where a request without it may be right, too."""


def etag_wanted(if_match: str | None) -> str:
    """The ETag that the asker read. Raises PreconditionRequired."""
    if not if_match:
        raise PreconditionRequired("Read it first, then send If-Match with its ETag")
    return if_match


def document_etag(kind: str, document: Mapping[str, object]) -> str:
    """The strong ETag of a document as it reads: its kind, its version, and a digest of all of it.

    The version alone would not do: after a restore the same number may stand for another change.
    """
    digest = hashlib.sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()
    return f'"{kind}-{document["version"]}-{digest[:24]}"'


def require_match(if_match: str, etag: str | None, what: str) -> None:
    """Raises PreconditionFailed unless an If-Match names the ETag of what is there now (None: nothing is),
    and PreconditionRequired for `*`."""
    if etag is None or not names_etag(if_match, etag):
        raise PreconditionFailed(f"Read {what} again and change what you then see")


def names_etag(if_match: str, etag: str) -> bool:
    """Whether an If-Match, one ETag or several, names this one in any coding (RFC 9110, 13.1.1).

    Raises PreconditionRequired for `*`, whatever stands there: it is no proof of having read it.
    """
    if if_match.strip() == "*":
        raise PreconditionRequired("`*` names no ETag; read it first, then send If-Match with its ETag")
    plain = untagged(if_match.encode()).decode()
    return etag in (tag.strip() for tag in plain.split(","))
