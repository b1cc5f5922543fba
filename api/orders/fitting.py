"""The fitting sequence of a question: its closure's jobs in an order that a fitter can follow."""

from datetime import date
from typing import Any

from api.asking.closures import understood
from api.asking.questions import ask, at_revision
from api.closure.answer import Solution
from api.closure.answering import answer_question
from api.orders.facts import DEFERS
from api.orders.jobs import jobs_of
from api.orders.schedule import Schedule, Slot, earliest_finish
from api.orders.sequence import Sequence, Step, sequence
from api.problems import NoSet
from api.rulebook.model import RuleBook
from api.service import Service
from api.watching.reasoning import alone, watched
from api.wire.orders_in import FittingIn

Facts = dict[str, Any]
SECONDS = 3.0


def fitting_facts(service: Service, body: FittingIn) -> Facts:
    """The sequence as facts, worked out when it is its turn. Raises what `ask` raises, NoSet, and Busy."""
    asked = at_revision(service, body, lambda then: ask(then, body))
    with service.turn():
        answer = watched(
            "fitting", lambda: answer_question(asked.book, asked.question, next_bests=False), alone
        )
        if answer.solution is None:
            raise NoSet("These wishes have no set; their closure says why")
        found = sequence(*jobs_of(asked.book, asked.question.vehicle, answer.solution))
        schedule = earliest_finish(found, body.hands, body.room_in, SECONDS)
    known = understood(service, asked)
    return {
        "date": date.today().isoformat(),
        "vehicle": known["vehicle"],
        "wishes": [wish["sentence"] for wish in known["wishes"]],
        "outcome": str(answer.outcome),
        "catalogue_revision": asked.book.revision,
        **sequence_facts(found, schedule, body.hands, _coming_off(asked.book, answer.solution)),
    }


def _coming_off(book: RuleBook, solution: Solution) -> dict[str, str]:
    """Position → what comes off there, in words."""
    found = {}
    for change in solution.changes:
        part = book.components.get(change.replaces or "")
        if part:
            found[change.position] = f"{book.positions[change.position].title}: {part.name} ({part.number})"
    return found


def sequence_facts(found: Sequence, schedule: Schedule, hands: int, coming_off: dict[str, str]) -> Facts:
    """A sequence and its schedule as facts, steps in the order of the work.

    `coming_off`: job → what is taken off there, in words.
    """
    numbers = {step: number for number, step in enumerate(found.steps, start=1)}
    slots = {slot.step: slot for slot in schedule.slots}
    return {
        "steps": [_step(found, step, numbers, slots.get(step), coming_off) for step in found.steps],
        "sections": [
            {
                "section": s.section,
                "title": s.title,
                "removing": s.removing,
                "fitting": s.fitting,
                "minutes": s.minutes,
            }
            for s in found.sections
        ],
        "minutes": found.minutes,
        "tools": list(found.tools),
        "circles": [
            {
                "jobs": [found.jobs[name].title for name in circle.jobs],
                "records": list(circle.records),
                "sentence": f"The records {', '.join(circle.records)} wait for each other; one was left out.",
            }
            for circle in found.circles
        ],
        "hands": hands,
        "finish_minutes": schedule.finish,
        "proved": schedule.proved,
        "at_least_minutes": schedule.at_least,
        "longest_chain_minutes": schedule.critical,
        "sentence": _sentence(schedule, hands),
        "cautions": list(found.cautions),
        "defers": DEFERS,
    }


def _step(
    found: Sequence, step: Step, numbers: dict[Step, int], slot: Slot | None, coming_off: dict[str, str]
) -> Facts:
    job = found.jobs[step.job]
    fits = step.work == "fitting"
    return {
        "step": numbers[step],
        "work": str(step.work),
        "job": job.name,
        "title": job.title if fits else coming_off.get(job.name, job.title),
        "section": job.section,
        "section_title": job.section_title,
        "minutes": found.minutes_of(step),
        "start": slot.start if slot else None,
        "end": slot.end if slot else None,
        "hands": slot.hands if slot else None,
        "waits_for": sorted(numbers[other] for other in found.waits[step] if other in numbers),
        "tools": list(job.tools) if fits else [],
        "tightenings": list(job.tightenings) if fits else [],
    }


def _sentence(schedule: Schedule, hands: int) -> str:
    people = "one pair of hands" if hands == 1 else f"{hands} pairs of hands"
    hours, minutes = divmod(schedule.finish, 60)
    told = f"With {people} it is done in {hours} h {minutes} min"
    if schedule.proved:
        return f"{told}; proved: no order of work is quicker."
    return f"{told}; not proved in time: {schedule.at_least} min at least."
