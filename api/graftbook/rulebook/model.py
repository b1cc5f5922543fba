"""What one variant's rule book holds: immutable values, no database, no web, no clock.

The catalogue's store fills these once per revision; closure and checks only read them. Every record
that states something about fitting is a claim: it has a stable name, the moment it holds (`When`)
and the evidence for it. Parts of a condition that the variant alone decides (generation, body, …)
were settled when the book was compiled; `When` keeps only what the single vehicle decides.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import IntEnum, StrEnum
from types import MappingProxyType
from typing import Literal

from graftbook.rulebook import grading
from graftbook.rulebook.grading import Evidence as Evidence
from graftbook.rulebook.grading import Grade as Grade
from graftbook.rulebook.grading import Report as Report
from graftbook.rulebook.units import Measure

NOTHING: Mapping[str, Measure] = MappingProxyType({})


class Origin(StrEnum):
    """Where a component comes from."""

    original = "original"
    later_model = "later-model"
    modern = "modern"


class Supply(StrEnum):
    """Whether a number can be bought."""

    current = "current"
    superseded = "superseded"
    no_longer_supplied = "no longer supplied"


class Effort(IntEnum):
    """What fitting takes, least first; `cutting` (cutting or welding) cannot be put back."""

    direct = 0
    with_companions = 1
    machining = 2
    cutting = 3

    @property
    def reversible(self) -> bool:
        return self is not Effort.cutting


class Severity(IntEnum):
    """How bad a known flaw is, least first."""

    minor = 1
    moderate = 2
    severe = 3
    dangerous = 4


SeverityWord = Literal["minor", "moderate", "severe", "dangerous"]
EffortWord = Literal["direct", "with companions", "machining", "cutting"]


class Comparator(StrEnum):
    """How the two sides of a joint, or a characteristic and a wanted value, must agree."""

    equal = "equal"
    at_least = "at least"
    at_most = "at most"
    within = "within"


@dataclass(frozen=True, slots=True)
class Vehicle:
    """The single vehicle a question is about.

    `chassis_prefix` and `chassis_serial` are the two halves of "24L-018412"; `built` is the day it
    was built, or the best estimate that its chassis span allows.
    """

    variant: str
    chassis_prefix: str
    chassis_serial: int
    built: date
    options: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class When:
    """The part of a condition that the single vehicle decides; every field given must hold."""

    chassis_prefix: str | None = None
    chassis_from: int | None = None
    chassis_to: int | None = None
    built_from: date | None = None
    built_to: date | None = None
    options: frozenset[str] = frozenset()
    without: frozenset[str] = frozenset()

    def holds(self, vehicle: Vehicle) -> bool:
        if self is ALWAYS:
            return True
        if self.chassis_prefix is not None:
            if vehicle.chassis_prefix != self.chassis_prefix:
                return False
            if self.chassis_from is not None and vehicle.chassis_serial < self.chassis_from:
                return False
            if self.chassis_to is not None and vehicle.chassis_serial > self.chassis_to:
                return False
        if self.built_from is not None and vehicle.built < self.built_from:
            return False
        if self.built_to is not None and vehicle.built > self.built_to:
            return False
        return self.options <= vehicle.options and not (self.without & vehicle.options)


ALWAYS = When()


@dataclass(frozen=True, slots=True, kw_only=True)
class Claim:
    """What every record that states something has in common."""

    name: str
    when: When = ALWAYS
    evidence: tuple[Evidence, ...] = ()
    note: str = ""
    reports: tuple[Report, ...] = ()

    @property
    def grade(self) -> Grade:
        """What its sources and its reports are worth together (`rulebook/grading.py`)."""
        return self.standing.grade if self.reports else grading.of_sources(self.evidence)

    @property
    def standing(self) -> grading.Standing:
        """Its grade and how it comes about."""
        return grading.standing(self.evidence, self.reports, self.says_work)

    @property
    def says_work(self) -> bool:
        """Whether it says itself that there is work to do, or says nothing of work at all."""
        return True

    @property
    def confirmed(self) -> bool:
        """Somebody measured it, fitted it or drove it, and nobody's failure outweighs that."""
        return self.grade >= Grade.measured


