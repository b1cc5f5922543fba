"""What is remembered of a vehicle or a set is what would be worked out anew."""

from dataclasses import replace

import pytest
from sqlalchemy import Engine

from graftbook.checks import set as sets
from graftbook.checks.fitted import Fitted, Reading, Whereabouts, remembered
from graftbook.checks.law import Binding
from graftbook.rulebook.scope import Scope
from tests.checks.made import Made
from tests.conftest import book_and_vehicle

CHANGES = (
    {},
    {"brake.master": {"circuits": "1"}},
    {"gearbox": {"gear_1": "-3.6"}},
    {"brake.master": {"fluid_displaced": "5 ml"}, "charging.machine": {"current_supplied": "23 A"}},
)


@pytest.mark.parametrize("change", CHANGES)
def test_a_second_set_on_the_same_vehicle_is_found_as_the_first(change: dict) -> None:
    made = Made(change)
    for more in ({}, {"binding": Binding.type_approval}, {"market": "United States"}):
        for after in (made.after, made.today, made.after):
            found = sets.check_set(made.book, made.vehicle, made.today, after, **more)
            fresh = sets.check_set(replace(made.book), made.vehicle, made.today, after, **more)
            assert found == fresh


def test_no_more_than_so_many_vehicles_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sets, "MOST_KEPT", 2)
    made = Made({})
    for position in list(made.today)[:4]:
        today = {p: n for p, n in made.today.items() if p != position}
        sets.check_set(made.book, made.vehicle, today, made.after)
        assert len(sets._standing(sets.index_of(made.book))) <= 2


def test_a_remembered_figure_is_worked_out_once_and_names_what_it_missed_each_time() -> None:
    worked_out = []

    @remembered
    def ratio(reading: Reading, place: str) -> float:
        worked_out.append(place)
        return reading.value(place, "master_bore") / reading.value(place, "no_such_kind")

    made = Made({})
    fitted = Fitted(made.book, made.after, made.vehicle)
    first, second = Reading(fitted), Reading(fitted)
    ratio(first, "brake.master"), ratio(second, "brake.master")
    assert worked_out == ["brake.master"]
    assert len(first.missing) == 1
    assert (first.missing, first.used, first.read) == (second.missing, second.used, second.read)
    ratio(Reading(Fitted(made.book, made.today, made.vehicle)), "brake.master")
    assert len(worked_out) == 2


def test_what_cannot_be_worked_out_is_not_remembered_but_named() -> None:
    @remembered
    def by_nothing(reading: Reading) -> float:
        return reading.value("brake.master", "master_bore") / 0

    made = Made({})
    reading = Reading(Fitted(made.book, made.after, made.vehicle))
    for _ in range(2):
        with pytest.raises(ZeroDivisionError):
            by_nothing(reading)
    assert reading.read


def test_what_is_taken_over_from_today_is_what_would_be_found_anew(
    sqlite_demo: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Components of the demo range in place of today's, one at a time and each with another."""
    book, vehicle = book_and_vehicle(sqlite_demo, "24PR-020000")
    today = Scope(book, vehicle).today
    fits = sorted({(f.position, f.component) for f in book.fitments if f.component != today.get(f.position)})
    fits = fits[::21]
    taken_over = 0
    for number, (position, component) in enumerate(fits):
        other_position, other = fits[number * 7 % len(fits)]
        for after in ({position: component}, {position: component, other_position: other}):
            found = sets.check_set(book, vehicle, today, {**today, **after})
            with monkeypatch.context() as nothing_kept:
                nothing_kept.setattr(Whereabouts, "meets", lambda *_: True)
                assert sets.check_set(book, vehicle, today, {**today, **after}) == found, after
        changed = Fitted(book, {**today, **after}, vehicle).unlike(Fitted(book, today, vehicle))
        stands = next(iter(sets._standing(sets.index_of(book)).values()))
        taken_over += sum(not looked.meets(changed) for _, looked in stands.of_each.values())
    assert taken_over > 3 * len(fits)
