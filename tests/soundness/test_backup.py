"""Backup and restore while others read and write: the copy is one state, and a restore is seen at once."""

import fcntl
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import httpx
import pytest
from sqlalchemy import Engine, make_url, text

from graftbook import temporary_files
from graftbook.backups.files import Refused, written_whole
from graftbook.backups.service import backup, restore
from graftbook.builds.schemas import SpecificationIn
from graftbook.builds.service import create_specification
from graftbook.catalogue.history.revisions import epoch_of
from graftbook.catalogue.loading.imports import load
from graftbook.database import migrate, reading
from graftbook.problems import Unavailable
from graftbook.settings import Settings
from graftbook.temporary_files import clear_abandoned, work_folder
from tests.catalogue.sheet import sheet
from tests.soundness.databases import beside, contents, knows, opened
from tests.soundness.databases import settings_of as settings
from tests.soundness.server import ROOT, Served, graftbook

QUESTION = {
    "vehicle": {"chassis": "24PL-018412"},
    "wishes": [{"fit": "QB-3310"}],
    "deadline_seconds": 30.0,
}


def epoch(url: str) -> str:
    with opened(url) as engine, reading(engine) as session:
        return epoch_of(session.connection())


def revision(url: str) -> int:
    with opened(url) as engine, engine.connect() as connection:
        return connection.execute(text("SELECT max(number) FROM revision")).scalar_one()


def priced(url: str, price: int) -> None:
    """An edit: both components get one price, in one revision."""
    rows = "".join(f"{number},x,brakes,modern,{price}\n" for number in ("BK-1", "BK-2"))
    with opened(url) as engine:
        assert load(engine, sheet(f"[component]\nnumber,name,section,origin,price\n{rows}")).ok


def test_a_backup_during_competing_writes_is_one_state_and_comes_back_whole(
    own_demo_url: str, databases: Any, tmp_path: Path
):
    priced(own_demo_url, 1)
    end, writes = threading.Event(), []

    def write() -> None:
        price = 1
        while not end.is_set():
            price += 1
            priced(own_demo_url, price)
            writes.append(price)

    writer = threading.Thread(target=write)
    writer.start()
    while not writes:
        end.wait(0.01)
    backup(settings(own_demo_url), tmp_path / "one")
    meanwhile = len(writes)
    end.set()
    writer.join()
    assert meanwhile >= 1
    elsewhere = databases.empty()
    number = restore(settings(elsewhere), tmp_path / "one")
    with opened(elsewhere) as engine, engine.connect() as connection:
        prices = connection.execute(
            text("SELECT DISTINCT price FROM component WHERE number IN ('BK-1', 'BK-2')")
        ).all()
        assert len(prices) == 1, "two prices would be a state between two edits"
        assert connection.execute(text("SELECT max(number) FROM revision")).scalar_one() == number
        if engine.dialect.name == "sqlite":
            assert connection.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
    # Everything that is in the backup is in what was restored, and nothing else.
    backup(settings(elsewhere), tmp_path / "two")
    again = databases.empty()
    restore(settings(again), tmp_path / "two")
    assert contents(again) == contents(elsewhere)
    assert knows(again, "BK-1")


def test_a_restore_takes_the_place_of_what_is_there_only_when_told_so(own_demo_url: str, tmp_path: Path):
    file = tmp_path / "saved"
    before = contents(own_demo_url)
    backup(settings(own_demo_url), file)
    assert file.stat().st_mode & 0o077 == 0, "only its owner may read it"
    priced(own_demo_url, 7)
    changed, history = contents(own_demo_url), epoch(own_demo_url)
    with pytest.raises(Refused, match="--replace"):
        restore(settings(own_demo_url), file)
    assert (contents(own_demo_url), epoch(own_demo_url)) == (changed, history)
    with pytest.raises(Refused, match="--replace"):
        backup(settings(own_demo_url), file)
    restore(settings(own_demo_url), file, replace=True)
    assert contents(own_demo_url) == before
    assert epoch(own_demo_url) != history
    assert [p.name for p in tmp_path.iterdir()] == ["saved"]


