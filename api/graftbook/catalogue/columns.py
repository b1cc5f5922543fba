"""Every column of the text format as facts: its meaning, its unit, what may stand in it, an example."""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from graftbook.catalogue.format.cell_forms import Form, facts_of, forms_of
from graftbook.catalogue.format.fields import UNIT, Record, Stated
from graftbook.catalogue.format.records import KIND_BY_WORD
from graftbook.catalogue.loading.references import REFERENCES

_CONDITIONS = {"range": "range", "variants": "variant"}
"""Columns of whatever holds for some vehicles only, that name records; `loading/expanding` looks at them."""

OF_VARIANTS: Mapping[str, str] = {
    "generations": "generation", "bodies": "body", "engines": "engine", "drives": "drive",
    "markets": "market", "options": "options", "without": "options", "market": "market",
}  # fmt: skip
"""Columns whose words are those of the variants, and the variants' column that has them."""


_EXAMPLES: Mapping[str, str] = {
    "range": "barrow", "variants": "B1; B2", "generations": "one", "bodies": "flat", "engines": "single",
    "drives": "rear", "markets": "home", "options": "lamps", "without": "lamps", "chassis_from": "B1-0100",
    "chassis_to": "B1-0900", "built_from": "1955-01-01", "built_to": "1959-12-31",
    "note": "seen on three of four", "minutes": "20", "name": "early barrows", "position": "hub.left",
    "component": "B-101", "other_component": "B-130", "other_position": "wheel.road",
    "also_of": "B-102", "add_ons": "B-900", "at": "brake.block", "goes_in": "hub.left", "tools": "hub puller",
    "having": "bolt_circle equal 90 mm", "other_having": "bolt_circle equal 100 mm", "margin": "0.5 mm",
    "opening": "Chock the wheels.", "closing": "Spin the wheel and listen.", "angle": "60 deg",
    "remedy": "bush-runs-dry-left", "currency": "EUR", "least": "2", "stock": "14", "section": "wheels",
    "valid_from": "2026-01-01", "valid_to": "2026-12-31", "claim": "B-201@hub.left", "built": "1958-04-02",
    "measured": "bolt_circle 90 mm", "build": "green-barrow",
}  # fmt: skip
"""Of columns that the range to begin with leaves empty."""


@dataclass(frozen=True, slots=True)
class Column:
    """One column. `words` are all that may stand in it; `names`: the kind of record that it names.

    `of_variants`: the column of `variant` whose words it takes. `several`: a list, `;` between its items.
    """

    name: str
    needed: bool
    form: Form
    unit: str
    words: tuple[str, ...]
    names: str
    of_variants: str
    meaning: str
    example: str

    @property
    def several(self) -> bool:
        """Whether more than one may stand in a cell."""
        return self.form in ("list", "measures")

    @property
    def cell(self) -> str:
        """How a cell is written, in words."""
        if self.words:
            return "; ".join(f"`{word}`" for word in self.words)
        if self.names or self.of_variants:
            what = self.names.replace("_", " ") or f"{self.of_variants} of a variant"
            return f"list of {what}, `;` between" if self.several else what
        return _IN_WORDS.get(self.form, self.form)


_IN_WORDS: Mapping[Form, str] = {
    "list": "list, `;` between",
    "measures": "list of `kind comparator value`, `;` between",
    "day": "day, `1968-03-01`",
    "measure": "number with its unit",
    "chassis": "chassis number: letters, digits and a dash, then the serial; or the serial alone",
}


@lru_cache
def columns_of(kind: type[Record], examples: Path | None = None) -> tuple[Column, ...]:
    """Every column of a kind of record, its own before those that it has in common with others.

    `examples`: a sheet whose first filled cells are the examples.
    """
    word = getattr(kind, "kind_of_record", "")  # what several kinds have in common has none
    names = {one.field or one.column: one.to for one in REFERENCES if one.kind == word}
    if "chassis_from" in kind.model_fields:
        names |= _CONDITIONS
    if "evidence" in kind.model_fields:
        names["evidence"] = "evidence"
    if word == "chassis_span":
        names["variant"] = "variant"
    shown = _examples(examples).get(word, {}) if examples else {}
    forms = forms_of(kind)
    found = [
        Column(
            name=name,
            needed=kind.model_fields[name].is_required(),
            form=forms[name],
            unit=str(facts.get(UNIT, "")),
            words=_words(forms[name], facts.get("enum", ())),
            names=names.get(name, "") if forms[name] != "measures" else "",
            of_variants=OF_VARIANTS.get(name, "") if word != "variant" else "",
            meaning=str(facts.get("description", "")),
            example=shown.get(name)
            or next(iter(_words(forms[name], facts.get("enum", ()))), _EXAMPLES.get(name, "")),
        )
        for name, facts in facts_of(kind).items()
    ]
    return tuple(sorted(found, key=lambda column: column.name in Stated.model_fields))


def _words(form: Form, given: tuple[str, ...]) -> tuple[str, ...]:
    return ("yes", "no") if form == "yes or no" else tuple(word for word in given if word)


@lru_cache
def _examples(sheet: Path) -> Mapping[str, Mapping[str, str]]:
    """Kind of record → column → the first cell of it in which something stands."""
    found: dict[str, dict[str, str]] = {word: {} for word in KIND_BY_WORD}
    for kind, row in rows_of(sheet):
        for name, cell in row.items():
            found[kind].setdefault(name, cell)
    return found


def rows_of(sheet: Path) -> Iterator[tuple[str, dict[str, str]]]:
    """The rows of a sheet of ours as they stand, each with its kind and without its empty cells."""
    kind, head = "", None
    with sheet.open(encoding="utf-8", newline="") as lines:
        for row in csv.reader(lines):
            if not row or row[0].startswith("#"):
                continue
            if row[0].startswith("["):
                kind, head = row[0].strip("[]"), None
            elif head is None:
                head = row
            else:
                yield kind, {name: cell for name, cell in zip(head, row, strict=False) if cell}
