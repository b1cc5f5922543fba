"""The jobs of a set and what comes before what, from the rule book. Pure."""

from collections.abc import Iterable, Iterator
from itertools import groupby, pairwise

from graftbook.closure.answer import Because, Cause, Change, How, Solution
from graftbook.closure.search.deadline import Deadline
from graftbook.closure.words.sentences import CUTTING, lifting, section_cautions
from graftbook.orders.fitting.access import Room, first_and_last
from graftbook.orders.fitting.loose import LOOSE, Sharing, with_loose
from graftbook.orders.fitting.schedule import Schedule, earliest_finish
from graftbook.orders.fitting.sequence import Before, Job, Sequence, Work, sequence
from graftbook.orders.fitting.tightening import distance, tightened, tightenings_at, tightenings_of
from graftbook.rulebook.model import Alternative, Companion, Effort, RuleBook, Tightening, Vehicle

AGAIN = "again after "
"""Before the distance, in the name of the job that tightens again."""

_NOT_FITTED = (How.still_needs, How.left_without)
"""Reasons whose asking part is not among what is fitted: it stays, or it goes."""


def scheduled(
    book: RuleBook, vehicle: Vehicle, solution: Solution, hands: int, room_in: Iterable[str], until: Deadline
) -> tuple[Sequence, Schedule]:
    """The sequence of a set's work, and when it is finished first with so many pairs of hands."""
    found = fitting_sequence(book, vehicle, solution)
    return found, earliest_finish(found, hands, room_in, until.left())


def fitting_sequence(book: RuleBook, vehicle: Vehicle, solution: Solution) -> Sequence:
    """The work of a set in order: a job for each change, for what makes room for it, and for what is
    tightened again on the road; loose parts inside the steps that use them.

    The minutes of a fitment count as fitting, taking off what was there included; where nothing is
    fitted, only the taking off is a step, whose minutes nobody recorded.
    """
    places = {name: place for place, name in enumerate(_in_order(book))}
    room = Room(book, vehicle, solution)
    jobs = [_job_of_change(book, vehicle, change, places[change.position]) for change in solution.changes]
    jobs += room.jobs(places)
    sharing = Sharing(book, solution, jobs)
    jobs += [_job_of_loose(book, number, len(places) + n) for n, number in enumerate(sharing.alone())]
    befores = [*_befores(book, vehicle, solution), *room.befores, *first_and_last(jobs)]
    again = list(_again(book, vehicle, jobs, solution))
    befores += [
        Before(job.name, last.name, work, then_work=Work.fitting)
        for last in again for job in jobs for work in Work
    ]  # fmt: skip
    befores += [Before(sooner.name, later.name, Work.fitting) for sooner, later in pairwise(again)]
    return with_loose(sequence([*jobs, *again], befores), sharing)


def _in_order(book: RuleBook) -> list[str]:
    """Positions, sections first as the book orders them."""
    orders = {name: section.order for name, section in book.sections.items()}
    return sorted(book.positions, key=lambda p: (orders.get(book.positions[p].section, 10**6), p))


def _job_of_change(book: RuleBook, vehicle: Vehicle, change: Change, place: int) -> Job:
    fitment = next((f for f in book.fitments if f.name == change.claim), None)
    position, section = book.positions[change.position], book.sections.get(change.section)
    part = book.components.get(change.component or "")
    fits = Work.fitting if part and not change.minutes else None
    takes_off = Work.removing if change.replaces and not part else None
    return Job(
        name=change.position,
        title=f"{position.title}: {part.name} ({part.number})" if part else f"{position.title}: taken off",
        section=change.section,
        removing=0 if change.replaces else None,
        fitting=change.minutes if change.component else None,
        place=place,
        section_title=section.title if section else "",
        tools=fitment.tools if fitment else (),
        tightenings=(
            tightenings_at(book, vehicle, change.position, change.component) if change.component else ()
        ),
        cautions=_cautions(book, change),
        untimed=frozenset(work for work in (fits, takes_off) if work),
        position=change.position,
    )


