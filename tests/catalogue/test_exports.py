"""Export writes what load reads; nothing but content decides its bytes."""

import io
import random
from typing import Any

import jsonschema
import pytest
from sqlalchemy import Connection, Engine, select
from sqlmodel import SQLModel

from graftbook.catalogue.format.exports import export, export_text, json_schema
from graftbook.catalogue.format.records import KINDS, Record
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.from_rows import records_of
from graftbook.catalogue.store.tables import table
from graftbook.database import make_engine
from graftbook.rulebook.units import UNITS, WORDED
from tests.catalogue.sheet import SMALL, exported, sheet, small
from tests.conftest import SEED


def objects_of(connection: Connection, kind: type[Record]) -> list[dict[str, Any]]:
    """Every record of one kind as JSON gives it, without the fields that are at their default."""
    records = [kind.model_validate(record.model_dump()) for record in records_of(connection, kind)]
    return [
        {"record": kind.kind_of_record, **record.model_dump(mode="json", exclude_defaults=True)}
        for record in records
    ]


def rows(engine: Engine) -> dict[str, list[tuple]]:
    """Every row of the catalogue, but for the history of edits, its name and its events."""
    with engine.connect() as connection:
        return {
            name: sorted(map(tuple, connection.execute(select(held)).all()), key=repr)
            for name, held in SQLModel.metadata.tables.items()
            if name not in ("revision", "epoch", "event", "feed")
        }


def shuffled(text: str, seed: int) -> list[io.StringIO]:
    """The tables of a sheet in another order, and their rows too (a companion's rows keep theirs)."""
    chance = random.Random(seed)
    parts = [part for part in text.split("\n\n") if part.strip()]
    chance.shuffle(parts)
    mixed = []
    for number, part in enumerate(parts):
        lines = [line for line in part.strip("\n").split("\n") if not line.startswith("#")]
        head, body = lines[:2], lines[2:]
        if head[0] != "[companion]":
            chance.shuffle(body)
        mixed.append(sheet("\n".join([*head, *body]) + "\n", f"{number}.csv"))
    return mixed


def test_load_and_export_and_load_again_is_the_same_catalogue(databases) -> None:
    first, second = make_engine(databases.new()), make_engine(databases.new())
    assert load(first, small()).ok
    once = exported(first)
    assert load(second, sheet(once)).ok
    assert exported(second) == once
    assert rows(second) == rows(first)
    first.dispose()
    second.dispose()


def test_loading_an_export_into_its_own_catalogue_changes_nothing(engine: Engine) -> None:
    load(engine, small())
    once, before = exported(engine), rows(engine)
    assert load(engine, sheet(once)).ok
    assert exported(engine) == once
    after = rows(engine)
    del before["range"], after["range"]  # its revision rises
    assert after == before


@pytest.mark.parametrize("seed", range(5))
def test_the_order_of_the_records_does_not_matter(sqlite_databases, seed: int) -> None:
    one, other = make_engine(sqlite_databases.new()), make_engine(sqlite_databases.new())
    load(one, small())
    report = load(other, shuffled(SMALL, seed))
    assert report.ok, report.mistakes
    assert exported(other) == exported(one)
    one.dispose()
    other.dispose()


@pytest.mark.one_engine
def test_the_demo_range_survives_the_round(demo: Engine, databases) -> None:
    once = exported(demo)
    again = make_engine(databases.new())
    report = load(again, sheet(once))
    assert report.ok, report.mistakes[:5]
    assert exported(again) == once
    trail: dict[str, object] = {"access_event": None}  # others may have been refused a page of the same range
    assert rows(again) | trail == rows(demo) | trail
    again.dispose()


def test_both_engines_write_the_same_bytes(
    request: pytest.FixtureRequest, sqlite_demo: Engine, demo: Engine
) -> None:
    assert exported(demo) == exported(sqlite_demo)


def test_a_stream_and_a_folder_hold_the_same(sqlite_tern: Engine, sqlite_databases, tmp_path) -> None:
    assert "".join(export_text(sqlite_tern)) == exported(sqlite_tern)
    with sqlite_tern.connect() as connection:
        assert export(sqlite_tern, tmp_path) == sum(len(list(objects_of(connection, kind))) for kind in KINDS)
    again = make_engine(sqlite_databases.new())
    assert load(again, tmp_path).ok
    assert exported(again) == exported(sqlite_tern)
    again.dispose()


