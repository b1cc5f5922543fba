"""Closures as they are watched: how long the reasoning took, how it ended, who found the set."""

from collections.abc import Callable
from time import perf_counter
from typing import Protocol, TypeVar

from graftbook.closure.answer import Answer, Outcome
from graftbook.telemetry import metrics, tracing
from graftbook.telemetry.requests import current

Result = TypeVar("Result")


class Watched(Protocol):
    """What is watched of an answer."""

    @property
    def outcome(self) -> Outcome: ...
    @property
    def engine(self) -> str: ...
    @property
    def reached(self) -> int: ...


_DEAREST_FIRST = ("solver", "concession", "elimination", "propagation")
_LEAST_SURE = (Outcome.too_large, Outcome.not_proved, Outcome.impossible, Outcome.proved)


def watched(
    question: str, reason: Callable[[], Result], answers: Callable[[Result], tuple[Watched, ...]]
) -> Result:
    """What `reason` returns, with its time under the kind of question and its least sure outcome.

    `answers` takes the answers out of the result: a comparison reasons twice, and a set that is
    complete needs no closure at all.
    """
    began = perf_counter()
    with tracing.span(f"reason {question}") as span:
        result = reason()
        outcome, engine, reached = _summed_up(answers(result))
        span.set("graftbook.outcome", outcome)
        span.set("graftbook.engine", engine)
        span.set("graftbook.positions_reached", reached)
    metrics.CLOSURES.labels(question, outcome, engine).observe(perf_counter() - began)
    if (request := current()) is not None:
        request.outcome = outcome
    return result


def alone(answer: Answer) -> tuple[Answer, ...]:
    """The answers of a question that has one."""
    return (answer,)


def _summed_up(given: tuple[Watched, ...]) -> tuple[str, str, int]:
    """The least sure outcome, who found it, and how many positions were reached."""
    if not given:
        return str(Outcome.proved), "none", 0
    least = min(given, key=lambda answer: _LEAST_SURE.index(answer.outcome))
    engines = {answer.engine for answer in given}
    engine = next((name for name in _DEAREST_FIRST if name in engines), "none")
    return str(least.outcome), engine, max(answer.reached for answer in given)
