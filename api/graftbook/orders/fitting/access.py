"""What comes off, or is made safe, so that there is room for the work, and goes back afterwards. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping

from graftbook.closure.answer import Change, Solution
from graftbook.closure.words.sentences import STANDS, lifting, section_cautions
from graftbook.orders.fitting.sequence import Before, Job, Work
from graftbook.orders.fitting.tightening import tightenings_at
from graftbook.rulebook.model import Access, RuleBook, Vehicle

MOVED = ("off", "carried over")
"""The states in which something that does not change is taken off and put back."""
AROUND = ("depressurised", "disconnected", "on stands", "drained")
"""The other states from the outermost: pressure is let off while the battery still serves, and comes back
when it serves again, so that every joint is looked at under pressure."""
FILLED = ("drained", "bled")
BEFORE_ALL = "disconnected"
BLED = "bled"


def state_job(state: str, position: str) -> str:
    """The name of the job that makes safe what is at a position."""
    return f"{state} {position}"


class Room:
    """The jobs that make room for a set's changes, and what they come before and after."""

    def __init__(self, book: RuleBook, vehicle: Vehicle, solution: Solution) -> None:
        self.book, self.vehicle, self.solution = book, vehicle, solution
        self.changed: Mapping[str, Change] = {change.position: change for change in solution.changes}
        self.of_position: dict[str, list[Access]] = defaultdict(list)
        for record in sorted(book.accesses, key=lambda a: a.name):
            if record.when.holds(vehicle):
                self.of_position[record.position].append(record)
        self.reasons: dict[str, list[Access]] = defaultdict(list)
        """Job → the records that ask for it."""
        self.states: dict[str, tuple[str, str]] = {}
        """Job → what it makes of which position."""
        self.befores: list[Before] = []
        self.off: list[tuple[str, Access]] = []
        """Place of work, and the record of what is off for it."""
        self._follow()

    def _follow(self) -> None:
        """Through the records of each place that is worked at, those that are off for it included."""
        waiting = [(place, place) for place in sorted(self.changed)]
        seen = set(waiting)
        while waiting:
            place, job = waiting.pop()
            for record in self.of_position[place]:
                if not self._speaks(record, place, job):
                    continue
                for more in self._needs(record, job):
                    if more not in seen:
                        seen.add(more)
                        waiting.append(more)
        self.befores += [*_around(self.states), *self._outside_what_is_off(), *self._before_it_is_bled()]

    def _outside_what_is_off(self) -> Iterator[Before]:
        """What is made safe for a place stays so until what is off for that place is back."""
        for place, record in self.off:
            for made in self.states:
                state, _ = self.states[made]
                if state in AROUND and any(place == r.position for r in self.reasons[made]):
                    for work in Work:
                        yield _edge(made, Work.removing, record.other_position, work, record)
                        yield _edge(record.other_position, work, made, Work.fitting, record)

    def _before_it_is_bled(self) -> Iterator[Before]:
        """What is part of a circuit and was off to make room is back before the circuit is filled."""
        for _, record in self.off:
            for made, (state, position) in self.states.items():
                circuit = (r for r in self.of_position[record.other_position] if r.state == BLED)
                if state == BLED and any(r.other_position == position for r in circuit):
                    yield _edge(record.other_position, Work.fitting, made, Work.fitting, record)

    def _speaks(self, record: Access, place: str, job: str) -> bool:
        """Whether a record speaks of the work that a job does at a place."""
        if record.component and self.solution.after.get(place) != record.component:
            return False
        if job != place:
            return record.state == "off"
        itself = record.position == record.other_position
        if not itself and record.state not in (BLED, "carried over"):
            return True
        change = self.changed.get(place)
        return bool(change and (record.state != "carried over" or (change.component and change.replaces)))

    def _needs(self, record: Access, job: str) -> Iterator[tuple[str, str]]:
        """Take up a record; yields (place, job) of work that it brings."""
        other = record.other_position
        opens, closes = (
            number is not None and record.other_component in ("", number)
            for number in (self.solution.today.get(other), self.solution.after.get(other))
        )
        if record.state not in MOVED:
            if opens or closes:
                yield from self._make(record, job, opens=opens and record.state != BLED, closes=closes)
            return
        if record.state == "carried over" and other in self.changed:
            return
        if other not in self.changed and (opens or closes):
            self.states.setdefault(other, (record.state, other))
            self.reasons[other].append(record)
            yield other, other
        self.off += [(record.position, record)] if record.state == "off" and job == record.position else []
        self.befores += _edges_of_move(record, job, opens=opens, closes=closes)

    def _make(self, record: Access, job: str, *, opens: bool, closes: bool) -> Iterator[tuple[str, str]]:
        made = state_job(record.state, record.other_position)
        self.states[made] = (record.state, record.other_position)
        self.reasons[made].append(record)
        for served in dict.fromkeys((job, record.other_position)):
            for work in Work:
                if opens:
                    self.befores.append(_edge(made, Work.removing, served, work, record))
                if closes:
                    self.befores.append(_edge(served, work, made, Work.fitting, record))
        if record.state == BLED:
            yield record.other_position, made

    def jobs(self, places: Mapping[str, int]) -> Iterator[Job]:
        """The jobs; `places`: position → where it sorts."""
        for name, (state, position) in self.states.items():
            yield self._job(name, state, position, places[position])

    def _job(self, name: str, state: str, position: str, place: int) -> Job:
        records = sorted(self.reasons[name], key=lambda a: a.name)
        here = self.book.positions[position]
        section = self.book.sections.get(here.section)
        number = self.solution.today.get(position) if state in MOVED else None
        part = self.book.components.get(number or "")
        opens, closes = (
            state != BLED and position in self.solution.today and bool(self.solution.today[position]),
            bool(self.solution.after.get(position)),
        )
        hazard = (f"{part.number}: {part.hazard}",) if part and part.hazard else ()
        title = f"{here.title}: {part.name} ({part.number})" if part else here.title
        if state == BLED and section:
            title = f"{section.title.lower()}, from the {here.title} on"
        return Job(
            name=name,
            title=title,
            section=here.section,
            removing=0 if opens else None,
            fitting=0 if closes else None,
            place=place,
            section_title=section.title if section else "",
            tightenings=tightenings_at(self.book, self.vehicle, position, number or "") if part else (),
            cautions=(
                *section_cautions(self.book, here.section), *((STANDS,) if state == "on stands" else ()),
                *lifting(part), *hazard,
            ),
            untimed=frozenset(Work),
            state=state,
            position=position,
            serves=frozenset(record.position for record in records),
            opening=next((record.opening for record in records if record.opening), ""),
            closing=next((record.closing for record in records if record.closing), ""),
            reasons=tuple(dict.fromkeys(record.reason for record in records)),
        )  # fmt: skip


