"""The order of work: what comes off before what goes on, the outer off first and on last.

Records say what comes before what, for taking off or for fitting. What is recorded for one of the two
holds the other way round for the other (common practice: fitting is the reverse of taking off), unless
the records say something else. Sections are kept together where that is permitted. Pure.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from api.catalogue.circles import circles_in, shortest_circle


class Work(StrEnum):
    """What is done at a job; its steps are done in this order."""

    removing = "removing"
    fitting = "fitting"


@dataclass(frozen=True, slots=True)
class Job:
    """Work at one position, or with one loose part. `removing` and `fitting` are minutes; None: no such step.

    `place` sorts jobs that may be done in any order.
    """

    name: str
    title: str
    section: str
    removing: int | None = None
    fitting: int | None = None
    place: int = 0
    section_title: str = ""
    tools: tuple[str, ...] = ()
    tightenings: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Before:
    """The work at job `first` is done before that at job `then`; `record` says so, for `reason`."""

    first: str
    then: str
    work: Work = Work.fitting
    reason: str = ""
    record: str = ""


@dataclass(frozen=True, slots=True, order=True)
class Step:
    """One half of a job."""

    job: str
    work: Work


@dataclass(frozen=True, slots=True)
class Circle:
    """Jobs that wait for each other, in their circle, and the records that say so."""

    jobs: tuple[str, ...]
    work: Work
    records: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SectionTime:
    """Minutes of one section, in the order in which sections are begun."""

    section: str
    title: str
    removing: int
    fitting: int

    @property
    def minutes(self) -> int:
        return self.removing + self.fitting


@dataclass(frozen=True, slots=True)
class Sequence:
    """Every step once. `waits` holds what each step waits for; `circles` could not be obeyed whole."""

    jobs: Mapping[str, Job]
    steps: tuple[Step, ...]
    waits: Mapping[Step, frozenset[Step]]
    sections: tuple[SectionTime, ...]
    circles: tuple[Circle, ...] = ()
    given_up: tuple[Before, ...] = ()
    """Records of a circle that the order does not obey."""

    @property
    def minutes(self) -> int:
        return sum(section.minutes for section in self.sections)

    @property
    def tools(self) -> tuple[str, ...]:
        """Special tools, each once, in the order in which they are first wanted."""
        return tuple(dict.fromkeys(tool for step in self.steps for tool in self.jobs[step.job].tools))

    @property
    def cautions(self) -> tuple[str, ...]:
        """Each once, in the order of the work."""
        return tuple(dict.fromkeys(said for step in self.steps for said in self.jobs[step.job].cautions))

    def minutes_of(self, step: Step) -> int:
        return minutes_of(self.jobs[step.job], step.work)


def minutes_of(job: Job, work: Work) -> int:
    return (job.removing if work is Work.removing else job.fitting) or 0


def sequence(jobs: Iterable[Job], befores: Iterable[Before] = ()) -> Sequence:
    """The order of the steps of all jobs; the same for the same jobs in any order of rows.

    Records about other jobs do not count. Raises ValueError when two jobs have one name.
    """
    ordered = sorted(jobs, key=lambda job: (job.place, job.name))
    known = {job.name: job for job in ordered}
    if len(known) < len(ordered):
        raise ValueError("two jobs have one name")
    waits = _Waits(known)
    for before in sorted(set(befores), key=lambda b: (b.work, b.first, b.then, b.record, b.reason)):
        waits.record(before)
    circles, given_up = waits.break_circles()
    waits.turn_round()
    steps = _Order(known, waits.before).run()
    return Sequence(
        known,
        tuple(steps),
        {step: frozenset(waits.before[step]) for step in steps},
        _section_times(known, steps),
        circles,
        given_up,
    )


class _Waits:
    """Which step waits for which, and the records that say so."""

    def __init__(self, jobs: Mapping[str, Job]) -> None:
        self.places = {name: place for place, name in enumerate(jobs)}
        self.before: dict[Step, set[Step]] = {step: set() for job in jobs.values() for step in _steps(job)}
        self.records: dict[tuple[Step, Step], list[Before]] = defaultdict(list)
        for job in jobs.values():
            if len(steps := _steps(job)) == 2:
                self.before[steps[1]].add(steps[0])

    def record(self, before: Before) -> None:
        first, then = Step(before.first, before.work), Step(before.then, before.work)
        if first in self.before and then in self.before and first != then:
            self.before[then].add(first)
            self.records[first, then].append(before)

    def break_circles(self) -> tuple[tuple[Circle, ...], tuple[Before, ...]]:
        """Tell the circles, and forget records until there are none; returns those forgotten too.

        Only steps of one kind of work can wait for each other: a job's own two never do.
        """
        circles, given_up = [], []
        for work in Work:
            pairs = sorted((f.job, t.job) for f, t in self.records if f.work is work)
            for group in circles_in(pairs):
                circle = shortest_circle(pairs, group)
                following = zip(circle, [*circle[1:], circle[0]], strict=True)
                names = [self.records[Step(f, work), Step(t, work)][0].record for f, t in following]
                circles.append(Circle(tuple(circle), work, tuple(dict.fromkeys(names))))
                given_up += self._forget_within(group, work)
        return tuple(circles), tuple(given_up)

    def _forget_within(self, group: frozenset[str], work: Work) -> Iterable[Before]:
        """Take the jobs of a circle one by one, the one that waits for the fewest of the others first."""
        left = {Step(name, work) for name in group}
        while left:
            step = min(left, key=lambda s: (len(self.before[s] & left), self.places[s.job]))
            left.discard(step)
            for sooner in sorted(self.before[step] & left):
                self.before[step].discard(sooner)
                yield from self.records.pop((sooner, step))

    def turn_round(self) -> None:
        """What comes off first goes on last: the reverse of what is recorded for the other kind of work,
        where no record says otherwise."""
        for first, then in sorted(self.records):
            other = Work.fitting if first.work is Work.removing else Work.removing
            sooner, later = Step(then.job, other), Step(first.job, other)
            if sooner in self.before and later in self.before and not self._follows(sooner, later):
                self.before[later].add(sooner)

    def _follows(self, step: Step, of: Step) -> bool:
        """Whether a step waits, however indirectly, for another."""
        seen, open_ones = {step}, [step]
        while open_ones:
            for earlier in self.before[open_ones.pop()]:
                if earlier == of:
                    return True
                if earlier not in seen:
                    seen.add(earlier)
                    open_ones.append(earlier)
        return False


def _steps(job: Job) -> list[Step]:
    given = ((Work.removing, job.removing), (Work.fitting, job.fitting))
    return [Step(job.name, work) for work, minutes in given if minutes is not None]


class _Order:
    """Steps one after the other: the section at hand first, then one that can be finished, then any."""

    def __init__(self, jobs: Mapping[str, Job], before: Mapping[Step, set[Step]]) -> None:
        self.section = {step: jobs[step.job].section for step in before}
        self.places = {name: place for place, name in enumerate(jobs)}
        self.open = {step: len(earlier) for step, earlier in before.items()}
        self.after: dict[Step, list[Step]] = defaultdict(list)
        self.from_elsewhere: dict[str, int] = defaultdict(int)
        """Section → for how many steps of other sections its own still wait."""
        for step, earlier in before.items():
            for first in earlier:
                self.after[first].append(step)
                self.from_elsewhere[self.section[step]] += self.section[first] != self.section[step]
        self.first_place: dict[str, int] = {}
        for step in sorted(before, key=lambda s: self.places[s.job]):
            self.first_place.setdefault(self.section[step], self.places[step.job])
        self.ready: dict[str, list[tuple[bool, int, Step]]] = defaultdict(list)
        for step, count in self.open.items():
            if not count:
                self._make_ready(step)

    def run(self) -> list[Step]:
        done: list[Step] = []
        section = ""
        while len(done) < len(self.open):
            if not self.ready[section]:
                section = self._next_section()
            _, _, step = heapq.heappop(self.ready[section])
            done.append(step)
            self._release(step)
        return done

    def _make_ready(self, step: Step) -> None:
        """In a section, what can come off is taken off before anything is fitted, in the order of places."""
        key = (step.work is Work.fitting, self.places[step.job], step)
        heapq.heappush(self.ready[self.section[step]], key)

    def _release(self, step: Step) -> None:
        for later in self.after[step]:
            self.from_elsewhere[self.section[later]] -= self.section[later] != self.section[step]
            self.open[later] -= 1
            if not self.open[later]:
                self._make_ready(later)

    def _next_section(self) -> str:
        begun = [section for section, ready in self.ready.items() if ready]
        return min(begun, key=lambda s: (self.from_elsewhere[s] > 0, self.first_place[s], s))


def _section_times(jobs: Mapping[str, Job], steps: Iterable[Step]) -> tuple[SectionTime, ...]:
    minutes: dict[str, dict[Work, int]] = {}
    titles: dict[str, str] = {}
    for step in steps:
        job = jobs[step.job]
        of_section = minutes.setdefault(job.section, dict.fromkeys(Work, 0))
        of_section[step.work] += minutes_of(job, step.work)
        titles.setdefault(job.section, job.section_title or job.section)
    return tuple(
        SectionTime(section, titles[section], times[Work.removing], times[Work.fitting])
        for section, times in minutes.items()
    )
