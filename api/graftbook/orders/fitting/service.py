"""The fitting sequence of a question: its closure's jobs in an order that a fitter can follow."""

from datetime import date

from graftbook.closure.answer import Solution
from graftbook.orders.documents import DEFERS
from graftbook.orders.fitting.jobs import scheduled
from graftbook.orders.fitting.schedule import Schedule, Slot
from graftbook.orders.fitting.sequence import Sequence, Step, Work
from graftbook.orders.fitting.steps import loose_use, time_of, verb_of, what_is_done, without_detours
from graftbook.orders.question_schemas import FittingIn
from graftbook.orders.schemas import FittingOut, StepOut, WorkOut
from graftbook.process.service import Service
from graftbook.questions.closures.service import found_set, set_only
from graftbook.questions.reading import ask, at_revision
from graftbook.rulebook.model import RuleBook

SECONDS = 3.0
NO_ORDER_IS_QUICKER = (
    "with the orders of work and times recorded, and one pair of hands at a time in a section without room "
    "for more, no order is quicker"
)


def fitting_facts(service: Service, body: FittingIn) -> FittingOut:
    """The sequence as facts, worked out when it is its turn. Raises what `ask` raises, NoSet, and Busy."""
    asked = at_revision(service, body, lambda then: ask(then, body))
    with service.turn(asked.deadline):
        answer, known = set_only(service, "fitting", asked)
        solution = found_set(answer)
        until = asked.deadline.extended().within(SECONDS)
        found, schedule = service.reasoner.run(
            scheduled,
            asked.book,
            asked.question.vehicle,
            solution,
            body.hands,
            body.room_in,
            until,
            deadline=asked.deadline,
        )
    return {
        "date": date.today().isoformat(),
        "vehicle": known["vehicle"],
        "wishes": [wish["sentence"] for wish in known["wishes"]],
        "outcome": answer.outcome.value,
        "catalogue_revision": asked.book.revision,
        **sequence_facts(found, schedule, body.hands, _coming_off(asked.book, solution)),
    }


def _coming_off(book: RuleBook, solution: Solution) -> dict[str, str]:
    """Position → what comes off there, in words."""
    found = {}
    for change in solution.changes:
        part = book.components.get(change.replaces or "")
        if part:
            found[change.position] = f"{book.positions[change.position].title}: {part.name} ({part.number})"
    return found


def sequence_facts(found: Sequence, schedule: Schedule, hands: int, coming_off: dict[str, str]) -> WorkOut:
    """A sequence and its schedule as facts, steps in the order of the work.

    `coming_off`: job → what is taken off there, in words.
    """
    numbers = {step: number for number, step in enumerate(found.steps, start=1)}
    waits = without_detours(found)
    slots = {slot.step: slot for slot in schedule.slots}
    proved, proved_of = _proof(found, schedule, hands)
    return {
        "steps": [
            _step(found, step, numbers, waits[step], slots.get(step), coming_off) for step in found.steps
        ],
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
        "proved": proved,
        "proved_of": proved_of,
        "at_least_minutes": schedule.at_least,
        "longest_chain_minutes": schedule.critical,
        "orders_recorded": found.records,
        "steps_without_order": len(found.unordered),
        "steps_without_time": len(found.untimed),
        "sentence": _sentence(found, schedule, hands),
        "cautions": list(found.cautions),
        "defers": DEFERS,
    }


def _step(
    found: Sequence,
    step: Step,
    numbers: dict[Step, int],
    waits: frozenset[Step],
    slot: Slot | None,
    coming_off: dict[str, str],
) -> StepOut:
    job = found.jobs[step.job]
    fits = step.work is Work.fitting
    uses = job.loose if fits or job.fitting is None else ()
    return {
        "step": numbers[step],
        "work": step.work.value,
        "verb": verb_of(job, step.work),
        "for_access": job.state or None,
        "job": job.name,
        "title": job.title if fits else coming_off.get(job.name, job.title),
        "section": job.section,
        "section_title": job.section_title,
        "minutes": found.minutes_of(step),
        "time": time_of(job, step.work),
        "start": slot.start if slot else None,
        "end": slot.end if slot else None,
        "hands": slot.hands if slot else None,
        "waits_for": sorted(numbers[other] for other in waits),
        "instructions": what_is_done(job, step.work),
        "loose_parts": [loose_use(use) for use in uses],
        "tools": list(job.tools) if fits else [],
        "tightenings": list(job.tightenings) if fits else [],
    }


def _proof(found: Sequence, schedule: Schedule, hands: int) -> tuple[bool, str]:
    """What is proved, and of what: no more than follows from what is recorded."""
    if hands == 1:
        return not found.circles, f"the order {_respects(found)}"
    return schedule.proved, NO_ORDER_IS_QUICKER


def _respects(found: Sequence) -> str:
    if found.circles:
        return f"respects {found.records} recorded orders of work; some others wait for each other"
    if not found.records:
        return "follows no recorded order of work: none is recorded"
    return f"respects {'the one' if found.records == 1 else f'all {found.records}'} recorded " + (
        "order of work" if found.records == 1 else "orders of work"
    )


def _sentence(found: Sequence, schedule: Schedule, hands: int) -> str:
    if not found.steps:
        return "Nothing is changed: there is no work."
    people = "one pair of hands" if hands == 1 else f"{hands} pairs of hands"
    hours, minutes = divmod(schedule.finish, 60)
    least = "at least " if found.untimed else ""
    sentences = [f"With {people} the work takes {least}{hours} h {minutes} min."]
    if hands == 1:
        sentences.append(f"This order {_respects(found)}.")
    elif schedule.proved:
        sentences.append("With the orders of work and times recorded, no order is quicker.")
    else:
        sentences.append(
            f"Whether another order is quicker was not proved in time: {schedule.at_least} min at least."
        )
    for some, what in ((found.untimed, "time"), (found.unordered, "order")):
        if some:
            have = "has" if len(some) == 1 else "have"
            sentences.append(f"{len(some)} of the {len(found.steps)} steps {have} no recorded {what}.")
    return " ".join(sentences)