def _edge(first: str, work: Work, then: str, then_work: Work, record: Access | None) -> Before:
    named = (record.reason, record.name) if record else ("", "")
    return Before(first, then, work, *named, then_work=then_work)


def _edges_of_move(record: Access, job: str, *, opens: bool, closes: bool) -> Iterable[Before]:
    other = record.other_position
    if record.state == "carried over":
        return [
            _edge(job, Work.removing, other, Work.removing, record),
            _edge(other, Work.fitting, job, Work.fitting, record),
        ]
    off = [_edge(other, Work.removing, job, work, record) for work in Work if opens]
    return off + [_edge(job, work, other, Work.fitting, record) for work in Work if closes]


def _around(states: Mapping[str, tuple[str, str]]) -> Iterator[Before]:
    """The states one inside the other."""
    made = sorted((AROUND.index(state), job) for job, (state, _) in states.items() if state in AROUND)
    for outer, first in made:
        for inner, then in made:
            if outer < inner:
                yield _edge(first, Work.removing, then, Work.removing, None)
                yield _edge(then, Work.fitting, first, Work.fitting, None)


def first_and_last(jobs: Iterable[Job]) -> Iterator[Before]:
    """The battery is off before all other work and on after it, but for pressure that needs it."""
    jobs = tuple(jobs)
    for safe in (job for job in jobs if job.state == BEFORE_ALL):
        for job in jobs:
            if job.state not in AROUND:
                for work in Work:
                    yield _edge(safe.name, Work.removing, job.name, work, None)
                    yield _edge(job.name, work, safe.name, Work.fitting, None)
