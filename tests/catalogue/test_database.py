"""The database's promises, each of which an engine breaks unless it is told otherwise."""

import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import psycopg
import pytest
from alembic.script import ScriptDirectory
from sqlalchemy import Engine, insert, inspect, select, text, update
from sqlalchemy.exc import IntegrityError
from sqlmodel import SQLModel

from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.tables import table
from graftbook.database import (
    close_engine,
    level_needed,
    make_engine,
    migrate,
    migration_config,
    migrations_folder,
    reading,
    writing,
)
from graftbook.settings import Settings
from tests.catalogue.sheet import sheet, small


def shape(engine: Engine) -> dict[str, object]:
    """Tables, columns, keys, checks and indices as the database itself tells them."""
    found = inspect(engine)
    return {
        name: {
            "columns": [(c["name"], str(c["type"]), c["nullable"]) for c in found.get_columns(name)],
            "primary": found.get_pk_constraint(name),
            "foreign": sorted(found.get_foreign_keys(name), key=repr),
            "unique": sorted(found.get_unique_constraints(name), key=repr),
            "check": sorted((c["name"], c["sqltext"]) for c in found.get_check_constraints(name)),
            "indices": sorted(found.get_indexes(name), key=repr),
        }
        for name in found.get_table_names()
        if name != "alembic_version"
    }


def test_models_and_migrations_agree(databases) -> None:
    migrated, made = make_engine(databases.new()), make_engine(databases.empty())
    SQLModel.metadata.create_all(made)
    one, other = shape(migrated), shape(made)
    assert one.keys() == other.keys() == SQLModel.metadata.tables.keys()
    for name in one:
        assert one[name] == other[name], name
    migrated.dispose()
    made.dispose()


def test_alembic_sees_nothing_left_to_migrate(engine: Engine) -> None:
    from alembic.autogenerate import compare_metadata
    from alembic.migration import MigrationContext

    with engine.connect() as connection:
        assert compare_metadata(MigrationContext.configure(connection), SQLModel.metadata) == []


def test_every_constraint_has_a_name(engine: Engine) -> None:
    for name, of_table in shape(engine).items():
        named = [of_table["primary"], *of_table["foreign"], *of_table["unique"]]
        assert all(constraint["name"] for constraint in named), name


def test_migrations_go_down_and_up_with_data_in_the_tables(engine: Engine) -> None:
    assert load(engine, small()).ok
    names = set(SQLModel.metadata.tables)
    with engine.begin() as connection:
        connection.execute(
            text(
                "INSERT INTO build (name, variant, chassis, options, decided, note, version, changed)"
                " VALUES ('one', 'T2-L', '2L-0001', '', '[]', '', 1, '2026-01-01 00:00:00')"
            )
        )
    migrate(engine, "2026_11_25_claims")
    assert "build" not in inspect(engine).get_table_names()
    with engine.connect() as connection:
        assert len(connection.execute(select(table("fitment").c.claim)).all()) == 9
    migrate(engine, "2026_11_25_catalogue")
    with engine.connect() as connection:
        assert len(connection.execute(select(table("component").c.number)).all()) == 10
    migrate(engine)
    assert names <= set(inspect(engine).get_table_names())
    assert load(engine, small()).ok
    migrate(engine, "base")
    assert not names & set(inspect(engine).get_table_names())


def test_parts_that_were_there_before_go_straight_on(engine: Engine) -> None:
    load(engine, small())
    worked = table("component")
    with engine.begin() as connection:
        connection.execute(update(worked).values(effort="cutting", minutes=5))
    migrate(engine, "2026_11_25_order_lists")
    assert not {"effort", "minutes"} & {c["name"] for c in inspect(engine).get_columns("component")}
    migrate(engine)
    with engine.connect() as connection:
        held = {tuple(row) for row in connection.execute(select(worked.c.effort, worked.c.minutes))}
    assert held == {("direct", 0)}
    for wrong in ({"effort": "hammering"}, {"minutes": -1}):
        with pytest.raises(IntegrityError), engine.begin() as connection:
            connection.execute(update(worked).values(**wrong))


