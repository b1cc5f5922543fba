"""Whether the one who asked is still there. Looked at only while something long is done for him."""

import asyncio
from collections.abc import Callable

from starlette.types import Receive

from graftbook.telemetry.requests import current


class Asker:
    """The other end of a request's connection. `there` is for other threads."""

    def __init__(self, receive: Receive) -> None:
        self._receive = receive
        self._loop = asyncio.get_running_loop()
        self._watch: asyncio.Task[None] | None = None
        self._gone = self._watched = False

    def there(self) -> bool:
        """Whether he has not gone; the first look begins to watch. Once the request is read in whole."""
        if not self._watched:
            self._watched = True
            self._loop.call_soon_threadsafe(self._begin)
        return not self._gone

    def _begin(self) -> None:
        self._watch = self._loop.create_task(self._until_gone())

    async def _until_gone(self) -> None:
        while (await self._receive())["type"] != "http.disconnect":
            pass
        self._gone = True

    def left(self) -> None:
        """The request is answered: nobody looks any more."""
        self._watched = True
        if self._watch is not None:
            self._watch.cancel()


def somebody_waits() -> Callable[[], bool]:
    """Tells whether the asker of the present request is there; without a request, that somebody is."""
    request = current()
    return request.asker.there if request is not None and request.asker is not None else lambda: True
