"""What a key may do: each scope includes those before it."""

from enum import StrEnum


class Scope(StrEnum):
    """From the least to the most."""

    READ = "read"
    ORDER = "order"
    EDIT = "edit"
    ADMINISTER = "administer"

    def includes(self, other: "Scope") -> bool:
        """Whether a key of this scope may do what the other is needed for."""
        order = list(Scope)
        return order.index(self) >= order.index(other)
