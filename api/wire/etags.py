"""ETags of what can be changed."""

import hashlib
from typing import Any

import orjson


def document_etag(kind: str, document: dict[str, Any]) -> str:
    """The strong ETag of a document as it reads: its kind, its version, and a digest of all of it.

    The version alone would not do: after a restore the same number may stand for another change.
    """
    digest = hashlib.sha256(orjson.dumps(document, option=orjson.OPT_SORT_KEYS)).hexdigest()
    return f'"{kind}-{document["version"]}-{digest[:24]}"'
