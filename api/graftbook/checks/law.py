"""Which body of rules a check answers to: whose law, and whether in service or for type approval."""

from dataclasses import dataclass
from enum import StrEnum

from graftbook.checks.verdict import Verdict


class Law(StrEnum):
    """UN regulations (and the laws that copy them), or the United States' federal standards."""

    un = "UN"
    us = "US"


_AMERICAN = frozenset({"us", "usa", "united states", "north america", "america"})


def law_for(market: str) -> Law:
    """The law of a market: the United States by any of its usual names, else the UN regulations."""
    return Law.us if market.strip().lower() in _AMERICAN else Law.un


class Binding(StrEnum):
    """What a vehicle is judged as: in service and inspected from time to time, or to be approved anew."""

    in_service = "in service"
    type_approval = "type approval"


@dataclass(frozen=True, slots=True)
class Rules:
    """Whose law a vehicle answers to, and which of its rules bind.

    In-service rules bind in either case, since an approved vehicle is inspected too. Rules of type
    approval bind where the asker or the house says so; else they are there to compare with.
    """

    law: Law = Law.un
    binding: Binding = Binding.in_service

    @property
    def of_approval(self) -> Verdict:
        """The verdict of a check whose limit is of type approval and is missed: `against(otherwise=…)`."""
        return Verdict.fails if self.binding is Binding.type_approval else Verdict.caution


IN_SERVICE = Rules()
"""What binds where nobody says otherwise: UN regulations, a vehicle in service."""
