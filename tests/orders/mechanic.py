"""A mechanic who follows a fitting sequence word by word on a vehicle, and says where it cannot be done.

It knows the rule book and the set, reads the steps as they are sent, and shares nothing with what makes them.
"""

from collections import Counter
from collections.abc import Iterator
from typing import Any

from graftbook.closure.answer import Solution
from graftbook.rulebook.model import Access, RuleBook, Vehicle

Step = dict[str, Any]


class Vexed(AssertionError):
    """What the mechanic cannot do."""


def follow(book: RuleBook, vehicle: Vehicle, solution: Solution, steps: list[Step]) -> None:
    """Do every step. Raises Vexed."""
    _Mechanic(book, vehicle, solution).work(steps)


class _Mechanic:
    def __init__(self, book: RuleBook, vehicle: Vehicle, solution: Solution) -> None:
        self.book, self.solution = book, solution
        self.changes = {c.position: c for c in solution.changes}
        self.there: dict[str, str | None] = dict(solution.today)
        self.before_work = dict(solution.today)
        self.safe: set[tuple[str, str]] = set()
        self.made_safe: set[tuple[str, str]] = set()
        self.undone: set[tuple[str, str]] = set()
        self.lifted: dict[str, str] = {}
        self.fitted: set[str] = set()
        self.accesses = [a for a in book.accesses if a.when.holds(vehicle)]
        self.orders = [p for p in book.precedences if p.when.holds(vehicle)]
        self.both_ways = {(p.first, p.then, p.work) for p in self.orders}

    def work(self, steps: list[Step]) -> None:
        self.steps = steps
        seen: set[tuple[str, str]] = set()
        for step in steps:
            key = (step["job"], step["work"])
            self.want(key not in seen, step, "is done twice")
            seen.add(key)
            self.one(step)
        self.at_the_end(seen)
        self.loose_parts()

    def want(self, holds: object, step: Step, what: str) -> None:
        if not holds:
            raise Vexed(f"step {step['step']}, {step['work']} {step['job']}: {what}")

    def one(self, step: Step) -> None:
        job, state = step["job"], step.get("for_access")
        if state in ("off", "carried over"):
            self.move(step)
        elif state == "again":
            self.want(self.steps[-1].get("for_access") == "again", step, "work follows")
        elif state:
            self.make_safe(step, state, job.removeprefix(f"{state} "))
        elif job in self.changes:
            self.change(step)
        else:
            self.want(job.startswith("loose "), step, "nothing of the set is there")

    def change(self, step: Step) -> None:
        place, change = step["job"], self.changes[step["job"]]
        self.room(step, place, change.component)
        if step["work"] == "removing":
            self.want(self.there.get(place) == change.replaces and change.replaces, step, "nothing is there")
            self.there[place] = None
            self.taken_off_in_order(step)
        else:
            self.want(self.there.get(place) is None, step, f"{self.there.get(place)} is still there")
            self.put_on_in_order(step)
            self.there[place] = change.component
            self.fitted.add(place)

    def move(self, step: Step) -> None:
        place = step["job"]
        self.want(place not in self.changes, step, "it is changed, not put back")
        self.room(step, place, self.solution.after.get(place))
        if step["work"] == "removing":
            self.want(self.there.get(place), step, "nothing is there")
            self.lifted[place] = self.there[place] or ""
            self.there[place] = None
            self.taken_off_in_order(step)
        else:
            self.want(place in self.lifted, step, "it never came off")
            self.put_on_in_order(step)
            self.there[place] = self.lifted.pop(place)
            self.fitted.add(place)

    def room(self, step: Step, place: str, number: str | None) -> None:
        """Whatever stands in the way of the place is off, and what must be safe is."""
        for access in self.accesses:
            if access.position != place or access.component not in ("", number):
                continue
            other = access.other_position
            if access.state == "off":
                here = self.there.get(other)
                in_the_way = here is not None and access.other_component in ("", here)
                self.want(not in_the_way, step, f"{other} is in the way ({access.name})")
            elif access.state not in ("carried over", "bled"):
                self.is_safe(step, access)
            elif access.state == "bled":
                self.want(("bled", other) not in self.undone, step, "the circuit is bled already")

    def is_safe(self, step: Step, access: Access) -> None:
        itself = access.position == access.other_position
        if itself and access.position not in self.changes:
            return
        key = (access.state, access.other_position)
        if self.before_work.get(access.other_position):
            self.want(key in self.safe, step, f"{access.other_position} is not {access.state}")
        self.want(key not in self.undone, step, f"{key} is undone already")

    def make_safe(self, step: Step, state: str, place: str) -> None:
        key = (state, place)
        if step["work"] == "removing":
            self.want(key not in self.undone, step, "it is undone already")
            self.safe.add(key)
            self.made_safe.add(key)
            return
        if state != "bled":
            self.want(key in self.safe or not self.before_work.get(place), step, "it never was made safe")
        else:
            self.room_to_bleed(step, place)
        if state in ("bled", "drained"):
            self.want(self.there.get(place), step, "there is nothing to fill")
        if state == "on stands":
            self.want("wheel.road" not in self.lifted, step, "the vehicle stands on no wheels")
            self.want("wheel.nuts" not in self.lifted, step, "no nut holds the wheels")
        if state == "depressurised":
            off = [p for s, p in self.safe if s == "disconnected" and self.solution.after.get(p)]
            self.want(not off, step, "the pump has no battery")
        self.safe.discard(key)
        self.undone.add(key)

    def room_to_bleed(self, step: Step, place: str) -> None:
        for access in self.accesses:
            if access.position == place and access.state == "off" and not access.component:
                here = self.there.get(access.other_position)
                self.want(
                    here is None or access.other_component not in ("", here), step,
                    f"{access.other_position} is in the way of bleeding",
                )  # fmt: skip

    def taken_off_in_order(self, step: Step) -> None:
        for order in self.orders:
            if order.work == "removing" and order.then == step["job"]:
                self.want(self.is_off(order.first), step, f"{order.first} comes off first ({order.name})")

    def put_on_in_order(self, step: Step) -> None:
        for order in self.orders:
            if order.work != "fitting":
                continue
            if order.then == step["job"] and self.has(order.first, "fitting"):
                self.want(order.first in self.fitted, step, f"{order.first} goes on first ({order.name})")
            reverse_said = (order.first, order.then, "removing") in self.both_ways
            if order.first == step["job"] and self.has(order.then, "removing") and not reverse_said:
                self.want(self.is_off(order.then), step, f"{order.then} still covers it ({order.name})")

    def is_off(self, place: str) -> bool:
        """It is off, or it is none of the work."""
        return self.there.get(place) is None or not self.has(place, "removing")

    def has(self, place: str, work: str) -> bool:
        return any(s["job"] == place and s["work"] == work for s in self.steps)

    def at_the_end(self, seen: set[tuple[str, str]]) -> None:
        last = {"step": "the end", "work": "", "job": ""}
        self.want(not self.lifted, last, f"not put back: {sorted(self.lifted)}")
        left = sorted(key for key in self.safe if self.solution.after.get(key[1]))
        self.want(not left, last, f"left as it was made safe: {left}")
        after = {p: n for p, n in self.there.items() if n}
        wanted = {p: n for p, n in self.solution.after.items() if n}
        self.want(after == wanted, last, f"not the set: {set(after.items()) ^ set(wanted.items())}")
        for access in self.accesses:
            served = access.state == "bled" and access.position in self.changes
            if served and self.solution.after.get(access.other_position) and self.counts(access):
                self.want(("bled", access.other_position) in self.undone, last, "the brakes are not bled")

    def counts(self, access: Access) -> bool:
        here = self.solution.after.get(access.other_position)
        number = self.solution.after.get(access.position)
        return access.other_component in ("", here) and access.component in ("", number)

    # Loose parts --------------------------------------------------------------------------------

    def loose_parts(self) -> None:
        used: Counter[str] = Counter()
        for step in self.steps:
            for use in step.get("loose_parts", []):
                used[use["component"]] += use["quantity"]
                self.want(use["quantity"] > 0, step, "nothing of it is used")
                self.want(self.uses(step, use["component"]), step, f"it has no use for {use['component']}")
            if step["job"].startswith("loose "):
                number = step["job"].removeprefix("loose ")
                users = [s for s in self.steps if self.demands(s["job"], number)]
                wished = any("wish" in b.cause or "flaw" in b.cause for b in self.reasons(number))
                self.want(wished or not users, step, f"{number} is no work of its own")
        needed = {part.component: part.quantity for part in self.solution.loose}
        end = {"step": "the end", "work": "", "job": ""}
        self.want(dict(used) == needed, end, f"used {dict(used)}, needed {needed}")

    def reasons(self, number: str) -> Iterator[Any]:
        for part in self.solution.loose:
            if part.component == number:
                yield from (part.because, *part.also_needed_by)

    def uses(self, step: Step, number: str) -> bool:
        """Whether a rule asks for the part where this step works, or what it fills."""
        job, state = step["job"], step.get("for_access")
        if job == f"loose {number}":
            return True
        if state in ("bled", "drained"):
            filled = job.removeprefix(f"{state} ")
            served = [a.position for a in self.accesses if (a.state, a.other_position) == (state, filled)]
            return any(self.demands(place, number) for place in served)
        return self.goes_in(job, number) or self.demands(job, number) or self.demanded_by_loose(job, number)

    def goes_in(self, place: str, number: str) -> bool:
        alike = self.alike(number)
        ways = [a for rule in self.book.companions for a in rule.alternatives if a.component in alike]
        return any(way.goes_in == place for way in ways)

    def demands(self, place: str, number: str) -> bool:
        change = self.changes.get(place)
        return bool(change and change.component and self.asks(self.alike(change.component), place, number))

    def demanded_by_loose(self, place: str, number: str) -> bool:
        """A loose part that is used there asks for it."""
        others = {part.component for part in self.solution.loose} - {number}
        return any(self.demands(place, n) and self.asks(self.alike(n), "", number) for n in others)

    def asks(self, demanders: set[str], place: str, number: str) -> bool:
        return any(
            rule.component in demanders
            and rule.position in ("", place)
            and any(a.component in self.alike(number) for a in rule.alternatives)
            for rule in self.book.companions
        )

    def alike(self, number: str) -> set[str]:
        """A number, and those that supersessions tie to it."""
        known = {number}
        while True:
            more = {n for s in self.book.supersessions if {s.old, s.new} & known for n in (s.old, s.new)}
            if more <= known:
                return known
            known |= more
