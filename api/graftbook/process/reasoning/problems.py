"""What can go wrong with reasoning, beside what is wrong with a question."""

from collections.abc import Mapping
from types import MappingProxyType

from graftbook.problems import Unavailable


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
