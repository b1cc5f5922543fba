"""ETags of what can be changed, and whether a request names the one that stands."""

import hashlib
from collections.abc import Mapping

import orjson

from graftbook.http.codings import untagged
from graftbook.problems import PreconditionRequired


def document_etag(kind: str, document: Mapping[str, object]) -> str:
    """The strong ETag of a document as it reads: its kind, its version, and a digest of all of it.

    The version alone would not do: after a restore the same number may stand for another change.
    """
    digest = hashlib.sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()
    return f'"{kind}-{document["version"]}-{digest[:24]}"'


def names(if_match: str, etag: str) -> bool:
    """Whether an If-Match, one ETag or several, names this one in any coding (RFC 9110, 13.1.1).

    Raises PreconditionRequired for `*`, whatever stands there: it is no proof of having read it.
    """
    if if_match.strip() == "*":
        raise PreconditionRequired("`*` names no ETag; read it first, then send If-Match with its ETag")
    plain = untagged(if_match.encode()).decode()
    return etag in (tag.strip() for tag in plain.split(","))