def test_migrating_again_changes_nothing(engine: Engine) -> None:
    load(engine, small())
    before = shape(engine)
    migrate(engine)
    assert shape(engine) == before


def test_a_batch_migration_on_sqlite_deletes_no_children(sqlite_engine: Engine) -> None:
    """Rebuilding a table drops the old one; with foreign keys on, what refers to it would cascade away."""
    load(sqlite_engine, small())
    migrate(sqlite_engine)
    with sqlite_engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1
        assert len(connection.execute(select(table("claim_evidence"))).all()) > 5


def test_a_migration_that_breaks_a_reference_is_not_kept(sqlite_engine: Engine) -> None:
    load(sqlite_engine, small())
    raw = sqlite_engine.raw_connection()
    raw.driver_connection.execute("PRAGMA foreign_keys = OFF")
    raw.driver_connection.execute("DELETE FROM section")
    raw.driver_connection.execute("PRAGMA foreign_keys = ON")
    raw.close()
    with pytest.raises(RuntimeError, match="references"):
        migrate(sqlite_engine, "2026_11_25_claims")
    assert "build" in inspect(sqlite_engine).get_table_names()


def test_the_migrations_are_found() -> None:
    assert (migrations_folder() / "env.py").is_file()


def test_foreign_keys_are_enforced_on_every_connection(engine: Engine) -> None:
    stray = text(
        "INSERT INTO chassis_span (variant, prefix, first_serial, last_serial, digits, built_from, built_to)"
        " VALUES ('nobody', 'X', 1, 2, 1, '2000-01-01', '2000-01-02')"
    )
    for _ in range(2):
        with pytest.raises(IntegrityError), engine.begin() as connection:
            connection.execute(stray)
        engine.dispose()


BAD_ROWS = {
    "an origin that is none": "UPDATE component SET origin = 'antique'",
    "a price below zero": "UPDATE component SET price = -1",
    "an empty pack": "UPDATE component SET pack = 0",
    "a severity that is none": "UPDATE flaw SET severity = 'awful'",
    "an effort that is none": "UPDATE fitment SET effort = 'easy'",
    "a grade that is none": "UPDATE evidence SET grade = 'sure'",
    "a comparator that is none": "UPDATE joint SET comparator = 'like'",
    "more than all of a supply": "UPDATE budget SET usable = 200000",
    "a number that supersedes itself": "UPDATE supersession SET new = old",
    "an offer for nothing": "UPDATE offer SET price = 0",
    "an offer that ends before it begins": "UPDATE offer SET valid_to = '1974-12-31'",
    "a tax above the price": "UPDATE tax SET rate = 1000001",
    "a rate of nothing": "UPDATE exchange_rate SET rate = 0",
    "a position before itself": "UPDATE precedence SET other_position = position",
    "a torque of nothing": "UPDATE tightening SET torque_low = 0",
    "a characteristic of nobody": "UPDATE characteristic SET component = NULL, variant = NULL",
    "a span that ends before it begins": "UPDATE chassis_span SET last_serial = 0",
}


@pytest.mark.parametrize("row", BAD_ROWS)
def test_the_database_itself_refuses(tern: Engine, row: str) -> None:
    with pytest.raises(IntegrityError), tern.begin() as connection:
        connection.execute(text(BAD_ROWS[row]))


def test_competing_writers_all_succeed_and_lose_nothing(engine: Engine) -> None:
    """A read that turns into a write fails at once on SQLite unless the transaction began as a writer."""
    load(engine, small())
    minutes = table("fitment").c.minutes
    one = table("fitment").c.claim == "TL-1@lamp"

    def add(_number: int) -> None:
        with writing(engine) as session:
            connection = session.connection()
            had = connection.execute(select(minutes).where(one).with_for_update()).scalar_one()
            connection.execute(update(table("fitment")).where(one).values(minutes=had + 1))

    with ThreadPoolExecutor(8) as pool:
        list(pool.map(add, range(80)))
    with engine.connect() as connection:
        assert connection.execute(select(minutes).where(one)).scalar_one() == 20 + 80


