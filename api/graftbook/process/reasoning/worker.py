"""A reasoning process: reads work, does it, sends what came of it; ends with the process that began it.

It holds values only: no database, no web, no settings. Run by `process.Process`.
"""

import gc
import math
import os
import re
import resource
import signal
import socket
import sys
import threading
from pathlib import Path
from traceback import extract_tb
from typing import Any

from graftbook.closure.search.constrain import warm_up
from graftbook.process.reasoning.frames import Channel, Ended
from graftbook.process.reasoning.values import read_book, read_result, read_work, result_bytes
from graftbook.rulebook.index import retire
from graftbook.rulebook.model import RuleBook

MOST_MEGABYTES = 1_500
"""A process that has once held more ends after its answer, and a new one takes its place."""

READY, BOOK, FORGET, WORK = b"r", b"b", b"f", b"w"
NUMBER_BYTES = 8
POLITE = 10
"""How much later than the service itself it has its turn on a processor that is busy: look-ups and edits are
short, and somebody waits for them too."""


COLLECTED_AFTER = (10_000, 10, 20)
"""New objects before the collector walks the newest, such walks before it walks the younger, and those before
all: what a vehicle is asked about leaves many that stay, and few rings that only it can free."""


class Broke(Exception):
    """The work failed in the reasoning process; the kind and the places of the fault, without its words."""


def main() -> None:
    """Work until the other end is closed."""
    for signalled in (signal.SIGINT, signal.SIGTERM):
        # Both reach the whole group; who began this process ends it when the questions in hand are answered.
        signal.signal(signalled, signal.SIG_IGN)
    os.nice(POLITE)
    threading.Thread(target=_end_with, args=(int(sys.argv[2]),), daemon=True).start()
    warm_up()
    gc.freeze()
    gc.set_threshold(*COLLECTED_AFTER)
    work_from(Channel(socket.socket(fileno=int(sys.argv[1]))))


def _end_with(alive: int) -> None:
    """End at once when the process that began this one is gone, whatever is in hand."""
    os.read(alive, 1)
    os._exit(0)


def work_from(asker: Channel) -> None:
    """Read messages and answer those that are work."""
    books: dict[int, RuleBook] = {}
    asker.send(READY)
    while True:
        try:
            message = asker.receive()
        except Ended:
            return
        kind, rest = message[:1], message[1:]
        if kind == BOOK:
            books[_number(rest)] = _book_in(rest[NUMBER_BYTES:])
            asker.send(READY)
        elif kind == FORGET:
            if book := books.pop(_number(rest), None):
                retire(book)
                del book
        else:
            asker.send(_done(rest, books))
            if _megabytes() > MOST_MEGABYTES:
                return


def _number(rest: bytes) -> int:
    return int.from_bytes(rest[:NUMBER_BYTES], "big")


def _book_in(written: bytes) -> RuleBook:
    gc.disable()  # it would walk the growing book again and again
    try:
        return read_book(written)
    finally:
        gc.enable()


def _done(written: bytes, books: dict[int, RuleBook]) -> bytes:
    """Whether it went well, and what came of it or what was raised."""
    try:
        work, arguments = read_work(written, books)
        return result_bytes((True, work(*arguments)))
    except Exception as error:
        return _failure(error)


def _failure(error: Exception) -> bytes:
    broke = Broke(_error_text(error))
    try:
        written = result_bytes((False, (error, broke)))
        read_result(written)  # not every exception can be read again
        return written
    except Exception:
        return result_bytes((False, (broke, None)))


def _error_text(error: Exception) -> str:
    places = [f"{place.filename}:{place.lineno} {place.name}" for place in extract_tb(error.__traceback__)]
    return f"{type(error).__qualname__} at {', '.join(places[-12:])}"


def _megabytes() -> float:
    """The most that this process has held."""
    most: Any = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    megabytes = int(most) // (1024 * 1024 if sys.platform == "darwin" else 1024)
    # Before it ran this program it shared the memory of the process that began it, and that is counted too.
    return min(megabytes, _of_this_program()) if megabytes > MOST_MEGABYTES else megabytes


def _of_this_program() -> float:
    """The same since it runs this program, as Linux tells it; elsewhere nobody does."""
    try:
        status = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return math.inf
    found = re.search(r"^VmHWM:\s+([0-9]+) kB$", status, re.MULTILINE)
    return int(found[1]) // 1024 if found else math.inf