def _cautions(book: RuleBook, change: Change) -> tuple[str, ...]:
    """Those of the section, of cutting, and the masses and hazards of what comes off and of what goes on."""
    parts = [book.components.get(number or "") for number in (change.replaces, change.component)]
    return (
        *section_cautions(book, change.section),
        *((CUTTING,) if change.effort is Effort.cutting else ()),
        *dict.fromkeys(caution for part in parts for caution in lifting(part)),
        *(f"{part.number}: {part.hazard}" for part in parts if part and part.hazard),
    )


def _job_of_loose(book: RuleBook, number: str, place: int) -> Job:
    part = book.components[number]
    section = book.sections.get(part.section)
    return Job(
        name=LOOSE + number,
        title=f"{part.name} ({part.number})",
        section=part.section,
        fitting=0,
        place=place,
        section_title=section.title if section else "",
        untimed=frozenset() if part.minutes else frozenset({Work.fitting}),
    )


def _again(book: RuleBook, vehicle: Vehicle, jobs: Iterable[Job], solution: Solution) -> Iterator[Job]:
    """What is tightened again, a job for each distance, the shortest first."""
    found: list[tuple[float, str, Job, Tightening]] = []
    for job in jobs:
        number = solution.after.get(job.position)
        if job.fitting is None or job.name != job.position or not number:
            continue
        for record in tightenings_of(book, vehicle, job.position, number):
            if record.again_after:
                found.append((record.again_after.high or 0.0, record.again_after.written, job, record))
    found.sort(key=lambda one: (one[0], one[1], one[2].place))
    for written, some in groupby(found, key=lambda one: one[1]):
        again = list(some)
        first = again[0][2]
        yield Job(
            name=AGAIN + written,
            title=f"after {distance(written)} on the road",
            section=first.section,
            fitting=0,
            place=10**6,
            section_title=first.section_title,
            tightenings=tuple(tightened(record, now=False) for _, _, _, record in again),
            cautions=section_cautions(book, first.section),
            untimed=frozenset({Work.fitting}),
            state="again",
        )


def _befores(book: RuleBook, vehicle: Vehicle, solution: Solution) -> Iterator[Before]:
    for record in sorted(book.precedences, key=lambda p: p.name):
        if record.when.holds(vehicle):
            yield Before(record.first, record.then, Work(record.work), record.reason, record.name)
    rules = {rule.name: rule for rule in book.companions}
    for change in solution.changes:
        if change.component:
            named = {change.component, change.asked_number}
            reasons = (change.because, *change.also_needed_by)
            yield from _of_companions(book, rules, reasons, change.position, named)


def _of_companions(
    book: RuleBook, rules: dict[str, Companion], reasons: Iterable[Because], job: str, named: set[str]
) -> Iterator[Before]:
    """Where a companion goes on before or after the change that brought it."""
    for reason in reasons:
        rule = rules.get(reason.name) if reason.cause is Cause.companion else None
        if rule is None or not reason.parent or reason.how in _NOT_FITTED:
            continue
        for alternative in rule.alternatives:
            if alternative.goes_on and _is_met_by(book, alternative, job, named):
                first, then = job, reason.parent
                if alternative.goes_on == "after":
                    first, then = then, first
                yield Before(first, then, Work.fitting, rule.reason, rule.name)
                break


def _is_met_by(book: RuleBook, alternative: Alternative, job: str, named: set[str]) -> bool:
    """Whether the job is what the alternative asks for: its component or a number that serves for it."""
    if alternative.position and alternative.position != job:
        return False
    if not alternative.component:
        return bool(alternative.having)
    serve = {s.new for s in book.supersessions if s.old in named} | {
        s.old for s in book.supersessions if s.new in named
    }
    return alternative.component in named | serve