def test_two_reads_of_one_session_see_one_state(engine: Engine) -> None:
    load(engine, small())
    names = select(table("section").c.name)
    with reading(engine) as session:
        before = session.connection().execute(names).all()
        with writing(engine) as other:
            other.connection().execute(insert(table("section")).values(name="new", title="New", order=9))
        assert session.connection().execute(names).all() == before
    with reading(engine) as session:
        assert len(session.connection().execute(names).all()) == len(before) + 1


def test_a_connection_that_is_at_work_when_the_others_are_closed_is_closed_when_it_comes_back(
    engine: Engine,
) -> None:
    """Else it stays open until the collector finds it, and the driver says that it was lost."""
    own = make_engine(engine.url.render_as_string(hide_password=False))
    with own.connect() as at_work:
        with own.connect() as idle:
            waiting = idle.connection.dbapi_connection
        handed_out = at_work.connection.dbapi_connection
        close_engine(own)
        assert is_closed(waiting)
        assert at_work.execute(text("SELECT 1")).scalar() == 1, "his work is not broken off"
    assert is_closed(handed_out)
    with own.connect() as again:
        later = again.connection.dbapi_connection
    assert not is_closed(later), "who still asks is answered, and served by a pool again"
    own.dispose()


def is_closed(connection: Any) -> bool:
    """Whether a driver's connection does nothing any more."""
    try:
        connection.cursor().close()
    except (sqlite3.ProgrammingError, psycopg.OperationalError):
        return True
    return False


def test_a_reading_session_keeps_nothing(sqlite_engine: Engine) -> None:
    with reading(sqlite_engine) as session:
        session.connection().execute(insert(table("section")).values(name="x", title="X", order=1))
    with reading(sqlite_engine) as session:
        assert session.connection().execute(select(table("section"))).all() == []


def test_a_writing_session_that_fails_keeps_nothing(engine: Engine) -> None:
    def fail() -> None:
        with writing(engine) as session:
            session.connection().execute(insert(table("section")).values(name="x", title="X", order=1))
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with reading(engine) as session:
        assert session.connection().execute(select(table("section"))).all() == []


def test_a_load_waits_for_another_and_both_are_kept(engine: Engine) -> None:
    load(engine, small())
    start = threading.Barrier(2)

    def edit(number: str) -> int | None:
        start.wait()
        return load(
            engine, sheet(f"[component]\nnumber,name,section,origin\n{number},x,wheels,modern\n")
        ).revision

    with ThreadPoolExecutor(2) as pool:
        revisions = sorted(filter(None, pool.map(edit, ("N-1", "N-2"))))
    assert revisions == [2, 3]


def test_settings_come_from_the_environment_and_refuse_other_databases(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("GRAFTBOOK_DATABASE_URL", "postgresql://house@db/graftbook")
    monkeypatch.setenv("GRAFTBOOK_CURRENCY", "EUR")
    settings = Settings()
    assert (settings.database_url, settings.currency) == ("postgresql://house@db/graftbook", "EUR")
    monkeypatch.setenv("GRAFTBOOK_DATABASE_URL", "other://x")
    with pytest.raises(ValueError, match="sqlite"):
        Settings()


def test_both_engines_sort_names_alike(demo: Engine, sqlite_demo: Engine) -> None:
    names = select(table("component").c.number).order_by(
        table("component").c.sort_key, table("component").c.number
    )
    claims = select(table("claim").c.name).order_by(table("claim").c.name)
    for query in (names, claims):
        with demo.connect() as one, sqlite_demo.connect() as other:
            assert one.execute(query).all() == other.execute(query).all()


@pytest.mark.one_engine
def test_the_level_that_is_needed_is_where_the_migrations_lead():
    """Commands read it off the files' texts; Alembic loads them."""
    assert level_needed() == ", ".join(ScriptDirectory.from_config(migration_config()).get_heads())
