"""The jobs of a set and what comes before what, from the rule book. Pure."""

from collections.abc import Iterable, Iterator

from api.closure.answer import Because, Cause, Change, How, Loose, Solution
from api.closure.cautions import CUTTING, section_cautions
from api.orders.sequence import Before, Job, Work
from api.rulebook.model import Alternative, Companion, Effort, RuleBook, Tightening, Vehicle

_NOT_FITTED = (How.still_needs, How.left_without)
"""Reasons whose asking part is not among what is fitted: it stays, or it goes."""

LOOSE = "loose "
"""Before the number, in the name of the job of a loose part."""


def jobs_of(
    book: RuleBook, vehicle: Vehicle, solution: Solution
) -> tuple[tuple[Job, ...], tuple[Before, ...]]:
    """A job for each change and each loose part, and the records that put them in order.

    The minutes of a fitment count as fitting, taking off what was there included; where nothing is
    fitted, only the taking off is a step, whose minutes nobody recorded.
    """
    places = {name: place for place, name in enumerate(_in_order(book))}
    jobs = [_job_of_change(book, vehicle, change, places[change.position]) for change in solution.changes]
    jobs += [_job_of_loose(book, part, len(places) + n) for n, part in enumerate(solution.loose)]
    return tuple(jobs), tuple(_befores(book, vehicle, solution))


def _in_order(book: RuleBook) -> list[str]:
    """Positions, sections first as the book orders them."""
    orders = {name: section.order for name, section in book.sections.items()}
    return sorted(book.positions, key=lambda p: (orders.get(book.positions[p].section, 10**6), p))


def _job_of_change(book: RuleBook, vehicle: Vehicle, change: Change, place: int) -> Job:
    fitment = next((f for f in book.fitments if f.name == change.claim), None)
    position, section = book.positions[change.position], book.sections.get(change.section)
    part = book.components.get(change.component or "")
    cautions = section_cautions(book, change.section)
    if change.effort is Effort.cutting:
        cautions = (*cautions, CUTTING)
    return Job(
        name=change.position,
        title=f"{position.title}: {part.name} ({part.number})" if part else f"{position.title}: taken off",
        section=change.section,
        removing=0 if change.replaces else None,
        fitting=change.minutes if change.component else None,
        place=place,
        section_title=section.title if section else "",
        tools=fitment.tools if fitment else (),
        tightenings=tuple(
            tightened(record)
            for record in sorted(book.tightenings, key=lambda t: t.name)
            if change.component and _is_for(record, change) and record.when.holds(vehicle)
        ),
        cautions=cautions,
    )


def _is_for(record: Tightening, change: Change) -> bool:
    return record.position == change.position and record.component in ("", change.component)


def tightened(record: Tightening) -> str:
    """ "Wheel nuts: 130 Nm, then 60 deg."; values as they were recorded."""
    angle = f", then {record.angle.written}" if record.angle else ""
    note = f" ({record.note})" if record.note else ""
    return f"{record.fastener}: {record.torque.written}{angle}{note}"


def _job_of_loose(book: RuleBook, loose: Loose, place: int) -> Job:
    part = book.components[loose.component]
    section = book.sections.get(part.section)
    return Job(
        name=LOOSE + loose.component,
        title=f"{part.name} ({part.number})",
        section=part.section,
        fitting=0,
        place=place,
        section_title=section.title if section else "",
        cautions=(f"{part.number}: {part.hazard}",) if part.hazard else (),
    )


def _befores(book: RuleBook, vehicle: Vehicle, solution: Solution) -> Iterator[Before]:
    for record in sorted(book.precedences, key=lambda p: p.name):
        if record.when.holds(vehicle):
            yield Before(record.first, record.then, Work(record.work), record.reason, record.name)
    rules = {rule.name: rule for rule in book.companions}
    for change in solution.changes:
        if change.component:
            named = {change.component, change.asked_number}
            yield from _of_companions(book, rules, _reasons(change), change.position, named)
    for part in solution.loose:
        yield from _of_companions(book, rules, _reasons(part), LOOSE + part.component, {part.component})


def _reasons(brought: Change | Loose) -> tuple[Because, ...]:
    return (brought.because, *brought.also_needed_by)


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
