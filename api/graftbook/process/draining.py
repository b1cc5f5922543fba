"""The end of a process: first it says that it is not ready, then it goes on answering, then it ends.

Whoever sends it requests (a load balancer that asks `/readyz`) so has time to send them elsewhere.
"""

import asyncio
import logging
import signal
import threading
from collections.abc import Callable
from typing import Any

_LOG = logging.getLogger("graftbook")
_begun = threading.Event()


def draining() -> bool:
    """Whether this process is about to end."""
    return _begun.is_set()


def drain_before_the_end(seconds: float) -> Callable[[], None]:
    """On the first SIGTERM, hand it to the server's own handler after so many seconds; on a second at once.

    Called in the server's event loop; returns what takes it back. A server that runs outside the main
    thread gets no signals, so nothing is done there.
    """
    handler = signal.getsignal(signal.SIGTERM)
    if threading.current_thread() is not threading.main_thread() or not callable(handler):
        return _begun.clear
    loop = asyncio.get_running_loop()

    def end(number: int, frame: Any) -> None:
        handler(number, frame)

    def begin(number: int, frame: Any) -> None:
        if draining() or not seconds:
            _begun.set()
            end(number, frame)
            return
        _begun.set()
        _LOG.info("draining: answers go on for %g s, then requests in flight are finished", seconds)
        loop.call_soon_threadsafe(loop.call_later, seconds, end, number, None)

    signal.signal(signal.SIGTERM, begin)

    def take_back() -> None:
        if signal.getsignal(signal.SIGTERM) is begin:
            signal.signal(signal.SIGTERM, handler)
        _begun.clear()

    return take_back
