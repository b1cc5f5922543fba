"""The reasoning: pure functions on a rule book. Start reading at `answering`."""

from api.closure.answering import answer_question
from api.closure.solve import warm_up

__all__ = ["answer_question", "warm_up"]
