"""Where reasoning is done: in processes of its own, or in this one; and what can go wrong with it."""

import math
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import Any, TypeVar

from graftbook.closure.search.constrain import warm_up
from graftbook.closure.search.deadline import Deadline, OutOfTime
from graftbook.problems import Busy, Unavailable
from graftbook.process.reasoning.frames import Late
from graftbook.process.reasoning.pool import Lost, NoneFree, Pool
from graftbook.telemetry.requests import somebody_waits


class ReasoningEnded(Unavailable):
    """The process that reasoned over the question was ended from outside; nothing was changed."""

    type = "/problems/reasoning-ended"
    title = "The process that reasoned over this was ended; ask again"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "1"})


class NotInTime(Unavailable):
    """What was asked for has no answer that says how far it came, and was not done."""

    type = "/problems/not-in-time"
    title = "This was not worked out in the time asked for"
    headers: Mapping[str, str] = MappingProxyType({"Retry-After": "1"})


Result = TypeVar("Result")


class Reasoner:
    """Does the work of questions in up to so many processes; 0: here, in the thread that asks.

    `most_bytes`: about how much memory the rule books of each of them may take.
    """

    def __init__(self, processes: int = 0, most_bytes: float = math.inf) -> None:
        self.pool = Pool(processes, most_bytes) if processes else None

    def start(self) -> None:
        """Get ready before anybody asks: load the solver here, or begin the first process."""
        if self.pool is None:
            warm_up()
        else:
            self.pool.start()

    def run(self, work: Callable[..., Result], *arguments: Any, deadline: Deadline) -> Result:
        """What a pure module's function returns; its arguments and its result are values.

        Raises what it raises, and of another process: OutOfTime when it is not done at the very end of
        the deadline, or the asker has gone, Busy when no process was free until then, ReasoningEnded when
        it was killed.
        """
        if self.pool is None:
            return work(*arguments)
        if not (seconds := deadline.very_end()):
            raise OutOfTime
        try:
            return self.pool.run(work, *arguments, seconds=seconds, wanted=somebody_waits())
        except Late:
            raise OutOfTime from None
        except NoneFree:
            raise Busy("questions") from None
        except Lost:
            raise ReasoningEnded from None

    def close(self) -> None:
        """End the processes."""
        if self.pool is not None:
            self.pool.close()
