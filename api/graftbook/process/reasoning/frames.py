"""Messages over a socket: their length, then their bytes."""

import socket
import struct
import time
from collections.abc import Callable

_LENGTH = struct.Struct("!Q")
LOOK_EVERY = 0.1
"""Seconds between two looks at whether anybody still waits for the message."""


class Late(Exception):
    """It did not come in time, or nobody waits for it any more."""


class Ended(Exception):
    """The process at the other end is gone."""


def always() -> bool:
    """Somebody waits for it, whatever happens."""
    return True


class Channel:
    """One end of a socket. What came of a message before it was late is kept for the next look."""

    def __init__(self, end: socket.socket) -> None:
        self._end = end
        self._come = bytearray()

    def close(self) -> None:
        """Close this end; the other one is told."""
        self._end.close()

    def send(self, message: bytes, until: float | None = None) -> None:
        """Send one; `until` is of `time.monotonic`. Raises Ended, and Late when part of it may be sent."""
        self._end.settimeout(None if until is None else max(0.001, until - time.monotonic()))
        try:
            self._end.sendall(_LENGTH.pack(len(message)))
            self._end.sendall(message)
        except TimeoutError as late:
            raise Late from late
        except OSError as gone:
            raise Ended from gone

    def receive(self, until: float | None = None, wanted: Callable[[], bool] = always) -> bytes:
        """The next one. Raises Late and Ended."""
        self._wait_for(_LENGTH.size, until, wanted)
        (length,) = _LENGTH.unpack(self._come[: _LENGTH.size])
        self._wait_for(_LENGTH.size + length, until, wanted)
        message = bytes(self._come[_LENGTH.size :])
        self._come.clear()
        return message

    def _wait_for(self, whole: int, until: float | None, wanted: Callable[[], bool]) -> None:
        while (missing := whole - len(self._come)) > 0:
            self._end.settimeout(_patience(until, wanted))
            try:
                piece = self._end.recv(min(missing, 1 << 20))
            except TimeoutError:
                continue
            except OSError as gone:
                raise Ended from gone
            if not piece:
                raise Ended
            self._come += piece


def _patience(until: float | None, wanted: Callable[[], bool]) -> float | None:
    if until is None:
        return None
    left = until - time.monotonic()
    if left <= 0 or not wanted():
        raise Late
    return min(left, LOOK_EVERY)
