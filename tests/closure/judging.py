"""Answers judged anew from the records: their reasons, and what they call the next best."""

from collections.abc import Iterator

from graftbook.closure.answer import Because, Cause, Change, How, Other, Outcome, Solution
from graftbook.closure.question import Question
from graftbook.rulebook.model import RuleBook
from tests.closure.test_reasons import Judge, reasons_in

NOTHING_DEMANDED = (Cause.joint, Cause.conflict)
"""Reasons that two things may not be together: with one of them gone nothing is left to meet."""

NOBODY_ASKS = (How.remedies, How.makes_sure)


def wrong_reasons(book: RuleBook, question: Question, solution: Solution) -> Iterator[str]:
    """Reasons that are none in the finished set, parts without one, and chains that end nowhere."""
    judge, reasons = Judge(book, question, solution), reasons_in(solution)
    for place in sorted(set(judge.new) ^ set(reasons)):
        yield f"{place}: {'no reason is told' if place in judge.new else 'nothing is new there'}"
    for place, (first, also) in reasons.items():
        for because in (first, *also):
            if not judge.is_reason(place, because):
                yield f"{place}: {because.cause} {because.name} from '{because.parent}' is no reason"
            if why := points_nowhere(judge, because):
                yield f"{place}: {because.cause} {because.name} points to {why}"
        if not _leads_back(reasons, place):
            yield f"{place}: its reasons do not lead back to a wish"


def points_nowhere(judge: Judge, because: Because) -> str:
    """Whether a reason points to a place where nothing sits that could ask for anything."""
    asking = because.asking
    if because.how in (How.needs, How.still_needs, How.remedies) and judge.after.get(asking) is None:
        return f"{asking}, which is empty" if because.cause is not Cause.budget or not asking else ""
    if because.how is How.makes_way and judge.after.get(because.parent) is None:
        return f"{because.parent}, which is empty"
    return ""


def _leads_back(reasons: dict[str, tuple], place: str) -> bool:
    seen: set[str] = set()
    while (parent := reasons[place][0].parent) and parent not in seen and parent in reasons:
        seen.add(place)
        place = parent
    return not parent and reasons[place][0].cause in (Cause.wish, Cause.flaw)


def wrongs_of_next_bests(book: RuleBook, question: Question, solution: Solution) -> Iterator[str]:
    """Next bests that are the chosen part itself, cannot sit there, or leave open how else it goes."""
    judge = Judge(book, question, solution)
    for change in solution.changes:
        for other in change.others:
            yield from (f"{change.position}: next best {w}" for w in _wrong(judge, change, other))


def _wrong(judge: Judge, change: Change, other: Other) -> Iterator[str]:
    place, oracle = change.position, judge.o
    if other.component == change.component:
        yield f"{other.component} is what was chosen"
    if other.component not in oracle.can[place]:
        yield f"{other.component} cannot sit there"
    if other.kept != (other.component == oracle.today[place]):
        yield f"{other.component} is wrongly said to stay, or to come"
    if other.outcome is Outcome.impossible:
        return
    if other.way is None:
        asked = change.because.cause not in NOTHING_DEMANDED and change.because.how not in NOBODY_ASKS
        if asked and (other.kept or other.component is None):
            yield f"{other.component or 'nothing'}, and no other way"
    elif other.way.place.startswith("~"):
        if not oracle.obtainable(other.way.component or ""):
            yield f"{other.way.component} cannot be had"
    elif other.way.component not in oracle.can[other.way.place]:
        yield f"{other.way.component} cannot sit at {other.way.place}"
