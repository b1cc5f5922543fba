"""Why a claim is believed: what is written of it, and what workshops reported when they tried it."""

from dataclasses import dataclass
from datetime import date
from enum import IntEnum, StrEnum


class Grade(IntEnum):
    """What a piece of evidence is worth, weakest first."""

    none = 0
    hearsay = 1
    parts_book = 2
    workshop_manual = 3
    measured = 4
    trial_fitted = 5
    built_and_driven = 6


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence; `fitted` and `not_fitted` count the vehicles it was tried on."""

    name: str
    grade: Grade
    reference: str
    on: date | None = None
    who: str = ""
    fitted: int = 0
    not_fitted: int = 0

    @property
    def disputed(self) -> bool:
        """It failed to fit at least as often as it fitted."""
        return self.not_fitted > 0 and self.not_fitted >= self.fitted


class Outcome(StrEnum):
    """What came of trying a claim on a vehicle, best first."""

    fitted = "fitted"
    after_work = "fitted after work"
    did_not_fit = "did not fit"


@dataclass(frozen=True, slots=True)
class Report:
    """What one workshop found when it tried a claim on one vehicle."""

    name: str
    outcome: Outcome
    workshop: str
    on: date
    chassis_prefix: str
    chassis_serial: int
    digits: int = 6
    """So many digits the house writes in the chassis number."""
