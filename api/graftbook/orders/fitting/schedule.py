"""The earliest finish with so many pairs of hands, by the solver, and never a claim beyond its proof.

Each step takes one pair of hands from its start to its end. Steps of one section do not run at the
same time (two people are in each other's way there), but for sections said to have room. Pure.
"""

import heapq
import itertools
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from graftbook.closure.search.constrain import cp, new_solver
from graftbook.closure.search.deadline import Deadline
from graftbook.orders.fitting.sequence import Sequence, Step

SECONDS = 5.0
MOST_HANDS = 100
SEARCHES = 8
"""Kinds of search that take turns on one thread: alike each time, and one of them usually packs well."""


@dataclass(frozen=True, slots=True)
class Slot:
    """A step from minute `start` to `end` by pair of `hands` (1 …; 0 where it takes no time)."""

    step: Step
    start: int
    end: int
    hands: int


@dataclass(frozen=True, slots=True)
class Schedule:
    """`proved`: no order of work ends before `finish`. No order ends before `at_least`, in any case.

    `gap` is the share of `finish` that may be too much, 0 when proved. `critical` is the longest chain
    of steps that wait for each other; `work` all minutes.
    """

    slots: tuple[Slot, ...]
    finish: int
    proved: bool
    at_least: int
    gap: float
    critical: int
    work: int


def earliest_finish(
    sequence: Sequence, hands: int, room_in: Iterable[str] = (), seconds: float = SECONDS
) -> Schedule:
    """The schedule of a sequence that is finished first, in minutes from its beginning.

    `room_in` names sections in which several steps may run at the same time. Raises ValueError unless
    there are 1 to 100 pairs of hands.
    """
    if not 1 <= hands <= MOST_HANDS:
        raise ValueError(f"pairs of hands must be 1 to {MOST_HANDS}")
    plan = _Plan(sequence, hands, frozenset(room_in))
    until = Deadline(seconds)
    if hands == 1:
        return Schedule(plan.in_a_row(), plan.work, True, plan.work, 0.0, plan.critical, plan.work)
    starts = plan.by_rule_of_thumb()
    least = plan.at_least()
    if plan.finish(starts) > least:
        starts, bound = _Model(plan, starts).solve(until)
        least = max(least, bound)
    slots = plan.packed(starts)
    finish = max((slot.end for slot in slots), default=0)
    gap = 0.0 if finish == least else round(1 - least / finish, 6)
    return Schedule(slots, finish, finish == least, least, gap, plan.critical, plan.work)


