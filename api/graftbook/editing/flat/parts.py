"""What a flat list says of one number, apart from how it is written there. Pure."""

from dataclasses import dataclass, field
from typing import Any, TypedDict

from graftbook.editing.flat.mapping import FieldWord


class ListFit(TypedDict):
    """One fitment: the position, how many pieces, and the columns of its condition."""

    position: str
    quantity: int
    condition: dict[str, Any]


class OfferFields(TypedDict):
    """What a supplier asks. `price` has two decimals; 0 for `pack` and None elsewhere: not said."""

    price: str
    currency: str
    pack: int
    lead_days: int | None
    deposit: str


class ListedPart(TypedDict):
    """A number with all that the list says of it; empty: not said. Kept as JSON when an issue is taken."""

    number: str
    name: str
    section: str
    price: str
    pack: int
    note: str
    fits: list[ListFit]
    offers: dict[str, OfferFields]
    replaces: list[str]


@dataclass(slots=True)
class ListRow:
    """A row of the list: its line, and the cells of the fields that the mapping names."""

    line: int
    cells: dict[FieldWord, str] = field(default_factory=dict)

    def __getitem__(self, name: FieldWord) -> str:
        return self.cells.get(name, "")
