"""Storing a build settles names, and nobody waits for a rule book to be compiled for that."""

from collections.abc import Iterator
from functools import partial
from typing import Any

import pytest
from sqlalchemy import Engine

from graftbook.builds.schemas import BuildIn
from graftbook.builds.service import settled
from graftbook.catalogue.compiling.book_names import outline_of
from graftbook.catalogue.loading.imports import load
from graftbook.database import reading
from graftbook.problems import Problem
from graftbook.process.service import Service, make_service
from graftbook.questions.schemas import VehicleIn, WishIn
from graftbook.questions.vehicles.service import ask_vehicle, name_vehicle
from graftbook.settings import Settings
from tests.catalogue.sheet import sheet

CHASSIS = "ZB-000100"
SHEET = """
[range]
name,title
made,A made range

[section]
name,title,order
works,Works,1

[variant]
name,range,title,generation,body,engine,drive,steering,market,options
made-1,made,A made one,one,one,one,rear,left,home,heater; radio

[chassis_span]
variant,first,last,built_from,built_to
made-1,ZB-000001,ZB-009999,1960-01-01,1969-12-31

[position]
name,section,title,variants
works.one,works,the one,made-1
works.two,works,the two,made-1

[component]
number,name,section,origin
MX-1,a clip,works,original
MX1,another clip,works,original
MY-2,a clip of no position,works,modern

[fitment]
component,position,variants,from_new
MX1,works.one,made-1,yes

[flaw]
name,component,variants,severity,symptom
it rusts,MX1,made-1,severe,It rusts
"""

KNOWN: dict[str, Any] = {
    "chassis": CHASSIS,
    "options": ["Heater"],
    "fitted": {"WORKS.one": "mx 1", "works.two": None},
    "on_the_bench": ["my2"],
    "decided": [{"fit": "MX-1"}, {"remedy": "It Rusts"}, {"remedy_all": "severe", "section": "Works"}],
}
UNKNOWN: dict[str, dict[str, Any]] = {
    "chassis": {"chassis": "ZZ-1"},
    "variant": {"variant": "made-2"},
    "position": {"fitted": {"works.on": "MX1"}},
    "fitted": {"fitted": {"works.one": "MX2"}},
    "bench": {"on_the_bench": ["MX1", "MZ-9"]},
    "option": {"options": ["wings"]},
    "wish": {"decided": [{"fit": "MX3"}]},
    "flaw": {"decided": [{"remedy": "it rust"}]},
    "section": {"decided": [{"remedy_all": "severe", "section": "work"}]},
}


@pytest.fixture
def made(engine: Engine) -> Iterator[Service]:
    report = load(engine, [sheet(SHEET)])
    assert report.ok, report.mistakes
    service = make_service(Settings(database_url=engine.url.render_as_string(hide_password=False)))
    yield service
    service.close()


def outcome(ask: Any, service: Service, given: dict[str, Any]) -> Any:
    """What names are settled as, or the whole problem of the one that is not."""
    body = {name: value for name, value in given.items() if name != "decided"}
    try:
        asked = ask(service, VehicleIn(**body))
        wishes = asked.names.wishes([WishIn(**wish) for wish in given.get("decided", ())], "/decided")
    except Problem as problem:
        return type(problem), problem.detail, problem.fields
    return asked.vehicle, asked.chassis, asked.fitted, asked.on_the_bench, wishes


def test_no_rule_book_is_compiled_for_a_build(made: Service) -> None:
    given = KNOWN | {"fitted": {"works.one": None}, "decided": KNOWN["decided"][1:]}
    stored = settled(made, BuildIn(**given))
    assert (stored.variant, stored.options, stored.on_the_bench) == ("made-1", ["heater"], ["MY-2"])
    assert made.books.compiled == 0


def test_the_book_says_which_of_two_alike_numbers_is_meant(made: Service) -> None:
    """MX-1 and MX1 differ in a dash, and only one of them is of this variant."""
    stored = settled(made, BuildIn(**KNOWN))
    assert stored.fitted == {"works.one": "MX1", "works.two": None}
    assert made.books.compiled == 1


@pytest.mark.parametrize("changed", [{}, *UNKNOWN.values()], ids=["known", *UNKNOWN])
def test_names_are_settled_as_with_the_book(made: Service, changed: dict[str, Any]) -> None:
    given = KNOWN | changed
    told = outcome(name_vehicle, made, given)
    assert told == outcome(partial(ask_vehicle, pointer=""), made, given)
    assert isinstance(told[0], type) == bool(changed)


def test_an_outline_names_what_the_book_names(made: Service) -> None:
    book = made.books.book("made-1")
    with reading(made.engine) as session:
        outline = outline_of(session, "made-1")
    assert outline.positions == tuple(book.positions)
    assert outline.sections == tuple(book.sections)
    assert outline.flaws == tuple(flaw.name for flaw in book.flaws)
    assert set(outline.options) == book.variant.options
    assert all((outline.positions, outline.sections, outline.flaws, outline.options))
