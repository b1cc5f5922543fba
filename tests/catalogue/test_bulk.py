"""Many rows at once: what becomes of a key that is there already, on both engines, however many there are."""

import gc
import weakref
from datetime import date

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.exc import DBAPIError

from graftbook.catalogue.loading import scratch
from graftbook.catalogue.loading.bulk import FEW, OnClash, put
from graftbook.catalogue.store.tables import table
from graftbook.database import writing

MANY = FEW + 10


def said(connection: object, numbers: range, reference: str) -> None:
    rows = [
        {"name": f"e{n:03d}", "grade": "measured", "reference": reference, "on": date(1970, 1, 1), "who": "",
         "note": ""}
        for n in numbers
    ]  # fmt: skip
    put(connection, table("evidence"), rows, CLASH[reference])


CLASH = {"first": OnClash.none, "again": OnClash.none, "later": OnClash.replaced, "never": OnClash.old_stays}


@pytest.mark.parametrize("count", [3, MANY])
def test_a_key_that_is_there_stays_or_is_replaced_and_defaults_are_filled_in(
    engine: Engine, count: int
) -> None:
    evidence = table("evidence")
    with writing(engine) as session:
        connection = session.connection()
        said(connection, range(count), "first")
        said(connection, range(1, count + 1), "never")
        said(connection, range(2, count + 2), "later")
        rows = connection.execute(select(evidence).order_by(evidence.c.name)).all()
    assert [row.reference for row in rows] == ["first", "first", *["later"] * count]
    assert {(row.on, row.fitted) for row in rows} == {(date(1970, 1, 1), 0)}


@pytest.mark.parametrize("count", [3, MANY])
def test_of_two_rows_with_one_key_the_last_replaces_and_the_first_stays(engine: Engine, count: int) -> None:
    section = table("section")
    twice = [{"name": f"s{n}", "title": title, "order": 0} for n in range(count) for title in ("one", "two")]
    for clash, title in ((OnClash.old_stays, "one"), (OnClash.replaced, "two")):
        with writing(engine) as session:
            put(session.connection(), section, twice, clash)
            titles = session.connection().execute(select(section.c.title)).scalars().all()
        assert titles == [title] * count


@pytest.mark.parametrize("count", [3, MANY])
def test_a_clash_that_was_not_expected_is_the_databases_own_error(engine: Engine, count: int) -> None:
    with writing(engine) as session:
        said(session.connection(), range(count), "first")
    with pytest.raises(DBAPIError), writing(engine) as session:
        said(session.connection(), range(count), "again")


def test_nothing_is_kept_of_a_database_that_is_gone() -> None:
    """Each question about the past has one in memory; how rows get into it was kept for each."""
    gone = []
    for _ in range(2):
        with scratch.scratch() as connection:
            said(connection, range(2), "never")
            gone.append(weakref.ref(connection.dialect))
            del connection
    gc.collect()
    assert [dialect() for dialect in gone][1:] == [None]
