"""The order of work: what comes off before what goes on, the outer off first and on last.

Records say what comes before what, for taking off or for fitting. What is recorded for one of the two
holds the other way round for the other (common practice: fitting is the reverse of taking off), unless
the records say something else; and nothing goes on under what is still there. Sections are kept together
where that is permitted. Pure.
"""

import heapq
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

from graftbook.catalogue.lint.circles import circles_in, shortest_circle


class Work(StrEnum):
    """What is done at a job; its steps are done in this order."""

    removing = "removing"
    fitting = "fitting"


@dataclass(frozen=True, slots=True)
class LooseUse:
    """Pieces of a loose part that a step uses: `goes_on` before or after the step's own part, or "".

    `amount`: how much of what a piece holds, in words. `also_serves`: the jobs that it serves too.
    `minutes`: the work that all pieces ask for.
    """

    component: str
    name: str
    quantity: int
    goes_on: str = ""
    amount: str = ""
    also_serves: tuple[str, ...] = ()
    minutes: int = 0
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Job:
    """Work at one position, or with one loose part. `removing` and `fitting` are minutes; None: no such step.

    `untimed`: those of them of which nobody recorded how long they take. `place` sorts jobs that may be
    done in any order. `state`: what this makes of its `position` while there is work at the positions
    that it `serves`; empty where something is changed.
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
    untimed: frozenset[Work] = frozenset()
    state: str = ""
    position: str = ""
    serves: frozenset[str] = frozenset()
    opening: str = ""
    closing: str = ""
    reasons: tuple[str, ...] = ()
    loose: tuple[LooseUse, ...] = ()


@dataclass(frozen=True, slots=True)
class Before:
    """The `work` at job `first` is done before that at job `then`; `record` says so, for `reason`.

    Without `then_work` it speaks of one kind of work, and the reverse holds for the other kind; with it,
    of that step of `then` and no more.
    """

    first: str
    then: str
    work: Work = Work.fitting
    reason: str = ""
    record: str = ""
    then_work: Work | None = None


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
    """Every step once. `waits` holds what each step waits for; `circles` could not be obeyed whole.

    `records`: how many records the order obeys. `unordered`: steps of which no record says what they come
    before or after.
    """

    jobs: Mapping[str, Job]
    steps: tuple[Step, ...]
    waits: Mapping[Step, frozenset[Step]]
    sections: tuple[SectionTime, ...]
    circles: tuple[Circle, ...] = ()
    given_up: tuple[Before, ...] = ()
    """Records of a circle that the order does not obey."""
    records: int = 0
    unordered: frozenset[Step] = frozenset()

    @property
    def untimed(self) -> tuple[Step, ...]:
        """Steps of which nobody recorded how long they take."""
        return tuple(step for step in self.steps if step.work in self.jobs[step.job].untimed)

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
        return tuple(
            dict.fromkeys(caution for step in self.steps for caution in self.jobs[step.job].cautions)
        )

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
    for before in sorted(set(befores), key=_by_name):
        waits.record(before)
    circles, given_up = waits.break_circles()
    waits.turn_round()
    steps = _Order(known, waits.before).run()
    return Sequence(
        known,
        tuple(steps),
        {step: frozenset(waits.before[step]) for step in steps},
        section_times(known, steps),
        circles,
        given_up,
        len(waits.obeyed),
        frozenset(waits.before) - waits.ordered,
    )


def _by_name(before: Before) -> tuple[str, ...]:
    return (before.work, before.first, before.then, before.then_work or "", before.record, before.reason)


class _Waits:
    """Which step waits for which, and the records that say so."""

    def __init__(self, jobs: Mapping[str, Job]) -> None:
        self.places = {name: place for place, name in enumerate(jobs)}
        self.before: dict[Step, set[Step]] = {step: set() for job in jobs.values() for step in _steps(job)}
        self.records: dict[tuple[Step, Step], list[Before]] = defaultdict(list)
        self.turning: list[Before] = []
        """Records that hold the other way round too, for jobs at hand."""
        self.obeyed: set[str] = set()
        self.ordered: set[Step] = set()
        """Steps of which a record says what they come before or after."""
        for job in jobs.values():
            if len(steps := _steps(job)) == 2:
                self.before[steps[1]].add(steps[0])

    def record(self, before: Before) -> None:
        first = Step(before.first, before.work)
        then = Step(before.then, before.then_work or before.work)
        if before.first == before.then or not {before.first, before.then} <= self.places.keys():
            return
        if before.then_work is None:
            self.turning.append(before)
        if first in self.before and then in self.before:
            self.before[then].add(first)
            self.records[first, then].append(before)

    def break_circles(self) -> tuple[tuple[Circle, ...], tuple[Before, ...]]:
        """Tell the circles, and forget records until there are none; returns those forgotten too.

        Only steps of one kind of work can wait for each other: no record lets a removal wait for a fitting.
        """
        circles: list[Circle] = []
        given_up: list[Before] = []
        for work in Work:
            pairs = sorted((f.job, t.job) for f, t in self.records if f.work is t.work is work)
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
                given_up = self.records.pop((sooner, step))
                self.turning = [before for before in self.turning if before not in given_up]
                yield from given_up

    def turn_round(self) -> None:
        """What comes off first goes on last: the reverse of what is recorded for the other kind of work,
        where no record says otherwise. What goes on last comes off before what it covers is fitted."""
        for first, then in self.records:
            for before in self.records[first, then]:
                self._note(before, first, then)
        for before in self.turning:
            removing = before.work is Work.removing
            outer, inner = (before.first, before.then) if removing else (before.then, before.first)
            other = Work.fitting if removing else Work.removing
            self._add_unless_reversed(before, Step(before.then, other), Step(before.first, other))
            self._add_unless_reversed(before, Step(outer, Work.removing), Step(inner, Work.fitting))

    def _add_unless_reversed(self, before: Before, sooner: Step, later: Step) -> None:
        if sooner in self.before and later in self.before and not self._follows(sooner, later):
            self.before[later].add(sooner)
            self._note(before, sooner, later)

    def _note(self, before: Before, sooner: Step, later: Step) -> None:
        if before.record:
            self.obeyed.add(before.record)
            self.ordered |= {sooner, later}

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


def section_times(jobs: Mapping[str, Job], steps: Iterable[Step]) -> tuple[SectionTime, ...]:
    """Minutes by section, in the order in which the steps come to it."""
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
