"""The client for programs that wait for an answer."""

import time
from collections.abc import Iterator
from dataclasses import asdict
from typing import Any, Self, TypeVar

import httpx

from graftbook.client.attempts import USUAL, Outcome, Patience, Remembered, Send, Wait, attempts
from graftbook.client.calls import JSON, Call, Pages, following
from graftbook.client.methods import Methods

T = TypeVar("T")


class Client(Methods):
    """The service at an address, asked and waited for.

    `key` is sent with each request. `patience`: how long a call may take, retries included. An answer that
    the client still has is not sent again (ETags). What is changed must have been read through this client,
    since the change names its ETag: 412 `changed-meanwhile` says that somebody else changed it since.
    Not for two threads at once.
    """

    def __init__(
        self,
        address: str,
        *,
        key: str = "",
        patience: Patience = USUAL,
        transport: httpx.BaseTransport | None = None,
    ) -> None:
        headers = {"User-Agent": "graftbook-client", "Accept": JSON}
        if key:
            headers["Authorization"] = f"Bearer {key}"
        self._http = httpx.Client(base_url=address, headers=headers, transport=transport)
        self._memory = Remembered()
        self._patience = patience

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the connections."""
        self._http.close()

    def send(self, call: Call[T]) -> T:
        """The document that a call is answered with. Raises ProblemAnswer and Unreachable."""
        steps = attempts(call, self._memory, self._patience)
        outcome: Outcome = None
        while True:
            try:
                step = steps.send(outcome)
            except StopIteration as end:
                document: T = end.value
                return document
            outcome = self._outcome_of(step)

    def _outcome_of(self, step: Send | Wait) -> Outcome:
        if isinstance(step, Wait):
            time.sleep(step.seconds)
            return None
        try:
            return self._http.request(**asdict(step))
        except httpx.TransportError as error:
            return error

    def through(self, pages: Pages[T]) -> Iterator[T]:
        """Every item of a list, page by page as they are wanted."""
        call: Call[Any] | None = pages.first
        while call is not None:
            page = self.send(call)
            yield from page["items"]
            call = following(call, page)
