"""A set's work in order and in time. Pure: from values to values."""

from collections.abc import Iterable

from graftbook.closure.answer import Solution
from graftbook.closure.search.deadline import Deadline
from graftbook.orders.fitting.jobs import fitting_sequence
from graftbook.orders.fitting.schedule import Schedule, earliest_finish
from graftbook.orders.fitting.sequence import Sequence
from graftbook.rulebook.model import RuleBook, Vehicle


def scheduled(
    book: RuleBook,
    vehicle: Vehicle,
    solution: Solution,
    hands: int,
    room_in: Iterable[str],
    until: Deadline,
) -> tuple[Sequence, Schedule]:
    """The sequence of a set's work, and when it is finished first with so many pairs of hands."""
    found = fitting_sequence(book, vehicle, solution)
    return found, earliest_finish(found, hands, room_in, until.left())
