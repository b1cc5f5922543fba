"""What the lint finds: a contradiction or a gap, with the records that make it."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Any


class Wrong(StrEnum):
    """The kinds of finding."""

    two_at_once = "two at once from new"
    nothing_from_new = "nothing from new"
    circle = "supersession in a circle"
    dead = "can never be fitted"
    impossible_alternative = "alternative that never fits"
    unrecorded_joint = "joint that nobody records"
    unused_evidence = "evidence that nothing refers to"
    no_remedy = "flaw that nothing remedies"
    work_in_a_circle = "work that waits for itself"
    no_rate = "currency without an exchange rate"
    offer_of_nothing = "offer that nobody buys"


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding: its kind, the names of the records concerned, where, and a sentence.

    `variants` are those on which it was found; empty where it is the catalogue's.
    """

    wrong: Wrong
    records: tuple[str, ...]
    sentence: str
    variants: tuple[str, ...] = ()

    def document(self) -> dict[str, Any]:
        """The finding as facts for JSON."""
        return {
            "kind": self.wrong.value,
            "records": list(self.records),
            "variants": list(self.variants),
            "sentence": self.sentence,
        }

    def __str__(self) -> str:
        where = f" ({', '.join(self.variants)})" if self.variants else ""
        return f"{self.wrong.value}: {self.sentence}{where}"
