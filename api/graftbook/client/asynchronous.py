"""The client for asynchronous programs: the same methods, awaited; a list is gone through by `async for`."""

import asyncio
from collections.abc import AsyncIterator
from dataclasses import asdict
from typing import Any, Self, TypeVar

import httpx

from graftbook.client.attempts import USUAL, Outcome, Patience, Remembered, Send, Wait, attempts
from graftbook.client.calls import JSON, Call, Pages, following
from graftbook.client.methods import Methods

T = TypeVar("T")


class AsyncClient(Methods):
    """The service at an address, asked by an asynchronous program.

    `key` is sent with each request. `patience`: how long a call may take, retries included. An answer that
    the client still has is not sent again (ETags). What is changed must have been read through this client,
    since the change names its ETag: 412 `changed-meanwhile` says that somebody else changed it since.
    """

    def __init__(
        self,
        address: str,
        *,
        key: str = "",
        patience: Patience = USUAL,
        transport: httpx.AsyncBaseTransport | None = None,
    ) -> None:
        headers = {"User-Agent": "graftbook-client", "Accept": JSON}
        if key:
            headers["Authorization"] = f"Bearer {key}"
        self._http = httpx.AsyncClient(base_url=address, headers=headers, transport=transport)
        self._memory = Remembered()
        self._patience = patience

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.close()

    async def close(self) -> None:
        """End the connections."""
        await self._http.aclose()

    async def send(self, call: Call[T]) -> T:
        """The document that a call is answered with. Raises ProblemAnswer and Unreachable."""
        steps = attempts(call, self._memory, self._patience)
        outcome: Outcome = None
        while True:
            try:
                step = steps.send(outcome)
            except StopIteration as end:
                document: T = end.value
                return document
            outcome = await self._outcome_of(step)

    async def _outcome_of(self, step: Send | Wait) -> Outcome:
        if isinstance(step, Wait):
            await asyncio.sleep(step.seconds)
            return None
        try:
            return await self._http.request(**asdict(step))
        except httpx.TransportError as error:
            return error

    async def through(self, pages: Pages[T]) -> AsyncIterator[T]:
        """Every item of a list, page by page as they are wanted."""
        call: Call[Any] | None = pages.first
        while call is not None:
            page = await self.send(call)
            for item in page["items"]:
                yield item
            call = following(call, page)
