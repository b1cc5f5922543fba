"""Keyset cursors: where a page ended, as text that means nothing to the one who carries it."""

import base64
import binascii
import hashlib
import json
from typing import Any

from graftbook.problems import InvalidCursor

_NOT_OURS = "take the cursor from the answer before, unchanged"
LARGEST = 2**31 - 1
"""What a column of numbers holds."""
LARGEST_ID = 2**63 - 1
"""What a column of ids holds."""


def write_cursor(search: dict[str, Any], after: list[str]) -> str:
    """A cursor behind the row with these sort values, good for this search only."""
    text = json.dumps([_mark(search), *after], separators=(",", ":"))
    return base64.urlsafe_b64encode(text.encode()).decode().rstrip("=")


def read_cursor(cursor: str, search: dict[str, Any], count: int) -> list[str]:
    """The sort values of a cursor. Raises InvalidCursor unless this search gave it out."""
    try:
        text = base64.urlsafe_b64decode(cursor.encode() + b"=" * (-len(cursor) % 4))
        mark, *values = json.loads(text)
    except (ValueError, TypeError, binascii.Error, UnicodeError):
        raise InvalidCursor(_NOT_OURS) from None
    after = [value for value in values if isinstance(value, str)]
    if mark != _mark(search) or not len(values) == len(after) == count:
        raise InvalidCursor("this cursor belongs to another search; begin without one")
    return after


def read_name(cursor: str, search: dict[str, Any]) -> str:
    """The name that a cursor is behind; an empty one begins. Raises InvalidCursor."""
    return read_cursor(cursor, search, 1)[0] if cursor else ""


def read_number(cursor: str, search: dict[str, Any], largest: int = LARGEST) -> int | None:
    """The number that a cursor is behind; None: it is empty, and begins. Raises InvalidCursor."""
    if not cursor:
        return None
    (text,) = read_cursor(cursor, search, 1)
    if not (text.isascii() and text.isdigit() and len(text) < 20 and int(text) <= largest):
        raise InvalidCursor(_NOT_OURS)
    return int(text)


def _mark(search: dict[str, Any]) -> str:
    content = json.dumps(search, sort_keys=True, default=str)
    return hashlib.sha256(content.encode()).hexdigest()[:12]
