"""A flat list of 2,000 rows with planted dirt: all of it is told or asked, and nothing else is wrong."""

from collections import Counter, defaultdict
from functools import cache
from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.database import reading
from graftbook.editing.flat import store
from graftbook.editing.flat.mapping import FlatMapping
from graftbook.editing.flat.questions import ListQuestion
from graftbook.editing.flat.rows import rows_of
from graftbook.editing.flat.turning import Turned, turn
from tests.editing.dirty_list import COLUMNS, DirtyList, Fitment, Truth, dirty_list, variants

MAPPING = FlatMapping.model_validate({"columns": COLUMNS, "origin": "modern"})


@cache
def made() -> DirtyList:
    return dirty_list()


@pytest.fixture(scope="module")
def found(sqlite_demo: Engine) -> Turned:
    """The list turned without a single decision."""
    rows = rows_of("list.csv", made().text.encode()).rows
    with reading(sqlite_demo) as session:
        known = store.known_for(session.connection(), MAPPING, rows, {})
    return turn(rows, MAPPING, {}, known, {})


def meant(fields: dict[str, Any]) -> Fitment:
    """A fitment's fields as what they mean, worked out by the demo range's own sheets."""
    attributes = {"generations": "generation", "bodies": "body", "engines": "engine", "drives": "drive"}
    those = frozenset(
        one.name
        for one in variants()
        if (not fields.get("variants") or one.name in fields["variants"])
        and all(one.values[own] in fields[column] for column, own in attributes.items() if fields.get(column))
    )
    ends = tuple(str(fields.get(c, "")) for c in ("chassis_from", "chassis_to", "built_from", "built_to"))
    return (fields["position"], those, *ends, fields.get("quantity", 1))  # type: ignore[return-value]  # four ends


def truths_in(objects: list[dict[str, Any]]) -> dict[str, Truth]:
    """What records say of each number."""
    found: dict[str, Truth] = defaultdict(lambda: Truth(""))
    for one in objects:
        match one["record"]:
            case "component":
                found[one["number"]].name = one["name"]
            case "fitment":
                found[one["component"]].fits.add(meant(one))
            case "offer":
                said = (one["price"], one.get("pack", 1), one.get("lead_days", 0))
                found[one["component"]].offers[one["supplier"]] = said
            case "supersession":
                found[one["new"]].replaces.add(one["old"])
    return found


def asked_in(questions: list[ListQuestion]) -> dict[str, set[int]]:
    """Kind of question → the lines that it is asked of."""
    found: dict[str, set[int]] = defaultdict(set)
    for one in questions:
        found[one.kind] |= set(one.lines)
    return found


def test_all_dirt_is_asked_or_told(found: Turned) -> None:
    asked = asked_in(found.questions)
    for dirt in made().dirt:
        if dirt.kind == "told":
            said = [one.sentence for one in found.told if dirt.number in ("", one.number)]
            assert any(dirt.told in sentence for sentence in said), dirt
        elif dirt.kind == "circle":
            assert any(dirt.number in q.numbers for q in found.questions if q.kind == "circle"), dirt
        else:
            asked_lines = asked[dirt.kind]
            many = [q for q in found.questions if q.kind == dirt.kind and q.count > len(q.lines)]
            assert dirt.line in asked_lines or any(dirt.number in q.numbers for q in many), dirt
    kinds = Counter(dirt.kind for dirt in made().dirt)
    assert len(kinds) > 20
    assert min(kinds.values()) >= 6
    assert any("6 rows with nothing" in one.sentence for one in found.told)


def test_nothing_of_a_spoilt_number_is_loaded(found: Turned) -> None:
    loaded = {one.get("component") or one.get("number") or one.get("new") for one in found.objects}
    for dirt in made().dirt:
        if dirt.kind != "told":
            assert dirt.number not in loaded, dirt


def test_nothing_clean_is_asked_about(found: Turned) -> None:
    spoilt = {dirt.number for dirt in made().dirt if dirt.kind != "told"}
    after = {old for truth in made().clean.values() for old in truth.replaces}
    assert not after & spoilt
    for question in found.questions:
        assert question.numbers <= spoilt | {""}, question


def test_whatever_is_clean_is_read_as_it_is(found: Turned) -> None:
    said = truths_in(found.objects)
    assert len(made().clean) > 1_500
    for number, truth in made().clean.items():
        assert said[number] == truth, number


def test_a_row_longer_than_its_heads_is_asked_about_and_never_read_by_itself(sqlite_demo: Engine) -> None:
    mapping = FlatMapping.model_validate(
        {"columns": {"number": "No", "description": "What", "price": "Cost"}}
    )
    rows = rows_of(
        "x.csv",
        b"No;What;Cost\nFL-1;battery; large;4.50\nFL-2;battery;4.50;\nFL-3;battery;4.50;\nFL-4;lamp;4.50;;\n",
    ).rows
    with reading(sqlite_demo) as session:
        known = store.known_for(session.connection(), mapping, rows, {})

    def asked(**decisions: str) -> list[tuple[str, list[int]]]:
        found = turn(
            rows, mapping, {key.replace("_", ":"): answer for key, answer in decisions.items()}, known, {}
        )
        return [(one.kind, one.lines) for one in found.questions if one.kind in ("cells", "price")]

    assert asked() == [("cells", [2]), ("cells", [5])]
    assert asked(**{"cells_*": "out"}) == []
    assert asked(**{"cells_*": "row"}) == [("price", [2])]
