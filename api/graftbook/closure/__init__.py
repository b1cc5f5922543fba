"""The reasoning: pure functions on a rule book. Start reading at `answering`."""

from graftbook.closure.answering import answer_question
from graftbook.closure.search.constrain import warm_up

__all__ = ["answer_question", "warm_up"]
