"""Loose parts inside the steps that use them: each piece once, at the part whose rule demands it. Pure."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from graftbook.closure.answer import Because, Loose, Solution
from graftbook.closure.words.sentences import CUTTING
from graftbook.orders.buying.contents import contents_of, in_words
from graftbook.orders.fitting.access import FILLED
from graftbook.orders.fitting.sequence import Job, LooseUse, Sequence, Work, section_times
from graftbook.rulebook.model import Alternative, Companion, Component, Effort, RuleBook
from graftbook.rulebook.scope import LOOSE as LOOSE_PLACE

LOOSE = "loose "
"""Before the number, in the name of the job of a loose part that no part's rule demands."""


@dataclass(frozen=True, slots=True)
class LooseShare:
    """What one rule asks of a loose part for one job; `once`: one serves all that ask so."""

    job: str
    quantity: int
    once: bool = False
    goes_on: str = ""
    amount: float | None = None


class Sharing:
    """Which job uses how many pieces of each loose part of a set."""

    def __init__(self, book: RuleBook, solution: Solution, jobs: Iterable[Job]) -> None:
        self.book = book
        self.jobs = {job.name: job for job in jobs}
        self.parts = {part.component: part for part in solution.loose}
        self.shares = {number: tuple(self._shares(part)) for number, part in self.parts.items()}

    def alone(self) -> list[str]:
        """The loose parts of which some pieces are a step of their own."""
        return [n for n, shares in self.shares.items() if any(s.job == LOOSE + n for s in shares)]

    def _shares(self, part: Loose) -> Iterator[LooseShare]:
        asked: list[LooseShare] = []
        for reason in (part.because, *part.also_needed_by):
            rule = reason.ground
            way = _way(self.book, rule, part.component) if isinstance(rule, Companion) else None
            if isinstance(rule, Companion) and way:
                asked.append(self._share(rule, way, reason, part.component))
        once = max((share.quantity for share in asked if share.once), default=0)
        left = part.quantity - once - sum(share.quantity for share in asked if not share.once)
        if left < 0:  # the same rule speaks of two numbers that serve alike: the set knows how many
            asked = [replace(asked[0], quantity=part.quantity, once=False)]
        yield from asked
        if left > 0:
            yield LooseShare(LOOSE + part.component, left)

    def _share(self, rule: Companion, way: Alternative, reason: Because, number: str) -> LooseShare:
        return LooseShare(
            self._user(reason.parent, way, self.book.components[number], (number,)),
            way.quantity,
            rule.one_serves_all,
            way.goes_on,
            way.amount.high if way.amount else None,
        )

    def _user(self, parent: str, way: Alternative, part: Component, seen: tuple[str, ...]) -> str:
        """The job that uses a part that a rule of `parent` demands."""
        if parent.startswith(LOOSE_PLACE):
            number = parent.removeprefix(LOOSE_PLACE)
            return LOOSE + number if number in seen else self._first_user(number, seen)
        if way.goes_on == "after" and "contents_volume" in part.characteristics:
            filled = [
                job for job in self.jobs.values()
                if job.state in FILLED and parent in job.serves and part.section == job.section
            ]  # fmt: skip
            if filled:
                return min(filled, key=lambda job: (job.position != parent, job.name)).name
        users = [job for job in (way.goes_in, parent) if job in self.jobs]
        return users[0] if users else LOOSE + part.number

    def _first_user(self, number: str, seen: tuple[str, ...]) -> str:
        """The job that uses a loose part that itself demands another."""
        loose = self.parts.get(number)
        rule = loose.because.ground if loose else None
        way = _way(self.book, rule, number) if isinstance(rule, Companion) else None
        if loose is None or way is None:
            return LOOSE + number
        return self._user(loose.because.parent, way, self.book.components[number], (*seen, number))

    def uses(self, found: Sequence) -> dict[str, list[LooseUse]]:
        """Job → what it uses. One that serves all goes in where it is first wanted, or last when it goes
        on after."""
        place = {step.job: number for number, step in enumerate(found.steps) if step.work is Work.fitting}
        uses: dict[str, list[LooseUse]] = defaultdict(list)
        for number, shares in self.shares.items():
            part = self.book.components[number]
            once = [share for share in shares if share.once]
            for job, some in _by_job(share for share in shares if not share.once).items():
                uses[job].append(_use(part, some, sum(s.quantity for s in some)))
            if once:
                last = any(share.goes_on == "after" for share in once)
                wanted = sorted(dict.fromkeys(s.job for s in once), key=lambda j: (place.get(j, -1), j))
                user = wanted[-1] if last else wanted[0]
                others = tuple(found.jobs[job].title for job in wanted if job != user and job in found.jobs)
                use = _use(part, once, max(s.quantity for s in once))
                uses[user].append(replace(use, also_serves=others))
        return uses


def _by_job(shares: Iterable[LooseShare]) -> Mapping[str, list[LooseShare]]:
    found: dict[str, list[LooseShare]] = defaultdict(list)
    for share in shares:
        found[share.job].append(share)
    return found


def _use(part: Component, shares: list[LooseShare], quantity: int) -> LooseUse:
    amounts = [share.amount for share in shares]
    contents = contents_of(part)
    amount = ""
    if contents and all(amounts):
        known = [a for a in amounts if a]
        amount = in_words(max(known) if shares[0].once else sum(known), contents)
    return LooseUse(
        part.number, part.name, quantity, shares[0].goes_on, amount,
        minutes=part.minutes * quantity, cautions=tuple(_cautions(part)),
    )  # fmt: skip


def _cautions(part: Component) -> Iterator[str]:
    """What welding it in calls for, its hazard, and its own note where it asks for work."""
    if part.effort is Effort.cutting:
        yield CUTTING
    if part.hazard:
        yield f"{part.number}: {part.hazard}"
    if part.note and part.effort is not Effort.direct:
        yield f"{part.number}: {part.note}"


def _way(book: RuleBook, rule: Companion | None, number: str) -> Alternative | None:
    """The alternative of a rule that a loose part meets."""
    serve = {number} | {s.old for s in book.supersessions if s.new == number}
    serve |= {s.new for s in book.supersessions if s.old == number}
    ways = [a for a in (rule.alternatives if rule else ()) if a.loose]
    exact = [a for a in ways if a.component == number]
    return next(iter(exact or [a for a in ways if a.component in serve]), None)


def with_loose(found: Sequence, sharing: Sharing) -> Sequence:
    """The sequence with each loose part inside the step that uses it; `before` first, `after` last."""
    rank = {"before": 0, "": 1, "after": 2}
    jobs = dict(found.jobs)
    for name, uses in sharing.uses(found).items():
        job = jobs[name]
        if job.state:  # what is filled in is what the step does, not first or last of it
            uses = [replace(use, goes_on="") for use in uses]
        ordered = tuple(sorted(uses, key=lambda use: (rank[use.goes_on], use.component)))
        cautions = dict.fromkeys((*job.cautions, *(c for use in ordered for c in use.cautions)))
        job = replace(job, loose=ordered, cautions=tuple(cautions))
        minutes = sum(use.minutes for use in ordered)
        if job.fitting is None:
            jobs[name] = replace(job, removing=(job.removing or 0) + minutes)
        else:
            jobs[name] = replace(job, fitting=job.fitting + minutes)
    return replace(found, jobs=jobs, sections=section_times(jobs, found.steps))
