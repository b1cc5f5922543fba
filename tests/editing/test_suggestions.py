"""Suggestions to whoever types: each with its ground, none on chance, none taken by itself."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime

import pytest
from sqlalchemy import Engine, text

from graftbook.database import make_engine, writing
from graftbook.editing.suggesting import store
from graftbook.editing.suggesting.service import names_to_pick, suggestions
from graftbook.editing.suggesting.suggestions import (
    OtherRecorded,
    Rule,
    companions_like,
    ordered_together,
    unlike_others,
)


def rules(fit: str, *numbers: str) -> list[Rule]:
    return [Rule(number, fit, f"{number} leaks without") for number in numbers]


def test_what_half_of_the_like_parts_ask_for_is_suggested_with_its_ground() -> None:
    like = ["A", "B", "C", "D"]
    found = companions_like("N", set(), like, rules("gasket", "A", "B") + rules("shim", "C"))
    (one,) = found
    assert one.fields == {"component": "N", "fit": "gasket", "reason": "A leaks without"}
    assert one.ground == "2 of 4 other parts at its places have it; A because: A leaks without"


def test_what_it_has_already_and_what_one_part_alone_has_is_not() -> None:
    assert not companions_like("N", {"gasket"}, ["A", "B"], rules("gasket", "A", "B"))
    assert not companions_like("N", set(), ["A"], rules("gasket", "A"))
    assert not companions_like("gasket", set(), ["A", "B"], rules("gasket", "A", "B"))


def test_the_same_part_asking_twice_counts_once() -> None:
    assert not companions_like("N", set(), ["A", "B", "C"], rules("gasket", "A", "A"))


def test_eleven_of_twelve_orders() -> None:
    (one,) = ordered_together("N", set(), 12, {"clip": 11, "bolt": 8, "own": 3})
    assert one.ground == "ordered together in 11 of 12 orders"
    assert one.fields == {"component": "N", "fit": "clip"}
    assert not ordered_together("N", {"clip"}, 12, {"clip": 11})
    assert not ordered_together("N", set(), 3, {"clip": 3}), "three orders are chance"


OTHERS = [OtherRecorded(f"C-{mm}", f"{mm} mm", mm / 1000, mm / 1000) for mm in (250, 260, 280, 300, 330)]


@pytest.mark.parametrize(
    ("written", "ground", "instead"),
    [
        ("330 in", "twice any other of its kind: the greatest of 5 is 330 mm (C-330)", "330 mm"),
        ("30 mm", "half any other of its kind: the least of 5 is 250 mm (C-250)", "30 cm"),
        ("700 mm", "twice any other of its kind", ""),
    ],
)
def test_a_value_unlike_all_others_is_told_with_what_was_likely_meant(
    written: str, ground: str, instead: str
) -> None:
    found = unlike_others("disc_diameter", "length", written, OTHERS)
    assert ground in found[0].ground
    assert found[0].instead == instead


@pytest.mark.parametrize("written", ["300 mm", "600 mm", "12 in", "soon", ""])
def test_a_usual_value_or_none_is_not_doubted(written: str) -> None:
    assert not unlike_others("disc_diameter", "length", written, OTHERS)


def test_four_values_are_no_rule_and_neither_are_words() -> None:
    assert not unlike_others("disc_diameter", "length", "330 in", OTHERS[:4])
    assert not unlike_others("material", "choice", "steel", OTHERS)


@pytest.fixture
def engine(demo_copy: Callable[[], str]) -> Iterator[Engine]:
    engine = make_engine(demo_copy())
    yield engine
    engine.dispose()


def keep_orders(engine: Engine, count: int, *numbers: str, first: int = 0) -> None:
    """Kept lists that order these numbers, written where they are kept."""
    with writing(engine) as session:
        for at in range(first, first + count):
            session.execute(
                text(
                    "INSERT INTO order_list (name, state, version, catalogue_revision, made, changed, asked, "
                    "facts, note) VALUES (:name, 'sent', 1, 1, :at, :at, '{}', '{}', '')"
                ),
                {"name": f"list-{at}", "at": datetime.now(UTC).isoformat(" ")},
            )
            for line, number in enumerate(numbers, start=1):
                session.execute(
                    text(
                        "INSERT INTO order_line (list, line, component, supplier, pieces) "
                        "VALUES (:list, :line, :number, 'works', 1)"
                    ),
                    {"list": f"list-{at}", "line": line, "number": number},
                )


def test_the_kept_orders_are_counted(engine: Engine) -> None:
    keep_orders(engine, 11, "QE-1800", "QL-1010")
    keep_orders(engine, 1, "QE-1800", first=11)
    keep_orders(engine, 5, "QL-1010", first=12)
    grounds = {one.words: one.ground for one in suggestions(engine, "component", {"number": "QE-1800"})}
    assert grounds["Companion QL-1010"] == "ordered together in 11 of 12 orders"


def test_the_demo_range_suggests_nothing_absurd_and_every_ground_can_be_counted(engine: Engine) -> None:
    """Of every front brake: what is suggested is asked for by others at its places."""
    found = suggestions(engine, "fitment", {"component": "NEW-1", "position": "brake.front.left"})
    assert found
    for one in found:
        assert one.kind == "companion"
        assert one.fields["component"] == "NEW-1"
        assert "other parts at its places have it" in one.ground


def test_a_slip_of_the_unit_is_told_on_the_demo_range(engine: Engine) -> None:
    typed = {"component": "QB-3310", "kind": "bolt_circle", "value": "140 in"}
    found = suggestions(engine, "characteristic", typed)
    assert found[0].instead == "140 mm"
    assert "twice any other of its kind" in found[0].ground
    assert suggestions(engine, "characteristic", typed | {"value": "140 mm"}) == []


def test_a_pick_list_is_whole_or_there_is_none(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    kept = names_to_pick(engine, ["section", "position"])
    assert "brakes" in kept["section"]
    monkeypatch.setattr(store, "MOST_NAMES", len(kept["position"]) - 1)
    assert set(names_to_pick(engine, ["section", "position"])) == {"section"}


@pytest.mark.parametrize(
    ("kind", "fields"),
    [("section", {"name": "x"}), ("component", {}), ("characteristic", {"kind": "nothing", "value": "3 mm"}),
     ("fitment", {"component": "nothing"})],
)  # fmt: skip
def test_nothing_is_said_where_nothing_is_known(engine: Engine, kind: str, fields: dict[str, str]) -> None:
    assert suggestions(engine, kind, fields) == []
