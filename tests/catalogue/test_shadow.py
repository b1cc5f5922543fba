"""A large load is worked out in a copy: others edit meanwhile, and it is judged beside what they did."""

import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import Connection, Engine, event, func, select

from graftbook.catalogue.history.changes import changes_of_edit, edits
from graftbook.catalogue.history.revisions import wait_for_editors
from graftbook.catalogue.loading import imports, shadow, shadow_session
from graftbook.catalogue.loading import load as loading
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.loading.load import Load, LoadReport
from graftbook.catalogue.loading.shadow import InFile
from graftbook.catalogue.loading.shadow_session import InSession
from graftbook.catalogue.store.tables import table
from graftbook.database import UNREACHABLE, make_engine, reading, writing
from graftbook.editing.records.service import Author, put_record, record_state, take_back
from graftbook.orders.tables import ShopStockRow
from graftbook.problems import ChangedAgain, NotAsShown
from tests import locks
from tests.catalogue.sheet import exported, sheet, small
from tests.soundness.databases import opened
from tests.soundness.server import ROOT

ME = Author("Anna")


@pytest.fixture(autouse=True)
def _no_load_is_small(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(imports, "SMALL", 0)


@pytest.fixture
def kept(tern: Engine) -> Engine:
    """The small catalogue, loaded once for all."""
    return tern


class While:
    """A sheet of many components that does something else when it was read half way."""

    def __init__(self, lines: list[str], then: Callable[[], Any]) -> None:
        self._lines, self._then, self._half = iter(lines), then, len(lines) // 2

    def read(self) -> str:
        raise NotImplementedError

    def readline(self, most: int) -> str:
        self._half -= 1
        if self._half == 0:
            self._then()
        return next(self._lines, "")[:most]


SECTION = "[section]\nname,title,order\nbrakes,Brakes,1\n\n"
HEAD = "[component]\nnumber,name,section,origin,price\n"
MANY = (HEAD + "".join(f"N-{n},bolt,brakes,modern,1.00\n" for n in range(50))).splitlines(keepends=True)


def put(engine: Engine, number: str, price: str) -> None:
    state = record_state(engine, "component", number)
    assert put_record(engine, "component", number, [state.rows[0] | {"price": price}], state.etag, ME).ok


def small_load(engine: Engine, sources: Any, **how: Any) -> LoadReport:
    """Under the lock, as a few records are."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(imports, "SMALL", 1_000)
        return load(engine, sources, **how)


def test_it_is_the_same_as_under_the_lock(engine: Engine, databases: Any, monkeypatch) -> None:
    kept = engine
    assert load(kept, small()).ok
    further = HEAD + "TB-2,block,brakes,modern,3.00\nN-1,bolt,brakes,modern,1.00\n"
    assert load(kept, sheet(further)).changed == 2
    monkeypatch.setattr(imports, "SMALL", 1_000)
    other = make_engine(databases.new())
    assert load(other, small()).ok
    assert load(other, sheet(further)).changed == 2
    assert exported(kept) == exported(other)
    for engine in (kept, other):
        with reading(engine) as session:
            connection = session.connection()
            found = [(edit.revision, edit.ranges, edit.changes) for edit in edits(connection, None, 9)]
            assert found == [(2, ("tern",), 2), (1, ("tern",), found[1][2])]
            changes = changes_of_edit(connection, 2, ("", ""), 9)
            assert [(c.name, c.what) for c in changes] == [("N-1", "added"), ("TB-2", "changed")]
    other.dispose()


def test_others_edit_while_it_is_worked_out(kept: Engine) -> None:
    report = load(kept, While(MANY, lambda: put(kept, "TB-2", "7.77")))
    assert report.ok
    assert (report.changed, report.revision) == (50, 3)
    assert "7.77" in exported(kept)
    assert "N-49" in exported(kept)


def test_a_trial_leaves_no_trace_and_waits_for_nobody(kept: Engine) -> None:
    before = exported(kept)
    with writing(kept) as session:
        wait_for_editors(session.connection())
        report = load(kept, While(MANY, lambda: None), dry_run=True)
    assert (report.ok, report.changed, report.revision) == (True, 50, None)
    assert exported(kept) == before


def test_a_whole_trial_waits_for_nobody_either(kept: Engine) -> None:
    assert load(kept, sheet("".join(MANY))).changed == 50
    before = exported(kept)
    with writing(kept) as session:
        wait_for_editors(session.connection())
        report = load(kept, While(TWENTY, lambda: None), whole=True, dry_run=True)
        going = load(kept, While(MANY[:22], lambda: None), removals={"component": ["N-49"]}, dry_run=True)
    assert (report.ok, report.revision) == (True, None)
    assert (going.ok, going.changed, going.revision) == (True, 1, None)
    assert len(report.removed["component"]) == 30
    assert exported(kept) == before


TWENTY = [*small().getvalue().splitlines(keepends=True), "\n", *MANY[:22]]


def test_a_whole_load_is_the_same_as_under_the_lock(kept: Engine, databases: Any, monkeypatch) -> None:
    assert load(kept, sheet("".join(MANY))).changed == 50
    report = load(kept, sheet("".join(TWENTY)), whole=True)
    assert (report.ok, report.changed, report.revision) == (True, 30, 3)
    monkeypatch.setattr(imports, "SMALL", 1_000)
    other = make_engine(databases.new())
    assert load(other, small()).ok
    assert load(other, sheet("".join(MANY))).changed == 50
    same = load(other, sheet("".join(TWENTY)), whole=True)
    assert same.removed == report.removed
    assert exported(kept) == exported(other)
    with reading(kept) as session, reading(other) as beside:
        here, there = (
            [(c.kind, c.name, c.what) for c in changes_of_edit(one.connection(), 3, ("", ""), 99)]
            for one in (session, beside)
        )
    assert here == there
    assert {what for _, _, what in here} == {"removed"}
    other.dispose()


def test_others_edit_other_kinds_while_a_whole_load_is_worked_out(kept: Engine) -> None:
    theirs = "[other_word]\nsaid,means\nstopper,brake\n"
    assert load(kept, sheet("".join(MANY))).changed == 50
    report = load(kept, While(TWENTY, lambda: small_load(kept, sheet(theirs))), whole=True)
    assert (report.ok, report.revision) == (True, 4)
    assert "stopper" in exported(kept)
    assert "N-49" not in exported(kept)


def test_a_whole_load_beside_which_the_same_was_edited_is_to_be_previewed_again(kept: Engine) -> None:
    """What somebody added meanwhile is neither taken away unseen nor left where the sheets have it not."""
    assert load(kept, sheet("".join(MANY))).changed == 50
    added = HEAD + "IN-1,bolt,brakes,modern,1.00\n"
    with pytest.raises(NotAsShown):
        load(kept, While(TWENTY, lambda: small_load(kept, sheet(added))), whole=True)
    assert "IN-1" in exported(kept)
    assert "N-49" in exported(kept)


def test_what_the_house_came_to_need_meanwhile_is_not_taken_away(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert load(kept, sheet("".join(MANY))).changed == 50

    def stocked() -> None:
        with writing(kept) as session:
            session.add(ShopStockRow(component="N-49", quantity=4))

    before_the_lock(monkeypatch, stocked)
    report = load(kept, sheet("".join(TWENTY)), whole=True)
    assert [m.message for m in report.mistakes] == [
        "the store still names the component 'N-49'; change that first"
    ]
    assert report.revision is None
    assert "N-49" in exported(kept)


def test_a_large_edit_is_taken_back_while_others_edit(kept: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    before = exported(kept)
    assert load(kept, sheet("".join(MANY))).revision == 2
    free = locks.free_at(monkeypatch, kept, Load, "run")
    tried = take_back(kept, 2, ME, dry_run=True)
    report = take_back(kept, 2, ME)
    assert (tried.changed, tried.revision) == (50, None)
    assert (report.ok, report.changed, report.revision) == (True, 50, 3)
    assert free == [True, True]
    assert exported(kept) == before
    assert take_back(kept, 3, ME).changed == 50
    assert "N-49" in exported(kept)


@pytest.mark.parametrize("edited", ["TB-2", "N-1"])
def test_what_others_edit_while_something_is_taken_back(
    kept: Engine, edited: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is another's stays; where it is one of the records that are taken back, nothing is."""
    assert load(kept, sheet("".join(MANY))).revision == 2
    theirs = HEAD + f"{edited},bolt,brakes,modern,7.77\n"
    before_the_lock(monkeypatch, lambda: small_load(kept, sheet(theirs)))
    if edited == "N-1":
        with pytest.raises(ChangedAgain):
            take_back(kept, 2, ME)
    else:
        assert take_back(kept, 2, ME).revision == 4
    assert ("N-49" in exported(kept)) == (edited == "N-1")
    assert "7.77" in exported(kept)


def test_what_names_meanwhile_what_is_taken_back_refuses_it(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert load(kept, sheet("".join(MANY))).revision == 2

    def stocked() -> None:
        with writing(kept) as session:
            session.add(ShopStockRow(component="N-49", quantity=4))

    before_the_lock(monkeypatch, stocked)
    report = take_back(kept, 2, ME)
    assert [m.name for m in report.mistakes] == ["N-49"]
    assert "N-49" in exported(kept)


def before_the_lock(monkeypatch: pytest.MonkeyPatch, then: Callable[[], Any]) -> None:
    """Do something once when a load has caught up with others and goes to lock the database."""
    waiting = [then]
    for sides in (InFile, InSession):

        @contextmanager
        def locked(self: Any, original: Any = sides.locked) -> Iterator[Connection]:
            if waiting:
                waiting.pop()()
            with original(self) as to:
                yield to

        monkeypatch.setattr(sides, "locked", locked)


def test_the_last_edit_before_the_lock_is_followed(kept: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    before_the_lock(monkeypatch, lambda: put(kept, "TB-2", "7.77"))
    report = load(kept, sheet("".join(MANY)))
    assert (report.ok, report.revision) == (True, 3)
    assert "7.77" in exported(kept)
    assert "N-49" in exported(kept)


def test_what_others_added_and_took_out_again_stays_out(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was followed into the copy; it is not brought back by the load, whoever looks at it last."""
    before_the_lock(monkeypatch, lambda: small_load(kept, [], removals={"component": ["OUT-1"]}))
    added = HEAD + "OUT-1,bolt,brakes,modern,1.00\n"
    report = load(kept, While(MANY, lambda: small_load(kept, sheet(added))))
    assert (report.ok, report.revision) == (True, 4)
    assert "OUT-1" not in exported(kept)
    with reading(kept) as session:
        connection = session.connection()
        assert [c.what for c in changes_of_edit(connection, 3, ("", ""), 9)] == ["removed"]
        assert not [c for c in changes_of_edit(connection, 4, ("", ""), 99) if c.name == "OUT-1"]


def test_others_edit_while_an_empty_catalogue_is_filled(
    engine: Engine, databases: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What others brought stays, what they took out again stays out, and the load is there as by itself."""
    theirs = "[section]\nname,title,order\nstays,Stays,90\ngoes,Goes,91\n"
    before_the_lock(monkeypatch, lambda: small_load(engine, [], removals={"section": ["goes"]}))
    lines = small().getvalue().splitlines(keepends=True)
    report = load(engine, While(lines, lambda: small_load(engine, sheet(theirs))))
    assert (report.ok, report.revision) == (True, 3)
    alone = make_engine(databases.new())
    assert small_load(alone, [sheet(theirs.replace("goes,Goes,91\n", "")), small()]).ok
    assert exported(engine) == exported(alone)
    assert "Goes" not in exported(engine)
    with reading(engine) as session:
        changes = changes_of_edit(session.connection(), 3, ("", ""), 999)
        assert len(changes) == report.changed
        assert {change.what for change in changes} == {"added"}
    alone.dispose()


def test_a_load_that_changes_nothing_hands_nothing_over(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither what the copy was told of others: they may have taken it out again by then."""
    assert load(kept, sheet("".join(MANY))).changed == 50
    before_the_lock(monkeypatch, lambda: pytest.fail("something is handed over"))
    added = HEAD + "IN-1,bolt,brakes,modern,1.00\n"
    report = load(kept, While(MANY, lambda: small_load(kept, sheet(added))))
    assert (report.ok, report.changed, report.revision) == (True, 0, 3)
    assert "IN-1" in exported(kept)


def test_a_load_that_changes_nothing_leaves_what_it_does_not_name(kept: Engine) -> None:
    assert load(kept, sheet("".join(MANY))).changed == 50
    put(kept, "TB-2", "5.55")
    report = load(kept, While(MANY, lambda: put(kept, "TB-2", "7.77")))
    assert (report.ok, report.changed, report.revision) == (True, 0, 4)
    assert "7.77" in exported(kept)


def test_the_same_sheet_loaded_twice_at_once_changes_something_once(kept: Engine) -> None:
    report = load(kept, While(MANY, lambda: small_load(kept, sheet("".join(MANY)))))
    assert (report.ok, report.changed, report.revision) == (True, 0, 2)
    assert report.records == {"component": 50}


def test_whoever_wants_a_table_for_himself_does_not_hold_a_load_for_ever(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """He waits for the load, and whoever comes to read the table waits behind him."""
    if kept.dialect.name != "postgresql":
        pytest.skip("SQLite locks no tables")
    monkeypatch.setattr(shadow_session, "SECONDS_TO_LOOK", 1)
    url = kept.url.render_as_string(hide_password=False)
    other = threading.Thread(target=_lock_for_himself, args=(url, "epoch"))
    look = InSession.as_others_left_it

    def behind(self: InSession, to: Connection) -> Any:
        other.start()
        _wait_until(lambda: _somebody_waits(kept))
        return look(self, to)

    monkeypatch.setattr(InSession, "as_others_left_it", behind)
    before = exported(kept)
    with pytest.raises(UNREACHABLE):
        load(kept, sheet("".join(MANY)))
    other.join()
    assert exported(kept) == before


def _lock_for_himself(url: str, name: str) -> None:
    engine = make_engine(url)
    with engine.begin() as connection:
        connection.exec_driver_sql(f"LOCK TABLE {name} IN ACCESS EXCLUSIVE MODE")
    engine.dispose()


def _wait_until(so: Callable[[], bool]) -> None:
    until = time.monotonic() + 20
    while not so() and time.monotonic() < until:
        time.sleep(0.01)


def test_many_edits_of_others_are_caught_up_with_before_they_have_to_wait(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    others = HEAD + "".join(f"M-{n},bolt,brakes,modern,1.00\n" for n in range(shadow.FEW + 1))
    locks = []
    before_the_lock(monkeypatch, lambda: small_load(kept, sheet(others)))
    follow = shadow.Copy._follow
    monkeypatch.setattr(
        shadow.Copy, "_follow", lambda self, edited, own: locks.append(edited) or follow(self, edited, own)
    )
    assert load(kept, sheet("".join(MANY))).revision == 3
    assert [bool(edited) for edited in locks] == [False, True, False, False]
    assert f"M-{shadow.FEW}" in exported(kept)
    assert "N-49" in exported(kept)


def test_whoever_edits_what_is_written_ahead_is_let_through(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    if kept.dialect.name != "postgresql":
        pytest.skip("on SQLite nothing is written before the lock is held")
    reports = []
    same = HEAD + "N-9,bolt,brakes,modern,5.55\n"
    newcomer = make_engine(kept.url.render_as_string(hide_password=False))
    other = threading.Thread(target=lambda: reports.append(small_load(newcomer, sheet(same))))
    look = InSession._lock_between_edits

    def met(self: InSession) -> None:
        other.start()
        _wait_until(lambda: _somebody_waits(kept))
        look(self)

    monkeypatch.setattr(InSession, "_lock_between_edits", met)
    reports.append(load(kept, sheet("".join(MANY))))
    other.join()
    newcomer.dispose()
    assert [(report.ok, report.revision) for report in reports] == [(True, 2), (True, 3)]
    assert "5.55" not in exported(kept)
    with reading(kept) as session:
        changes = changes_of_edit(session.connection(), 3, ("component", "N-8"), 1)
    assert changes[0].before[0]["price"] == "5.55"


def _somebody_waits(engine: Engine) -> bool:
    with engine.connect() as connection:
        query = (
            "SELECT count(*) FROM pg_stat_activity"
            " WHERE datname = current_database() AND cardinality(pg_blocking_pids(pid)) > 0"
        )
        return bool(connection.exec_driver_sql(query).scalar_one())


@pytest.mark.postgres
def test_no_row_of_a_load_makes_the_server_read_what_it_has_put_in_so_far(postgres_databases: Any) -> None:
    """It knows nothing of a table that grows, and of one that was empty when it last looked that it is."""
    many = "".join(f"N-{n},bolt {n},brakes,modern,1.00\n" for n in range(4_000))
    plans: list[str] = []

    def explain(connection: Any, cursor: Any, statement: str, given: Any, *_: Any) -> None:
        words = " ".join(statement.split())
        places = "staged.broken" in words and "FROM staged WHERE staged." in words
        if places or words.startswith("WITH put"):
            cursor.execute(f"EXPLAIN {statement}", given)
            plans.append("\n".join(row for (row,) in cursor.fetchall()))

    with opened(postgres_databases.new()) as engine:
        event.listen(Engine, "before_cursor_execute", explain)
        try:
            assert load(engine, sheet(SECTION + HEAD + many)).changed == 4_001
        finally:
            event.remove(Engine, "before_cursor_execute", explain)
    assert any("on staged" in plan for plan in plans)
    assert any("Insert on component" in plan for plan in plans)
    assert [plan for plan in plans if "Seq Scan on staged" in plan or "Nested Loop Anti Join" in plan] == []


@pytest.mark.postgres
def test_the_server_knows_at_once_how_much_there_is(postgres_databases: Any) -> None:
    """It looks by itself a minute later, and reads whole tables until then; of what is locked it does not."""
    known = "SELECT reltuples FROM pg_class WHERE oid = CAST('public.{}' AS regclass)"
    with opened(postgres_databases.new()) as engine, engine.connect() as holder:
        with holder.begin():
            holder.exec_driver_sql("LOCK TABLE supplier IN SHARE UPDATE EXCLUSIVE MODE")
            assert load(engine, sheet(SECTION + "".join(MANY))).changed == 51
        with engine.connect() as connection:
            assert connection.exec_driver_sql(known.format("component")).scalar_one() == 50


def test_nothing_is_left_of_the_copy(kept: Engine) -> None:
    if kept.dialect.name != "postgresql":
        pytest.skip("the folder of a SQLite copy is looked at elsewhere")
    assert load(kept, sheet("".join(MANY))).ok
    assert load(kept, sheet("".join(MANY)), dry_run=True).ok
    _wait_until(lambda: not _temporary(kept))
    assert not _temporary(kept)


def _temporary(engine: Engine) -> int:
    with engine.connect() as connection:
        query = "SELECT count(*) FROM pg_class WHERE relpersistence = 't'"
        return int(connection.exec_driver_sql(query).scalar_one())


@pytest.mark.parametrize("may", [True, False])
def test_a_user_with_ordinary_rights(kept: Engine, may: bool, caplog: pytest.LogCaptureFixture) -> None:
    """Without the right to write triggers others wait for the load, which the log says."""
    if kept.dialect.name != "postgresql":
        pytest.skip("SQLite has no users")
    name = f"clerk_{may}".lower()
    with writing(kept) as session:
        run = session.connection().exec_driver_sql
        run(f"CREATE ROLE {name} LOGIN")
        run(f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {name}")
        if not may:
            run("REVOKE USAGE ON LANGUAGE plpgsql FROM PUBLIC")
    clerk = make_engine(kept.url.set(username=name).render_as_string(hide_password=False))
    report = load(clerk, sheet("".join(MANY)))
    clerk.dispose()
    assert (report.ok, report.changed) == (True, 50)
    assert bool(caplog.messages) is not may, caplog.messages


def test_what_both_change_is_settled_by_the_load_which_comes_last(kept: Engine) -> None:
    both = [*MANY, "TB-2,block,brakes,modern,3.33\n"]
    report = load(kept, While(both, lambda: put(kept, "TB-2", "7.77")))
    assert (report.ok, report.revision) == (True, 3)
    assert "3.33" in exported(kept)
    assert "7.77" not in exported(kept)
    with reading(kept) as session:
        changes = changes_of_edit(session.connection(), 3, ("component", "N-9"), 9)
    assert changes[0].before[0]["price"] == "7.77"


def test_what_can_no_longer_stand_is_refused(kept: Engine) -> None:
    """The load names a component that is taken out while it is worked out."""
    assert load(kept, sheet(HEAD + "OUT-1,bolt,brakes,modern,1.00\n")).ok
    needs = [*MANY, "[supersession]\n", "name,old,new\n", "N-1>>OUT-1,N-1,OUT-1\n"]
    report = load(kept, While(needs, lambda: small_load(kept, [], removals={"component": ["OUT-1"]})))
    assert not report.ok
    assert "OUT-1" in report.mistakes[0].message
    assert "N-1," not in exported(kept)
    with reading(kept) as session:
        dangling = (
            select(func.count())
            .select_from(table("supersession"))
            .where(table("supersession").c.new == "OUT-1")
        )
        assert session.connection().execute(dangling).scalar_one() == 0


def test_what_can_no_longer_stand_in_more_places_than_are_told_is_refused(
    kept: Engine, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert load(kept, sheet(HEAD + "OUT-1,bolt,brakes,modern,1.00\n")).ok
    monkeypatch.setattr(loading, "MOST_MISTAKES", 1)
    needs = [*MANY, "[supersession]\n", "name,old,new\n"]
    needs += [f"N-{n}>>OUT-1,N-{n},OUT-1\n" for n in (1, 2)]
    report = load(kept, While(needs, lambda: small_load(kept, [], removals={"component": ["OUT-1"]})))
    assert (report.ok, report.stopped, report.revision) == (False, True, None)
    assert "OUT-1" in report.mistakes[0].message
    assert "N-1," not in exported(kept)


def test_two_large_loads_at_once_are_both_kept(kept: Engine) -> None:
    others = [line.replace("N-", "M-") for line in MANY]
    reports = []
    beside = threading.Thread(target=lambda: reports.append(load(kept, sheet("".join(others)))))
    reports.append(load(kept, While(MANY, beside.start)))
    beside.join()
    assert all(report.ok for report in reports)
    assert {report.revision for report in reports} == {2, 3}
    assert "M-49" in exported(kept)
    assert "N-49" in exported(kept)


def test_a_database_that_is_gone_is_told_as_that(sqlite_engine: Engine) -> None:
    assert load(sqlite_engine, small()).ok
    with sqlite_engine.connect():
        pass
    Path(str(sqlite_engine.url.database)).unlink()
    with pytest.raises(UNREACHABLE):
        load(sqlite_engine, sheet("".join(MANY)))
    assert not Path(str(sqlite_engine.url.database)).exists()


HALF_A_LOAD = """
import sys, time
from graftbook.catalogue.loading.shadow import copied
from graftbook.database import make_engine
with copied(make_engine(sys.argv[1])) as copy:
    print(copy.url.database, flush=True)
    time.sleep(60)
"""


def test_the_copy_of_a_killed_load_goes_with_the_next_and_one_at_work_stays(sqlite_engine: Engine) -> None:
    assert load(sqlite_engine, small()).ok

    def begun() -> subprocess.Popen[str]:
        command = [sys.executable, "-c", HALF_A_LOAD, sqlite_engine.url.render_as_string()]
        return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)

    def copy_of(process: subprocess.Popen[str]) -> Path:
        assert process.stdout
        return Path(process.stdout.readline().strip())

    with begun() as killed:
        left = copy_of(killed)
        killed.kill()
    with begun() as working:
        at_work = copy_of(working)
        gone = not left.exists()
        ok = load(sqlite_engine, sheet("".join(MANY))).ok
        stayed = at_work.exists()
        working.kill()
    assert gone, "the next load clears what the killed one left"
    assert (ok, stayed) == (True, True)


ALMOST_A_LOAD = """
import io, sys, time
from graftbook.catalogue.loading import shadow, imports
from graftbook.database import make_engine
imports.SMALL, hand_over = 0, shadow.Copy.hand_over
def almost(*given):
    hand_over(*given)
    print("all is written", flush=True)
    time.sleep(60)
shadow.Copy.hand_over = almost
imports.load(make_engine(sys.argv[1]), io.StringIO(sys.argv[2]))
"""


def test_nothing_is_left_of_a_load_that_is_killed_when_all_is_written(kept: Engine) -> None:
    before = exported(kept)
    url = kept.url.render_as_string(hide_password=False)
    command = [sys.executable, "-c", ALMOST_A_LOAD, url, "".join(MANY)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as killed:
        assert killed.stdout
        assert killed.stdout.readline() == "all is written\n"
        killed.kill()
    assert exported(kept) == before
    report = load(kept, sheet("".join(MANY)))
    assert (report.ok, report.changed, report.revision) == (True, 50, 2)
