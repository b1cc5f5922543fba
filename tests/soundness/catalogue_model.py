"""A catalogue as a plain dict, and what the real one must do with each edit of it.

A record is its cells, as a sheet has them: text, none that is empty. The model knows which cells name
other records, and nothing else: whatever names a record that is not there is refused, all or nothing.
"""

import csv
import io
from collections.abc import Iterable
from typing import Any

from hypothesis import strategies as st

Key = tuple[str, str]
Cells = dict[str, str]
Catalogue = dict[Key, Cells]

NAMED: dict[str, dict[str, str]] = {
    "component": {"section": "section"},
    "position": {"section": "section"},
    "fitment": {"component": "component", "position": "position", "evidence": "evidence"},
    "conflict": {"component": "component", "other_component": "component", "evidence": "evidence"},
    "substitute": {"original": "component", "component": "component"},
}
"""Which cells of a kind of record name a record, and of which kind; `;` stands between several."""

BASE: Catalogue = {
    ("range", "light"): {"name": "light", "title": "Light range"},
    ("variant", "L1"): {
        "name": "L1", "range": "light", "title": "L1", "generation": "I", "body": "van", "engine": "2.0",
        "drive": "rear", "steering": "left", "market": "home",
    },
    ("chassis_span", "L1"): {
        "variant": "L1", "first": "L-001", "last": "L-900", "built_from": "1960-01-01",
        "built_to": "1965-12-31",
    },
}  # fmt: skip
"""What the edits leave alone."""

ORDER = ("range", "section", "evidence", "variant", "chassis_span", "position", "component", "fitment",
         "substitute", "conflict")  # fmt: skip


def named_by(key: Key, cells: Cells) -> set[Key]:
    """The records that a record names."""
    found = set()
    for column, kind in NAMED.get(key[0], {}).items():
        found |= {(kind, name) for name in cells.get(column, "").split("; ") if name}
    return found


def is_whole(catalogue: Catalogue) -> bool:
    """Whether everything that is named is there."""
    return all(named_by(key, cells) <= catalogue.keys() for key, cells in catalogue.items())


def sheet_of(catalogue: Catalogue, order: Iterable[Key]) -> io.StringIO:
    """Records as a sheet, a table each, in this order."""
    stream = io.StringIO()
    writer = csv.writer(stream)
    for key in order:
        writer.writerow([f"[{key[0]}]"])
        writer.writerow(catalogue[key])
        writer.writerow(catalogue[key].values())
    stream.seek(0)
    return stream


def objects_of(catalogue: Catalogue, order: Iterable[Key]) -> list[dict[str, Any]]:
    """Records as JSON has them, in this order."""
    return [{"record": key[0], **row_of(catalogue[key])} for key in order]


def row_of(cells: Cells) -> dict[str, Any]:
    """A record's cells as JSON members: lists are lists."""
    return {name: text.split("; ") if name == "evidence" else text for name, text in cells.items()}


def read_export(text: str) -> Catalogue:
    """An export as a model, read with nothing but the standard library."""
    found: Catalogue = {}
    kind, columns = "", []
    for row in csv.reader(io.StringIO(text)):
        if not row:
            continue
        if row[0].startswith("["):
            kind, columns = row[0][1:-1], []
        elif not columns:
            columns = row
        else:
            cells = {name: _unguarded(cell) for name, cell in zip(columns, row, strict=True) if cell}
            key = (kind, name_of(kind, cells))
            assert key not in found, f"{key} stands twice"
            found[key] = cells
    return found


def _unguarded(cell: str) -> str:
    """A text that a spreadsheet would run is exported with an apostrophe in front."""
    return cell[1:] if cell[:1] == "'" and cell[1:2] in ("=", "+", "-", "@", "'") else cell


def name_of(kind: str, cells: Cells) -> str:
    """The stable name of a record."""
    match kind:
        case "component":
            return cells["number"]
        case "chassis_span":
            return cells["variant"]
        case "fitment":
            return cells.get("name") or f"{cells['component']}@{cells['position']}"
        case "substitute":
            return cells.get("name") or f"{cells['original']}>{cells['component']}"
    return cells["name"]


def _some(prefix: str, count: int) -> st.SearchStrategy[str]:
    return st.sampled_from([f"{prefix}{number}" for number in range(1, count + 1)])


SECTIONS, COMPONENTS, POSITIONS = _some("section-", 2), _some("C-", 4), _some("place.", 3)
EVIDENCE = _some("note-", 2)
WORDS = st.sampled_from(["plain", 'with "quotes"', "comma, semicolon", "äöü ß", "two\nlines", "=1+1", "#7"])
OPTIONAL = st.sampled_from([{}, {"note": "one"}, {"note": "a, b"}])


@st.composite
def records(draw: st.DrawFn) -> tuple[Key, Cells]:
    """Any record that is valid by itself."""
    kind = draw(st.sampled_from(["section", "evidence", *NAMED, "component", "fitment"]))
    cells = _own_cells(draw, kind)
    if kind not in ("section", "position"):
        cells |= draw(OPTIONAL)
    return (kind, name_of(kind, cells)), cells


def _own_cells(draw: st.DrawFn, kind: str) -> Cells:
    match kind:
        case "section":
            return {"name": draw(SECTIONS), "title": draw(WORDS), "order": draw(_some("1", 3))}
        case "evidence":
            grade = st.sampled_from(["hearsay", "measured", "built and driven"])
            return {"name": draw(EVIDENCE), "grade": draw(grade), "reference": draw(WORDS)}
        case "position":
            return {
                "range": "light", "name": draw(POSITIONS), "section": draw(SECTIONS), "title": draw(WORDS),
                "essential": "no",
            }  # fmt: skip
        case "component":
            cells = {
                "number": draw(COMPONENTS), "name": draw(WORDS), "section": draw(SECTIONS),
                "origin": draw(st.sampled_from(["original", "modern"])),
            }  # fmt: skip
            return cells | draw(st.sampled_from([{}, {"price": "12.50"}, {"price": "0.05", "pack": "10"}]))
        case "fitment":
            cells = {"range": "light", "component": draw(COMPONENTS), "position": draw(POSITIONS)}
            more = [{}, {"minutes": "30"}, {"effort": "cutting"}, {"evidence": "note-1; note-2"}]
            return cells | draw(st.sampled_from(more))
        case "substitute":
            original, other = draw(st.permutations(["C-1", "C-2", "C-3", "C-4"]))[:2]
            return {"range": "light", "original": original, "component": other}
    one, other = draw(st.permutations(["C-1", "C-2", "C-3", "C-4"]))[:2]
    return {
        "range": "light", "name": draw(_some("clash-", 2)), "component": one, "other_component": other,
        "reason": draw(WORDS),
    }  # fmt: skip


BATCHES = st.lists(records(), min_size=1, max_size=7, unique_by=lambda record: record[0])
