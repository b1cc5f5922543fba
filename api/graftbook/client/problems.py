"""What a call may end with instead of a document."""

from collections.abc import Mapping
from typing import Any

NOT_A_PROBLEM = "about:blank"
"""The type of an answer that is no problem document: a proxy's, say (RFC 9457, 4.2.1)."""


class ProblemAnswer(Exception):
    """The service answered with a problem document (RFC 9457); `type` is the stable name to compare with."""

    def __init__(self, status: int, document: Mapping[str, Any]) -> None:
        self.status = status
        self.document = dict(document)
        self.type: str = document.get("type", NOT_A_PROBLEM)
        self.title: str = document.get("title", "")
        self.detail: str = document.get("detail", "") or self.title or f"The answer was {status}"
        self.pointer: str = document.get("pointer", "")
        self.near: list[str] = document.get("near", [])
        self.errors: list[dict[str, str]] = document.get("errors", [])
        self.request_id: str = document.get("request_id", "")
        super().__init__(self.detail)


class Unreachable(Exception):
    """The service did not answer in the time there was; `__cause__` is what the transport said."""
