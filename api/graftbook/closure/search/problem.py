"""What reasoning works on: the reachable choices of one question, and the demands on them."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from graftbook.closure.answer import Cause, Ground
from graftbook.closure.question import PriceAtMost, Question
from graftbook.closure.search.deadline import NEVER, Deadline
from graftbook.rulebook.model import Budget, Conflict, Flaw, Grade, Joint, Severity
from graftbook.rulebook.scope import LOOSE, Fit, Scope, loose_fit

Switch = tuple[Cause, str]
"""A whole wish, limit or rule: what can be blamed or given up."""

DemandKey = tuple[Cause, str, str, tuple[Fit, ...]]
"""What a demand is told apart by: cause, name, part and when."""


def in_order(values: Collection[str | None]) -> list[str | None]:
    """What may sit in a place: nothing first, then by number."""
    nothing: list[str | None] = [None] if None in values else []
    return nothing + sorted([component for component in values if component is not None])


@dataclass(frozen=True, slots=True)
class LooseNeed:
    """A loose component and how many pieces one demand asks for."""

    component: str
    quantity: int
    fit: Fit = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "fit", loose_fit(self.component))


@dataclass(frozen=True, slots=True)
class Demand:
    """When every fit of `when` is there, one of `one_of` or of `loose` must be there too.

    A wish has an empty `when`; a pair that may not meet has an empty `one_of`. An `unconfirmed`
    demand rests on a claim that nobody has confirmed. `ground` is the wish, limit or rule itself.
    """

    cause: Cause
    name: str
    ground: Ground
    when: tuple[Fit, ...] = ()
    one_of: tuple[Fit, ...] = ()
    loose: tuple[LooseNeed, ...] = ()
    one_serves_all: bool = False
    unconfirmed: bool = False
    grade: Grade = Grade.none
    part: str = ""
    """Tells apart the demands of one rule for one fit: a pair's other position, a wish's position."""
    key: DemandKey = field(init=False, repr=False, compare=False)
    sort_key: tuple[Cause, str, str, tuple[tuple[str, str], ...]] = field(
        init=False, repr=False, compare=False
    )
    places: tuple[str, ...] = field(init=False, repr=False, compare=False)
    """Where a choice touches it. These three are worked out once: the demands of a vehicle are kept."""

    def __post_init__(self) -> None:
        set_once, when = object.__setattr__, self.when
        set_once(self, "key", (self.cause, self.name, self.part, when))
        in_order = tuple([(p, c or "") for p, c in when])
        set_once(self, "sort_key", (self.cause, self.name, self.part, in_order))
        places = [p for p, _ in (*when, *self.one_of)] + [need.fit.position for need in self.loose]
        set_once(self, "places", tuple(dict.fromkeys(places)))

    @property
    def switch(self) -> Switch:
        return (self.cause, self.name)

    @property
    def shares_with(self) -> str:
        """Of one loose part the demands of one group count once, with the greatest quantity of theirs.

        Empty: its quantity adds up with all others.
        """
        if self.cause is Cause.wish:
            return "wishes"
        return "rules" if self.one_serves_all else ""


@dataclass(frozen=True, slots=True)
class Regret:
    """Something that costs, though it forbids nothing, unless one of `unless` is there.

    A flaw that a new component brings (`weight` is its severity), or a rule that cannot be
    determined for two fits (`weight` 0: it counts as one unconfirmed claim, once a rule).
    """

    cause: Cause
    name: str
    ground: Flaw | Joint | Conflict
    when: tuple[Fit, ...]
    unless: tuple[Fit, ...] = ()
    weight: int = 0

    @property
    def sort_key(self) -> tuple[Cause, str, tuple[tuple[str, str], ...]]:
        return (self.cause, self.name, tuple([(p, c or "") for p, c in self.when]))


@dataclass(frozen=True, slots=True)
class BudgetUse:
    """A budget over the reachable choices, in whole units so that it is computed exactly."""

    budget: Budget
    contributions: Mapping[str, Mapping[str | None, int]]
    """Place → what could sit there → what it contributes."""
    today: Mapping[str, int]
    rest: int
    """What the positions that nothing reaches contribute."""
    holds_today: bool

    @property
    def switch(self) -> Switch:
        return (Cause.budget, self.budget.name)

    def each(self) -> Iterator[tuple[Fit, int]]:
        """Every choice with what it contributes."""
        for place, given in self.contributions.items():
            for component, units in given.items():
                yield Fit(place, component), units

    def total(self, values: Mapping[str, str | None]) -> int:
        return self.rest + sum([given[values[place]] for place, given in self.contributions.items()])

    def binds(self, values: Mapping[str, str | None]) -> bool:
        if self.holds_today:
            return True
        return any(self.contributions[p][values[p]] != now for p, now in self.today.items())

    def ways_to_keep(self, values: Mapping[str, str | None]) -> Iterator[Fit]:
        """For a set that breaks it: fits of which every set that does not break it has at least one.

        As long as these places give no more than they do, the budget stays short.
        """
        gives = {place: given[values[place]] for place, given in self.contributions.items()}
        gaps = {place: max(given.values()) - gives[place] for place, given in self.contributions.items()}
        most = self.total(values) + sum(gaps.values())
        for place in sorted(gaps, key=lambda place: (-gaps[place], place)):
            if most < 0:
                break
            most -= gaps[place]
            given, now = self.contributions[place], gives[place]
            yield from (Fit(place, c) for c, units in given.items() if units > now)
        if not self.holds_today:
            binding = next(place for place, units in gives.items() if units != self.today[place])
            given, now = self.contributions[binding], self.today[binding]
            yield from (Fit(binding, c) for c, units in given.items() if units == now)

    def broken(self, values: Mapping[str, str | None]) -> bool:
        return self.total(values) < 0 and self.binds(values)


@dataclass
class SearchProblem:
    """The reachable choices: `domains` holds, for each place reached, what may sit there.

    A place that is not in `domains` stays as today. `extras` are loose components that may be
    ordered, one piece, for no other reason than to remedy a flaw.
    """

    scope: Scope
    question: Question
    domains: dict[str, list[str | None]] = field(default_factory=dict)
    demands: list[Demand] = field(default_factory=list)
    regrets: list[Regret] = field(default_factory=list)
    budgets: list[BudgetUse] = field(default_factory=list)
    extras: frozenset[str] = frozenset()
    deadline: Deadline = NEVER

    @cached_property
    def positions(self) -> list[str]:
        """The real positions reached."""
        return [place for place in self.domains if not place.startswith(LOOSE)]

    @cached_property
    def unconfirmed(self) -> list[Demand]:
        """The demands that rest on a claim nobody has confirmed."""
        return [demand for demand in self.demands if demand.unconfirmed]

    @cached_property
    def depending(self) -> Mapping[tuple[str, str | None], list[int]]:
        """A fit → which demands hold once it is certain (it stands in their `when`), by their number."""
        found: dict[tuple[str, str | None], list[int]] = defaultdict(list)
        for number, demand in enumerate(self.demands):
            for fit in demand.when:
                found[fit].append(number)
        return found

    @cached_property
    def served(self) -> Mapping[tuple[str, str | None], list[int]]:
        """A fit → which demands it could meet."""
        found: dict[tuple[str, str | None], list[int]] = defaultdict(list)
        for number, demand in enumerate(self.demands):
            for fit in demand.one_of:
                found[fit].append(number)
            for need in demand.loose:
                found[need.fit].append(number)
        return found

    def true_in(self, values: Mapping[str, str | None], fit: Fit) -> bool:
        """Whether the fit is there in a set; a place that `values` lacks is as today."""
        if fit.position in values:
            return values[fit.position] == fit.component
        return self.scope.is_today(fit)

    def only(self, switches: Collection[Switch]) -> "SearchProblem":
        """The problem with no other wishes, limits and rules than these."""
        switches = frozenset(switches)
        question = self.question
        if CEILING not in switches:
            question = replace(question, limits=replace(question.limits, price_at_most=None))
        demands = [demand for demand in self.demands if demand.switch in switches]
        budgets = [use for use in self.budgets if use.switch in switches]
        return replace(self, question=question, demands=demands, budgets=budgets)

    def switches(self) -> Iterator[Switch]:
        """Every wish, limit and rule that takes part, each once, in a stable order."""
        seen: dict[Switch, None] = {}
        for switch in (*(d.switch for d in self.demands), *(use.switch for use in self.budgets)):
            seen.setdefault(switch)
        if self.question.limits.price_at_most is not None:
            seen.setdefault(CEILING)
        return iter(sorted(seen))


CEILING: Switch = (Cause.limit, PriceAtMost.name)


@dataclass
class Found:
    """A finished set: the value of every place reached, and which loose part serves which demand."""

    values: dict[str, str | None]
    orders: dict[int, LooseNeed] = field(default_factory=dict)

    def key(self) -> tuple[object, ...]:
        return (tuple(sorted(self.values.items(), key=str)), tuple(sorted(self.orders.items())))


def severity_weight(severity: Severity) -> int:
    """How much a flaw counts in the preference: minor 1 to dangerous 4."""
    return int(severity)