def test_the_schema_takes_what_the_catalogue_holds_and_refuses_what_load_refuses(sqlite_demo: Engine) -> None:
    schema = json_schema()
    validator = jsonschema.Draft202012Validator
    validator.check_schema(schema)
    check = validator(schema)
    with sqlite_demo.connect() as connection:
        objects = [record for kind in KINDS for record in objects_of(connection, kind)[:20]]
    # Reports are the house's own: the demo range has none.
    known = {"workshop": "North", "on": "2026-01-01", "chassis": "24PL-018412", "claim": "x"}
    objects.append({"record": "report", "outcome": "fitted", **known})
    assert {record["record"] for record in objects} == {kind.kind_of_record for kind in KINDS}
    for record in objects:
        assert check.is_valid([record]), record
    component = next(record for record in objects if record["record"] == "component")
    assert not check.is_valid([component | {"origin": "antique"}])
    assert not check.is_valid([component | {"colour": "red"}])
    assert not check.is_valid([{key: value for key, value in component.items() if key != "number"}])


def test_json_objects_of_the_catalogue_load_again(sqlite_tern: Engine, sqlite_databases) -> None:
    with sqlite_tern.connect() as connection:
        objects = [record for kind in KINDS for record in objects_of(connection, kind)]
    again = make_engine(sqlite_databases.new())
    report = load(again, objects)
    assert report.ok, report.mistakes[:5]
    assert exported(again) == exported(sqlite_tern)
    again.dispose()


def test_the_demo_sheets_are_text_that_a_review_can_read() -> None:
    for path in sorted(SEED.glob("*.csv")):
        text = path.read_text(encoding="utf-8")
        assert "\r" not in text
        assert "\t" not in text


def test_quantities_and_money_come_back_as_they_were_written(engine: Engine) -> None:
    load(engine, small())
    text = exported(engine)
    assert "TW-10,spoked wheel,wheels,original,,12.50,2.00,4.5 kg" in text
    assert "TW-9,,bore,0.75 .. 0.8 in,tried" in text
    assert "lamps,lamps,supply_a,demand_a,0.9," in text
    with engine.connect() as connection:
        component = table("component")
        price, mass = connection.execute(
            select(component.c.price, component.c.mass_kg).where(component.c.number == "TW-10")
        ).one()
    assert (price, mass) == (1250, 4.5)


def test_the_work_of_a_loose_part_survives_the_round(databases) -> None:
    first, second = make_engine(databases.new()), make_engine(databases.new())
    head = "[component]\nnumber,name,section,origin,effort,minutes\n"
    assert load(first, small()).ok
    assert load(first, sheet(f"{head}TC-1,bell clip,brakes,original,machining,25\n")).ok
    once = exported(first)
    assert "machining,25" in next(line for line in once.split("\n") if line.startswith("TC-1,"))
    assert load(second, sheet(once)).ok
    assert exported(second) == once
    first.dispose()
    second.dispose()


@pytest.mark.one_engine
def test_every_unit_comes_back_from_an_export_as_it_was_written(databases) -> None:
    """Each unit that the lists offer: loaded, exported, and loaded again."""
    kinds, values = [], []
    for number, (quantity, unit) in enumerate(UNITS):
        if quantity not in WORDED:
            kinds.append(f"kind_{number},Kind {number},{quantity}")
            values.append(f"MX-1,kind_{number},{f'3 {unit}'.strip()}")
    text = f"""
[range]
name,title
made,Made

[section]
name,title,order
works,Works,1

[characteristic_kind]
name,title,quantity
{chr(10).join(kinds)}

[component]
number,name,section,origin
MX-1,a clip,works,modern

[characteristic]
component,kind,value
{chr(10).join(values)}
"""
    first, second = make_engine(databases.new()), make_engine(databases.new())
    report = load(first, sheet(text))
    assert report.ok, report.mistakes
    once = exported(first)
    assert all(value.partition(",")[2] in once for value in values)
    assert load(second, sheet(once)).ok
    assert exported(second) == once
    assert rows(second) == rows(first)
    first.dispose()
    second.dispose()