@dataclass(frozen=True, slots=True)
class Section:
    name: str
    title: str
    order: int


@dataclass(frozen=True, slots=True)
class Position:
    """One place where one component sits. `pair` names the group that is changed together."""

    name: str
    section: str
    title: str
    essential: bool
    side: str = ""
    pair: str = ""
    circuit: str = ""


@dataclass(frozen=True, slots=True)
class Component:
    """One part number. `price` and `deposit` are in minor units (pence, cents) for one piece.

    `price` is None when unknown. `twin` is the number of its handed twin. `loose`: it has no
    position on any vehicle and is ordered by quantity. `effort` and `minutes` (of labour, for one
    piece) are the work that a loose component asks for; of others, their fitments say it.
    `reworked`: it is made of what it replaces.
    """

    number: str
    name: str
    section: str
    origin: Origin
    supply: Supply = Supply.current
    price: int | None = None
    deposit: int = 0
    mass_kg: float | None = None
    pack: int = 1
    hazard: str = ""
    visible: bool = False
    twin: str = ""
    note: str = ""
    characteristics: Mapping[str, Measure] = field(default_factory=lambda: NOTHING)
    loose: bool = False
    effort: Effort = Effort.direct
    minutes: int = 0
    reworked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Fitment(Claim):
    """Component goes in position; `from_new` says the factory fitted it there."""

    component: str
    position: str
    effort: Effort
    quantity: int = 1
    minutes: int = 0
    from_new: bool = False
    tools: tuple[str, ...] = ()

    @property
    def says_work(self) -> bool:
        return self.effort >= Effort.machining

    @property
    def confirmed(self) -> bool:
        """The factory's own fitting needs no further confirmation."""
        return self.from_new or self.grade >= Grade.measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitute(Claim):
    """For `original` at `position` (any, when empty), `component` serves instead."""

    original: str
    component: str
    position: str = ""
    both_ways: bool = False
    improves: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flaw(Claim):
    """A known flaw of a component, and `also_of` others. `add_ons` remedy it while the component stays."""

    component: str
    severity: Severity
    symptom: str
    appears_when: str = ""
    also_of: tuple[str, ...] = ()
    substitutes: tuple[str, ...] = ()
    add_ons: tuple[str, ...] = ()

    @property
    def components(self) -> tuple[str, ...]:
        """Every component that has it, the one that it was first recorded of in front."""
        return (self.component, *self.also_of)


@dataclass(frozen=True, slots=True)
class Upgrade(Claim):
    """What customers order by one name: `fits` are (component, position or ""), `remedies` names of flaws."""

    title: str
    called: tuple[str, ...] = ()
    fits: tuple[tuple[str, str], ...] = ()
    remedies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Wanted:
    """One characteristic value that is asked for: "bore at least 22 mm"."""

    kind: str
    comparator: Comparator
    value: Measure


@dataclass(frozen=True, slots=True)
class Alternative:
    """One way to satisfy a companion rule; exactly one of the forms is filled.

    A component at a position (any it fits, when `position` is empty); a loose component with its
    quantity (`loose`); wanted characteristic values at a position (`having`); or `empty`: nothing
    sits at the position.

    `amount`: how much of a loose component, as written and in SI, of the quantity `amount_of` (volume,
    mass, length). `goes_on`: before or after the demander, or "" where it does not matter. `goes_in`: the
    position in whose step a loose component is used, where that is not the demander's.
    """

    component: str = ""
    position: str = ""
    quantity: int = 1
    loose: bool = False
    having: tuple[Wanted, ...] = ()
    empty: bool = False
    amount: Measure | None = None
    amount_of: str = ""
    goes_on: str = ""
    goes_in: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Companion(Claim):
    """When `component` is fitted at `position` (anywhere, when empty), one alternative must be too."""

    component: str
    reason: str
    alternatives: tuple[Alternative, ...]
    position: str = ""
    required: bool = True
    one_serves_all: bool = False


