"""Documents as bytes; knows nothing of HTTP, so that a reasoning process can write an answer too."""

from typing import Any

import orjson


def json_bytes(document: Any) -> bytes:
    """A document of plain dicts, lists and values as JSON."""
    return orjson.dumps(document, option=orjson.OPT_NON_STR_KEYS)
