"""How a command ends. Every exit code has one meaning; `graftbook --help` and the guide tell them."""

from collections.abc import Iterator
from enum import IntEnum
from textwrap import wrap

from graftbook.problems import ImportRefused, NoSet, Problem, TooEntangled, Unavailable


class Ends(IntEnum):
    """What a command says to whoever called it, in one number."""

    DONE = 0
    NO = 1
    WRONG_USE = 2
    NO_DATABASE = 3
    REFUSED = 4
    NOT_IN_TIME = 5
    FAULT = 70
    INTERRUPTED = 130
    PIPE_CLOSED = 141


MEANING = {
    Ends.DONE: "done, or the answer is yes",
    Ends.NO: "the answer is no: there is no such set, it does not fit, something is missing, open or "
    "not bought, nothing was found, the lint found something, it may not be driven",
    Ends.WRONG_USE: "wrong use: an option, a name that nobody knows, a file that cannot be read or written",
    Ends.NO_DATABASE: "no database: it is not there, does not answer, or has not the shape that is needed",
    Ends.REFUSED: "refused: what was sent has mistakes, or something stands in the way; nothing was changed",
    Ends.NOT_IN_TIME: "not worked out in the time there is",
    Ends.FAULT: "a fault of the program; GRAFTBOOK_LOG_LEVEL=debug shows where",
    Ends.INTERRUPTED: "ended with Ctrl-C",
    Ends.PIPE_CLOSED: "whoever read the output wanted no more of it",
}
"""Each code with its one meaning, as `--help` and the guide say it."""


def how_it_ends() -> str:
    """The table for a terminal."""
    lines: Iterator[str] = (
        line
        for code, meaning in MEANING.items()
        for line in wrap(f"{code:>3}  {meaning}", 76, subsequent_indent=" " * 5)
    )
    return "\n".join(["\b", "It ends with", *lines])


_OF_TYPE = {
    NoSet.type: Ends.NO,
    ImportRefused.type: Ends.REFUSED,
    TooEntangled.type: Ends.NOT_IN_TIME,
    Unavailable.type: Ends.NO_DATABASE,
}
_OTHER_STATES = frozenset({409, 412, 428})
_GATEWAYS = frozenset({502, 503, 504})


def ends_with(problem: Problem) -> Ends:
    """The code that tells of a problem."""
    return of_answer(problem.type, problem.answer_status)


def of_answer(kind: str, status: int) -> Ends:
    """The code that tells of a problem of this type and status, here or as a distant service answers it."""
    if kind in _OF_TYPE:
        return _OF_TYPE[kind]
    if status in _GATEWAYS:
        return Ends.NOT_IN_TIME if kind.startswith("/problems/") else Ends.NO_DATABASE
    if status in _OTHER_STATES:
        return Ends.REFUSED
    return Ends.FAULT if status == 500 else Ends.WRONG_USE