@dataclass(frozen=True, slots=True)
class Side:
    """One side of a conflict: a component (at a position, or anywhere), or values at a position."""

    component: str = ""
    position: str = ""
    having: tuple[Wanted, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict(Claim):
    """`one` and `other` may not be fitted together. A side may be a loose component."""

    one: Side
    other: Side
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint(Claim):
    """`kind` at `position` must stand in `comparator` to `other_kind` at `other_position`.

    `within`: the value lies inside the span recorded on the other side. `margin` (SI) is added to
    the other side for `at least` and taken from it for `at most`; for `equal` it is the tolerance.
    """

    position: str
    kind: str
    comparator: Comparator
    other_position: str
    other_kind: str
    reason: str
    margin: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget(Claim):
    """Sum of `supply_kind` × `usable` must cover the sum of `demand_kind`.

    Over the positions of `circuit`, or the whole vehicle when it is empty.
    """

    supply_kind: str
    demand_kind: str
    reason: str
    circuit: str = ""
    usable: float = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Supersession(Claim):
    """Number `old` is now number `new`."""

    old: str
    new: str
    from_date: date | None = None
    both_ways: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Precedence(Claim):
    """The work at `first` is done before the work at `then`; `work` is `fitting` or `removing`."""

    first: str
    then: str
    reason: str
    work: str = "fitting"


@dataclass(frozen=True, slots=True, kw_only=True)
class Access(Claim):
    """While there is work at `position`, what is at `other_position` is in a `state`, and afterwards not.

    `off`: it comes off before the work and goes on after it. `carried over`: it sits on what is changed
    at `position`, comes off the old and goes on the new. `disconnected`, `depressurised`, `on stands`,
    `drained`, `bled` (afterwards): done to it where it is; the two positions may then be the same, and the
    record speaks of the position's own change. It counts only where `component` is fitted at `position`
    (empty: whatever is done there) and while `other_component` sits at `other_position` (empty: anything).
    `opening` and `closing` say what is done before and after, where it is more than the state.
    """

    position: str
    other_position: str
    reason: str
    state: str = "off"
    component: str = ""
    other_component: str = ""
    opening: str = ""
    closing: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tightening(Claim):
    """How tight a fastener at a position is made, while `component` sits there (empty: anything).

    `torque` in newton metres, `angle` (after the torque) in radians; either may be a span. `again_after`:
    the distance, in metres, after which it is tightened again.
    """

    position: str
    fastener: str
    torque: Measure
    angle: Measure | None = None
    component: str = ""
    again_after: Measure | None = None


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of characteristic: what it is called and what it is measured in."""

    name: str
    title: str
    quantity: str
    choices: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ChassisSpan:
    """Chassis numbers `prefix`-`first` … `prefix`-`last` of the variant, and when they were built."""

    prefix: str
    first: int
    last: int
    built_from: date
    built_to: date


@dataclass(frozen=True, slots=True)
class Variant:
    """One version of a range; `facts` are its own characteristics (wheelbase, mass, …)."""

    name: str
    range: str
    title: str
    generation: str
    body: str
    engine: str
    drive: str
    steering: str
    market: str
    options: frozenset[str] = frozenset()
    spans: tuple[ChassisSpan, ...] = ()
    facts: Mapping[str, Measure] = field(default_factory=lambda: NOTHING)


@dataclass(frozen=True)
class RuleBook:
    """Everything that is known about one variant at one revision, indexed for reasoning.

    Only records that can apply to the variant are in it. `components` holds every component that
    a record of the book names. `epoch` names the history that the revision counts in: after a restore
    of the database the same number may stand for something else.
    """

    variant: Variant
    revision: int
    epoch: str = field(default="", kw_only=True, compare=False)
    sections: Mapping[str, Section] = field(default_factory=dict)
    kinds: Mapping[str, Kind] = field(default_factory=dict)
    positions: Mapping[str, Position] = field(default_factory=dict)
    components: Mapping[str, Component] = field(default_factory=dict)
    fitments: tuple[Fitment, ...] = ()
    substitutes: tuple[Substitute, ...] = ()
    flaws: tuple[Flaw, ...] = ()
    companions: tuple[Companion, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    joints: tuple[Joint, ...] = ()
    budgets: tuple[Budget, ...] = ()
    supersessions: tuple[Supersession, ...] = ()
    precedences: tuple[Precedence, ...] = ()
    accesses: tuple[Access, ...] = ()
    tightenings: tuple[Tightening, ...] = ()
    upgrades: tuple[Upgrade, ...] = ()
