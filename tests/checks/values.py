"""Published values that the formulas are tested against, read from `values.csv`.

Each has a source, a clause and a provenance; `tolerance` is absolute, in the value's unit. Copies are
cited as copies: they show that somebody published the value, not that it is the clause in force.
"""

import csv
from dataclasses import dataclass
from pathlib import Path

import pytest

from graftbook.checks.verdict import Provenance

SHEET = Path(__file__).with_name("values.csv")


@dataclass(frozen=True, slots=True)
class CheckValue:
    name: str
    value: float
    unit: str
    tolerance: float
    source: str
    clause: str
    provenance: Provenance

    def agrees(self, computed: float) -> None:
        """Fail, with the source, when `computed` is outside the tolerance."""
        assert computed == pytest.approx(self.value, abs=self.tolerance), (
            f"{self.name}: {computed} is not {self.value} {self.unit} ({self.source}, {self.clause})"
        )


def _read() -> dict[str, CheckValue]:
    found: dict[str, CheckValue] = {}
    with SHEET.open(encoding="utf-8", newline="") as sheet:
        for row in csv.DictReader(sheet):
            name = row["name"]
            assert name not in found, f"two check values are called {name}"
            number, tolerance = float(row["value"]), float(row["tolerance"])
            provenance = Provenance[row["provenance"]]
            found[name] = CheckValue(
                name, number, row["unit"], tolerance, row["source"], row["clause"], provenance
            )
    return found


VALUES = _read()


def agrees(name: str, computed: float) -> None:
    """Compare a computed number with the published value of that name."""
    VALUES[name].agrees(computed)


def names(prefix: str) -> list[str]:
    """What follows the prefix in the name of every value that starts with it."""
    return [name.removeprefix(f"{prefix}.") for name in VALUES if name.startswith(f"{prefix}.")]