class _Plan:
    """What must be scheduled: minutes, what waits for what, hands, and sections with no room."""

    def __init__(self, sequence: Sequence, hands: int, room_in: frozenset[str]) -> None:
        self.steps = sequence.steps
        self.hands = hands
        self.minutes = {step: sequence.minutes_of(step) for step in self.steps}
        self.waits = sequence.waits
        self.after: dict[Step, list[Step]] = defaultdict(list)
        for step in self.steps:
            for earlier in sorted(self.waits[step]):
                self.after[earlier].append(step)
        sections = {step: sequence.jobs[step.job].section for step in self.steps}
        self.alone = {step: s for step, s in sections.items() if s not in room_in and self.minutes[step]}
        """Step → the section that it fills."""
        self.tail: dict[Step, int] = {}
        """Minutes from the start of a step to the end of the longest chain that it begins."""
        for step in reversed(self.steps):
            self.tail[step] = self.minutes[step] + max((self.tail[s] for s in self.after[step]), default=0)
        self.work = sum(self.minutes.values())
        self.critical = max(self.tail.values(), default=0)

    def at_least(self) -> int:
        """The longest chain, all work shared evenly, and the busiest section: none can be beaten."""
        busy: dict[str, int] = defaultdict(int)
        for step, section in self.alone.items():
            busy[section] += self.minutes[step]
        return max(self.critical, -(-self.work // self.hands), *busy.values(), 0)

    def finish(self, starts: Mapping[Step, int]) -> int:
        return max((start + self.minutes[step] for step, start in starts.items()), default=0)

    def in_a_row(self) -> tuple[Slot, ...]:
        """In the order of the steps: for one pair of hands every order takes as long."""
        ends = list(itertools.accumulate((self.minutes[step] for step in self.steps), initial=0))
        return tuple(
            Slot(step, start, end, int(end > start))
            for step, start, end in zip(self.steps, ends, ends[1:], strict=False)
        )

    def by_rule_of_thumb(self) -> dict[Step, int]:
        """Whenever hands are free: the ready step that begins the longest chain, in a section with room."""
        place = {step: number for number, step in enumerate(self.steps)}
        open_ones = {step: len(self.waits[step]) for step in self.steps}
        ready = [step for step in self.steps if not open_ones[step]]
        running: list[tuple[int, int, Step]] = []
        filled: set[str] = set()
        starts: dict[Step, int] = {}
        now = 0
        while ready or running:
            ready.sort(key=lambda step: (self.minutes[step] > 0, -self.tail[step], place[step]))
            for step in list(ready):
                if self.minutes[step] and (len(running) >= self.hands or self.alone.get(step) in filled):
                    continue
                ready.remove(step)
                starts[step] = now
                heapq.heappush(running, (now + self.minutes[step], place[step], step))
                if step in self.alone:
                    filled.add(self.alone[step])
                if not self.minutes[step]:
                    break
            now = running[0][0]
            while running and running[0][0] == now:
                _, _, step = heapq.heappop(running)
                filled.discard(self.alone.get(step, ""))
                for later in self.after[step]:
                    open_ones[later] -= 1
                    if not open_ones[later]:
                        ready.append(later)
        return starts

    def packed(self, starts: Mapping[Step, int]) -> tuple[Slot, ...]:
        """Hands for each step, and every step as early as its hands, its section and its waits let it."""
        place = {step: number for number, step in enumerate(self.steps)}
        order = sorted(self.steps, key=lambda step: (starts[step], self.minutes[step] > 0, place[step]))
        free = [0] * self.hands
        section_free: dict[str, int] = defaultdict(int)
        ends: dict[Step, int] = {}
        slots = []
        for step in order:
            start = max((ends[earlier] for earlier in self.waits[step]), default=0)
            hands = 0
            if self.minutes[step]:
                start = max(start, section_free[self.alone[step]] if step in self.alone else 0)
                hands = min(range(self.hands), key=lambda h: (max(free[h], start), h))
                start = max(start, free[hands])
                free[hands] = start + self.minutes[step]
                hands += 1
            ends[step] = start + self.minutes[step]
            if step in self.alone:
                section_free[self.alone[step]] = ends[step]
            slots.append(Slot(step, start, ends[step], hands))
        return tuple(sorted(slots, key=lambda slot: (slot.start, slot.end, place[slot.step])))


class _Model:
    """The plan as a constraint model that starts from known starts."""

    def __init__(self, plan: _Plan, starts: Mapping[Step, int]) -> None:
        self.known = dict(starts)
        self.model = cp().CpModel()
        latest = plan.finish(starts)
        self.starts: dict[Step, Any] = {}
        intervals: dict[Step, Any] = {}
        for step in plan.steps:
            self.starts[step] = start = self.model.new_int_var(0, latest - plan.tail[step], "")
            self.model.add_hint(start, starts[step])
            if plan.minutes[step]:
                intervals[step] = self.model.new_fixed_size_interval_var(start, plan.minutes[step], "")
        self.end = self.model.new_int_var(plan.at_least(), latest, "")
        for step, start in self.starts.items():
            self.model.add(start + plan.minutes[step] <= self.end)
            for earlier in sorted(plan.waits[step]):
                self.model.add(self.starts[earlier] + plan.minutes[earlier] <= start)
        self.model.add_cumulative(intervals.values(), [1] * len(intervals), plan.hands)
        filling: dict[str, list[Any]] = defaultdict(list)
        for step, section in plan.alone.items():
            filling[section].append(intervals[step])
        for some in filling.values():
            self.model.add_no_overlap(some)
        self.model.minimize(self.end)

    def solve(self, until: Deadline) -> tuple[dict[Step, int], int]:
        """The best starts known in time, and what no schedule can beat."""
        solver = new_solver(until.left())
        solver.parameters.linearization_level = 1
        solver.parameters.num_workers = SEARCHES
        solver.parameters.interleave_search = True
        status = solver.solve(self.model)
        if status not in (cp().OPTIMAL, cp().FEASIBLE):
            return self.known, 0
        found = {step: solver.value(start) for step, start in self.starts.items()}
        return found, round(solver.best_objective_bound)
