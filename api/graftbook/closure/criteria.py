"""What sets are compared by: each criterion, how it is told, and what a set comes to in it.

How a set is counted is `search/totals.py`; what documents say of it, `questions/closures/schemas.py`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal, NamedTuple, TypedDict

CriterionWord = Literal["irreversible", "visible", "changes", "flaws", "price", "labour", "unconfirmed"]
Counted = Literal["irreversible", "visible", "changes", "flaws", "labour", "unconfirmed"]
"""All but the price, which is an amount."""


class Criterion(StrEnum):
    """What a set is compared by, in the usual order; a fit's cost (`totals.Cost`) has a figure so called."""

    irreversible = "irreversible"
    visible = "visible"
    changes = "changes"
    flaws = "flaws"
    price = "price"
    labour = "labour"
    unconfirmed = "unconfirmed"


DEFAULT_PREFERENCE: tuple[Criterion, ...] = tuple(Criterion)


COUNTED: Mapping[Criterion, Counted] = MappingProxyType(
    {
        Criterion.irreversible: "irreversible",
        Criterion.visible: "visible",
        Criterion.changes: "changes",
        Criterion.flaws: "flaws",
        Criterion.labour: "labour",
        Criterion.unconfirmed: "unconfirmed",
    }
)
"""What documents call the criteria that are counted."""


class Words(NamedTuple):
    """How a criterion is told.

    `one`, `many`: what a sentence counts; empty where it says it in its own way. `preferred`: as what an
    asker wants most. `column`: over figures of what is more, in `unit`.
    """

    one: str
    many: str
    preferred: str
    column: str
    unit: Literal["pieces", "count", "money", "minutes"]


TOLD: Mapping[Criterion, Words] = MappingProxyType(
    {
        Criterion.irreversible: Words(
            "part cut or welded", "parts cut or welded", "as little cut or welded as possible",
            "cut or welded", "pieces",
        ),
        Criterion.visible: Words(
            "visible change", "visible changes", "keeps its look", "more to see", "pieces"
        ),
        Criterion.changes: Words("change", "changes", "fewest changes", "changes", "count"),
        Criterion.flaws: Words("", "", "fewest flaws left in what is touched", "flaws by weight", "count"),
        Criterion.price: Words("", "", "cheapest parts", "parts", "money"),
        Criterion.labour: Words("", "", "least labour", "labour", "minutes"),
        Criterion.unconfirmed: Words(
            "unconfirmed claim", "unconfirmed claims", "best confirmed", "unconfirmed claims", "count"
        ),
    }
)  # fmt: skip


class Figures(TypedDict):
    """A set's totals as a document has them; `price` is an amount in words."""

    irreversible: int
    visible: int
    changes: int
    flaws: int
    price: str
    labour_minutes: int
    unconfirmed: int


@dataclass(frozen=True, slots=True)
class Totals:
    """What a set costs, by criterion. `price` covers known prices; `unknown_pieces` lists the rest.

    `irreversible` counts the changes, and the loose parts whatever their pieces, that are cut or welded;
    `cut` and `machined` are the numbers of what is, one a change or loose part.
    """

    irreversible: int
    visible: int
    changes: int
    flaws: int
    price: int
    labour: int
    unconfirmed: int
    unknown_pieces: tuple[tuple[str, int], ...] = ()
    cut: tuple[str, ...] = ()
    machined: tuple[str, ...] = ()

    @property
    def unknown_prices(self) -> tuple[str, ...]:
        """The numbers whose price is not known."""
        return tuple(number for number, _ in self.unknown_pieces)

    def figures(self, amount: Callable[[int], str]) -> Figures:
        """The figures of all criteria; `amount` writes minor units."""
        return {
            "irreversible": self.irreversible,
            "visible": self.visible,
            "changes": self.changes,
            "flaws": self.flaws,
            "price": amount(self.price),
            "labour_minutes": self.labour,
            "unconfirmed": self.unconfirmed,
        }


@dataclass(frozen=True, slots=True)
class Difference:
    """What one set has more than another, by criterion; what is alike is left out.

    The figure of `price` is the parts of known price alone. `unknown_added` are the numbers without a
    known price of which it has more pieces, `unknown_removed` those of which it has fewer: while there
    is one, nobody knows which set's parts cost more.
    """

    figures: dict[Criterion, int] = field(default_factory=dict)
    unknown_added: tuple[str, ...] = ()
    unknown_removed: tuple[str, ...] = ()

    @property
    def price_is_known(self) -> bool:
        return not (self.unknown_added or self.unknown_removed)

    def __bool__(self) -> bool:
        return bool(self.figures) or not self.price_is_known
