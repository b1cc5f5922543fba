"""What can be asked: a vehicle as it stands, wishes, limits and an order of preference."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from graftbook.closure.criteria import DEFAULT_PREFERENCE, Criterion
from graftbook.rulebook.model import Effort, Grade, Severity, Vehicle


@dataclass(frozen=True, slots=True)
class FitComponent:
    """Fit this component: at `position`, or at one position that it fits (its pair follows).

    A component that has no position is ordered loose, `quantity` of it; of several wishes for one such
    part the greatest quantity counts. `upgrade` is the title of the named upgrade that it came by.
    """

    component: str
    position: str = ""
    quantity: int = 1
    upgrade: str = ""

    @property
    def name(self) -> str:
        """How an answer refers to this wish; two wishes that differ have two names."""
        where = f" at {self.position}" if self.position else ""
        count = f", quantity {self.quantity}" if self.quantity != 1 else ""
        return f"wish: fit {self.component}{where}{count}"


@dataclass(frozen=True, slots=True)
class RemedyFlaw:
    """Remedy this known flaw wherever the vehicle has it today. `upgrade` as of a component."""

    flaw: str
    upgrade: str = ""

    @property
    def name(self) -> str:
        return f"wish: remedy {self.flaw}"


@dataclass(frozen=True, slots=True)
class RemedyFlaws:
    """Remedy every known flaw of at least this severity that the vehicle has today."""

    at_least: Severity
    section: str = ""

    @property
    def name(self) -> str:
        where = f" in {self.section}" if self.section else ""
        return f"wish: remedy every flaw from {self.at_least.name} up{where}"


@dataclass(frozen=True, slots=True)
class ClearPosition:
    """Leave this position empty."""

    position: str

    @property
    def name(self) -> str:
        return f"wish: nothing at {self.position}"


Wish = FitComponent | RemedyFlaw | RemedyFlaws | ClearPosition


def each_once(wishes: Iterable[Wish]) -> tuple[Wish, ...]:
    """Wishes without those that wish the same again, whatever upgrade they came by."""
    first: dict[str, Wish] = {}
    for wish in wishes:
        first.setdefault(wish.name, wish)
    return tuple(first.values())


WORK_PERMITTED = {
    Effort.direct: "only direct fitting",
    Effort.with_companions: "no machining, cutting or welding",
    Effort.machining: "nothing cut or welded",
    Effort.cutting: "any work",
}


@dataclass(frozen=True, slots=True)
class KeepPosition:
    """This position stays as it is today."""

    position: str

    @property
    def name(self) -> str:
        """How an answer refers to this limit."""
        return f"limit: keep {self.position}"


@dataclass(frozen=True, slots=True)
class KeepSection:
    """All of this section stays as it is today."""

    section: str

    @property
    def name(self) -> str:
        return f"limit: keep section {self.section}"


@dataclass(frozen=True, slots=True)
class RefuseComponent:
    """This component is not fitted anew."""

    component: str

    @property
    def name(self) -> str:
        return f"limit: refuse {self.component}"


@dataclass(frozen=True, slots=True)
class WorkAtMost:
    """No change asks for more work than this."""

    effort: Effort

    @property
    def name(self) -> str:
        return f"limit: {WORK_PERMITTED[self.effort]}"


@dataclass(frozen=True, slots=True)
class EvidenceAtLeast:
    """Nothing is fitted whose fitment is worth less than this; what the factory fitted there is."""

    grade: Grade

    @property
    def name(self) -> str:
        """How an answer refers to this limit."""
        return f"limit: evidence at least {self.grade.name.replace('_', ' ')}"


@dataclass(frozen=True, slots=True)
class NothingVisible:
    """Nothing changes that shows."""

    name = "limit: nothing visible"


@dataclass(frozen=True, slots=True)
class PriceAtMost:
    """The parts cost no more than this, in minor units."""

    minor: int

    name = "limit: price ceiling"


Limit = (
    KeepPosition | KeepSection | RefuseComponent | WorkAtMost | EvidenceAtLeast | NothingVisible | PriceAtMost
)


@dataclass(frozen=True, slots=True)
class Limits:
    """What the answer may not do. Positions and components by name, sections by name."""

    keep: frozenset[str] = frozenset()
    keep_sections: frozenset[str] = frozenset()
    refuse: frozenset[str] = frozenset()
    effort_at_most: Effort = Effort.cutting
    price_at_most: int | None = None
    """Ceiling on the parts in minor units; with a ceiling a part of unknown price cannot be chosen."""
    nothing_visible: bool = False
    evidence_at_least: Grade = Grade.none

    def each(self) -> list[Limit]:
        """The limits one by one, in the order in which they are told."""
        found: list[Limit] = [KeepPosition(position) for position in sorted(self.keep)]
        found += [KeepSection(section) for section in sorted(self.keep_sections)]
        found += [RefuseComponent(number) for number in sorted(self.refuse)]
        if self.effort_at_most is not Effort.cutting:
            found.append(WorkAtMost(self.effort_at_most))
        if self.evidence_at_least:
            found.append(EvidenceAtLeast(self.evidence_at_least))
        if self.nothing_visible:
            found.append(NothingVisible())
        if self.price_at_most is not None:
            found.append(PriceAtMost(self.price_at_most))
        return found


@dataclass(frozen=True, slots=True)
class Question:
    """One question to one rule book.

    `fitted` says what sits where today instead of the original equipment (None: the position is
    empty). `on_the_bench` lists components that the asker has: they need not be obtainable.
    """

    vehicle: Vehicle
    wishes: tuple[Wish, ...]
    limits: Limits = Limits()
    preference: tuple[Criterion, ...] = DEFAULT_PREFERENCE
    fitted: Mapping[str, str | None] = field(default_factory=dict)
    on_the_bench: frozenset[str] = frozenset()
    alternatives: int = 0
    seconds: float = 10.0