def test_a_running_service_answers_from_the_restored_state_at_once(
    own_demo_url: str, start: Callable[..., Served], tmp_path: Path
):
    """The same revision number stands for two things before and after; nobody is told the wrong one."""
    served = start(own_demo_url)
    backup(settings(own_demo_url), tmp_path / "saved")
    with served.client() as client:
        _edit(client, price=111)
        made = client.post("/v1/builds", json={"name": "red", "chassis": "24PL-018412"})
        before = _asked(client)
        done = graftbook(
            "restore", str(tmp_path / "saved"), "--replace", database=own_demo_url,
            env=os.environ | {"GRAFTBOOK_POSTGRES_TOOLS": settings(own_demo_url).postgres_tools},
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        assert client.get("/v1/builds/red").status_code == 404
        _edit(client, price=222)
        after = _asked(client)
        assert before["revision"] == after["revision"], "else this test shows nothing"
        assert (before["price"], after["price"]) == ("111.00", "222.00")
        for path, etag in before["etags"].items():
            answer = client.get(path, headers={"If-None-Match": etag})
            assert answer.status_code == 200, f"{path} must not be taken for unchanged"
        again = client.post("/v1/builds", json={"name": "red", "chassis": "24PL-018412", "note": "other"})
        assert again.json()["version"] == made.json()["version"]
        stale = client.delete("/v1/builds/red", headers={"If-Match": made.headers["etag"]})
        assert stale.status_code == 412
        assert client.get("/readyz").status_code == 200


def _edit(client: httpx.Client, price: int) -> None:
    component = client.get("/v1/records/component/QB-3310")
    rows = component.json()["rows"]
    rows[0]["price"] = str(price)
    answer = client.put(
        "/v1/records/component/QB-3310",
        json={"rows": rows},
        headers={"If-Match": component.headers["etag"]},
    )
    assert answer.status_code == 200, answer.text


def _asked(client: httpx.Client) -> dict[str, Any]:
    paths = (
        "/v1/closures?chassis=24PL-018412&fit=QB-3310",
        "/v1/components/QB-3310",
        "/v1/orders?chassis=24PL-018412&fit=QB-3310",
        "/v1/vehicles/24PL-018412",
    )
    answers = {path: client.get(path) for path in paths}
    closure = client.post("/v1/closures", json=QUESTION).json()
    assert answers[paths[0]].json()["set"] == closure["set"]
    facts = answers[paths[1]].json()
    return {
        "revision": closure["catalogue_revision"],
        "price": facts.get("price") or facts["component"]["price"],
        "etags": {path: answer.headers["etag"] for path, answer in answers.items()},
    }


def test_an_older_backup_is_brought_to_this_programs_shape(own_demo_url: str, databases: Any, tmp_path: Path):
    with opened(own_demo_url) as engine:
        migrate(engine, "2026_11_25_builds")
        backup(settings(own_demo_url), tmp_path / "old")
        migrate(engine)
    before = contents(own_demo_url)
    url = databases.empty()
    restore(settings(url), tmp_path / "old")
    assert contents(url) == before
    with opened(url) as engine:
        assert create_specification(engine, "a", SpecificationIn(title="A"))["version"] == 1


def test_a_backup_of_a_newer_program_is_refused(
    own_demo_url: str, databases: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    with opened(own_demo_url) as engine, engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '2031_01_01_unheard_of'"))
    engine_room = "sqlite" if own_demo_url.startswith("sqlite") else "postgres"
    with monkeypatch.context() as newer:
        newer.setattr(f"graftbook.backups.{engine_room}.require_known_level", lambda *_: None)
        backup(settings(own_demo_url), tmp_path / "newer")
    url = databases.new()
    before = contents(url)
    with pytest.raises(Refused, match="which this program does not know"):
        restore(settings(url), tmp_path / "newer", replace=True)
    assert contents(url) == before


def test_what_is_no_whole_backup_is_refused_and_changes_nothing(own_demo_url: str, tmp_path: Path):
    whole = tmp_path / "whole"
    backup(settings(own_demo_url), whole)
    before, size = contents(own_demo_url), whole.stat().st_size
    data = whole.read_bytes()
    cut = {"half": data[: size // 2], "empty": b"", "other": b"number,name\n", "header": data[:100]}
    if own_demo_url.startswith("sqlite"):
        cut["damaged"] = data[: size // 2] + bytes(20_000) + data[size // 2 + 20_000 :]
        cut["of another engine"] = b"PGDMP" + bytes(100)
    else:
        cut["of another engine"] = b"SQLite format 3\0" + bytes(100)
    for name, content in cut.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises((Refused, Unavailable)):
            restore(settings(own_demo_url), tmp_path / name, replace=True)
        assert contents(own_demo_url) == before, name


def test_a_restore_that_fails_midway_leaves_the_database_as_it_was(
    own_demo_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    backup(settings(own_demo_url), tmp_path / "saved")
    priced(own_demo_url, 5)
    before, history = contents(own_demo_url), epoch(own_demo_url)

    def broken(_engine: Engine) -> int:
        raise OSError("no space left on the device")

    engine = "sqlite" if own_demo_url.startswith("sqlite") else "postgres"
    monkeypatch.setattr(f"graftbook.backups.{engine}.made_ready", broken)
    with pytest.raises(OSError, match="no space"):
        restore(settings(own_demo_url), tmp_path / "saved", replace=True)
    assert (contents(own_demo_url), epoch(own_demo_url)) == (before, history)
    assert not _left_behind(own_demo_url)


def _left_behind(url: str) -> list[str]:
    if url.startswith("sqlite"):
        return [p.name for p in Path(make_url(url).database or "").parent.glob(".*.restore-*")]
    with opened(url) as engine, engine.connect() as connection:
        like = f"{make_url(url).database}_being_restored"
        return list(
            connection.execute(text("SELECT datname FROM pg_database WHERE datname = :n"), {"n": like})
            .scalars()
            .all()
        )


def test_the_commands_say_what_they_did(sqlite_databases: Any, sqlite_demo_url: str, tmp_path: Path):
    file = tmp_path / "saved"
    done = graftbook("backup", str(file), database=sqlite_demo_url)
    assert (done.returncode, "checked" in done.stderr) == (0, True)
    again = graftbook("backup", str(file), database=sqlite_demo_url)
    assert (again.returncode, "--replace" in again.stderr) == (2, True)
    put = graftbook("restore", str(file), database=sqlite_databases.empty())
    assert (put.returncode, "revision 1" in put.stderr) == (0, True)
    missing = graftbook("backup", str(tmp_path / "x"), database=f"sqlite:///{tmp_path / 'none.sqlite3'}")
    assert (missing.returncode, "there is no database" in missing.stderr) == (3, True)
    assert not (tmp_path / "none.sqlite3").exists()


def test_a_restore_does_not_wait_for_ever_for_a_writer(
    sqlite_databases: Any, demo_copy: Callable[[], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    url = demo_copy()
    backup(settings(url), tmp_path / "saved")
    monkeypatch.setattr("graftbook.backups.sqlite.WRITERS_WAIT", 0.3)
    writer = sqlite3.connect(make_url(url).database or "", isolation_level=None)
    writer.execute("BEGIN IMMEDIATE")
    with pytest.raises(Unavailable):
        restore(settings(url), tmp_path / "saved", replace=True)
    writer.execute("ROLLBACK")
    writer.close()
    restore(settings(url), tmp_path / "saved", replace=True)


def test_a_file_is_there_whole_or_not_at_all(tmp_path: Path):
    target = tmp_path / "file"
    target.write_text("old")

    def fail() -> None:
        with written_whole(target) as part:
            part.write_text("half")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert target.read_text() == "old"
    with written_whole(target) as part:
        part.write_text("new")
    assert (target.read_text(), list(tmp_path.iterdir())) == ("new", [target])


HALF_A_BACKUP = """
import sys, time
from pathlib import Path
from graftbook.backups.files import written_whole
from graftbook.temporary_files import work_folder
target = Path(sys.argv[1])
with written_whole(target) as part, work_folder(target.parent, ".restore-") as folder:
    part.write_text("half")
    (folder / "copy").write_text("half")
    print("half", flush=True)
    time.sleep(60)
"""


def test_what_a_killed_backup_left_behind_goes_with_the_next_and_what_another_writes_stays(tmp_path: Path):
    target = tmp_path / "file"

    def begun() -> subprocess.Popen[str]:
        command = [sys.executable, "-c", HALF_A_BACKUP, str(target)]
        process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        assert process.stdout
        assert process.stdout.readline() == "half\n"
        return process

    with begun() as killed:
        killed.kill()
    abandoned = set(tmp_path.iterdir())
    assert len(abandoned) == 2, "a killed backup leaves its work behind"
    with begun() as working:
        at_work = set(tmp_path.iterdir())
        assert len(at_work) == 2
        assert not at_work & abandoned
        with written_whole(target) as part, work_folder(tmp_path, ".restore-"):
            part.write_text("new")
        assert set(tmp_path.iterdir()) == at_work | {target}
        working.kill()


HALF_A_RESTORE = """
import sys, time
from pathlib import Path
from graftbook.backups import postgres, service, sqlite
from graftbook.settings import Settings
def never(*_given):
    print("half", flush=True)
    time.sleep(60)
postgres._made_ready = sqlite._made_ready = never
url, tools, source = sys.argv[1:]
service.restore(Settings(database_url=url, postgres_tools=tools), Path(source), replace=True)
"""


def test_what_a_killed_restore_left_behind_goes_with_the_next(own_demo_url: str, tmp_path: Path):
    """A copy of the database: a file beside it, or a database beside it on the server."""
    saved = tmp_path / "saved"
    backup(settings(own_demo_url), saved)
    priced(own_demo_url, 7)
    changed = contents(own_demo_url)
    url = make_url(own_demo_url).render_as_string(hide_password=False)
    command = [sys.executable, "-c", HALF_A_RESTORE, url, settings(url).postgres_tools, str(saved)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as killed:
        assert killed.stdout
        assert killed.stdout.readline() == "half\n"
        killed.kill()
    assert len(beside(own_demo_url)) == 1, "a killed restore leaves its copy behind"
    assert contents(own_demo_url) == changed
    restore(settings(own_demo_url), saved, replace=True)
    assert not beside(own_demo_url)
    assert not knows(own_demo_url, "BK-1")


def test_what_is_made_and_not_yet_held_is_not_taken_for_abandoned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    """Another one clears what is abandoned just when a folder, or a file, is made: it is made once more."""
    hold, cleared = temporary_files.fcntl.flock, []

    def late(handle: int, how: int) -> None:
        if how == fcntl.LOCK_EX and not cleared:
            cleared.append(how)
            clear_abandoned(tmp_path, ".")
            assert not list(tmp_path.iterdir())
        hold(handle, how)

    monkeypatch.setattr(temporary_files.fcntl, "flock", late)
    with work_folder(tmp_path, ".work-") as folder:
        assert list(tmp_path.iterdir()) == [folder]
    assert cleared.pop() == fcntl.LOCK_EX
    with written_whole(tmp_path / "file") as part:
        part.write_text("whole")
    assert cleared == [fcntl.LOCK_EX]
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("file", "whole")]


MADE_AND_KILLED = """
import os, sys, tempfile
from pathlib import Path
from graftbook.temporary_files import work_folder
made = tempfile.mkdtemp
def last(*given, **named):
    made(*given, **named)
    os.kill(os.getpid(), 9)
tempfile.mkdtemp = last
work_folder(Path(sys.argv[1]), ".work-").__enter__()
"""


def test_what_was_made_by_one_who_was_killed_before_he_held_it_goes(tmp_path: Path):
    command = [sys.executable, "-c", MADE_AND_KILLED, str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, check=False)
    assert (done.returncode, len(list(tmp_path.iterdir()))) == (-9, 1)
    with work_folder(tmp_path, ".work-") as folder:
        assert list(tmp_path.iterdir()) == [folder]


@pytest.mark.postgres
def test_missing_or_old_tools_are_named(
    postgres_server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    nowhere = Settings(database_url=postgres_server, postgres_tools=str(tmp_path))
    with pytest.raises(Refused, match=r"no pg_dump in .*GRAFTBOOK_POSTGRES_TOOLS"):
        backup(nowhere, tmp_path / "x")
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(Refused, match="on the PATH"):
        backup(Settings(database_url=postgres_server), tmp_path / "x")
    monkeypatch.undo()
    for name in ("pg_dump", "pg_restore"):
        script = tmp_path / name
        script.write_text(f"#!{shutil.which('sh')}\necho '{name} (PostgreSQL) 9.6.24'\n")
        script.chmod(0o755)
    with pytest.raises(Refused, match="release 9, the server of"):
        backup(Settings(database_url=postgres_server, postgres_tools=str(tmp_path)), tmp_path / "x")


@pytest.mark.postgres
def test_no_password_stands_in_the_arguments_of_a_tool(monkeypatch: pytest.MonkeyPatch):
    from graftbook.backups.postgres import Tools, address_of

    seen: dict[str, Any] = {}

    def run(arguments: list[str], **options: Any) -> subprocess.CompletedProcess[str]:
        seen.update(arguments=arguments, env=options["env"])
        return subprocess.CompletedProcess(arguments, 0, "", "")

    there = Tools(settings("postgresql://").postgres_tools)
    monkeypatch.setattr("graftbook.backups.postgres.subprocess.run", run)
    there.run("pg_dump", at=address_of("postgresql+psycopg://house:s3cret@db:5433/graftbook?sslmode=require"))
    assert "s3cret" not in " ".join(seen["arguments"])
    assert seen["arguments"][-1] == "--dbname=postgresql://house@db:5433/graftbook?sslmode=require"
    assert seen["env"]["PGPASSWORD"] == "s3cret"
