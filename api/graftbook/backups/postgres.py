"""Backup and restore of a PostgreSQL database by its own tools, while others read and write it."""

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import URL, Engine, inspect, make_url, text

from graftbook.backups.files import Refused, starts_with, written_whole
from graftbook.backups.levels import made_ready, require_known_level
from graftbook.database import make_engine
from graftbook.problems import Unavailable
from graftbook.process.warm import migration_level
from graftbook.temporary_files import work_folder

MARK = b"PGDMP"
READERS_WAIT = 60
"""Seconds that a restore waits for each lock that a reader or writer of the database holds."""

_PLAIN = ("--no-owner", "--no-privileges")


class Tools:
    """`pg_dump` and `pg_restore` of one release. Raises Refused when they are not there."""

    def __init__(self, folder: str = "") -> None:
        self._folder = folder
        self._paths = {name: self._find(name) for name in ("pg_dump", "pg_restore")}

    def _find(self, name: str) -> str:
        found = shutil.which(name, path=self._folder or None)
        if found is None:
            place = f"in {self._folder}" if self._folder else "on the PATH"
            raise Refused(
                f"there is no {name} {place}: install PostgreSQL's client tools,"
                " or name their folder in GRAFTBOOK_POSTGRES_TOOLS"
            )
        return found

    def require_for(self, engine: Engine) -> None:
        """Raises Refused for tools older than the server: they cannot know what it holds."""
        with engine.connect() as connection:
            server = int(connection.execute(text("SHOW server_version_num")).scalar_one()) // 10_000
        for name, path in self._paths.items():
            version = subprocess.run([path, "--version"], capture_output=True, text=True, check=True).stdout
            found = re.search(r"\)\s+(\d+)", version)
            if found is None or int(found[1]) < server:
                raise Refused(
                    f"{name} is of release {found[1] if found else '?'}, the server of {server}: take tools"
                    " at least as new (GRAFTBOOK_POSTGRES_TOOLS)"
                )

    def run(self, name: str, *arguments: str, at: URL | None = None) -> None:
        """Run a tool, on a database. Raises Refused with what it says."""
        environment = os.environ | {"LC_MESSAGES": "C"}
        place: tuple[str, ...] = ()
        if at is not None:
            # A password in the arguments would be seen by everybody on the machine.
            if at.password:
                environment["PGPASSWORD"] = str(at.password)
            plain = at.set(drivername="postgresql")._replace(password=None)
            place = (f"--dbname={plain.render_as_string(hide_password=False)}",)
            environment["PGOPTIONS"] = f"-c lock_timeout={READERS_WAIT}s"
        done = subprocess.run(
            [self._paths[name], *arguments, *place],
            env=environment, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=False,
        )  # fmt: skip
        if done.returncode:
            complaint = (done.stderr.strip().splitlines() or ["it said nothing"])[0]
            raise Refused(f"{name} failed, nothing was changed: {complaint}")


def backup(database: URL, target: Path, tools: Tools) -> None:
    """Write a checked dump of one state of the database. Raises Refused, OSError, DBAPIError."""
    engine = make_engine(database.render_as_string(hide_password=False))
    try:
        tools.require_for(engine)
        require_known_level(engine, "the database")
    finally:
        engine.dispose()
    with written_whole(target) as part:
        tools.run("pg_dump", "--format=custom", *_PLAIN, f"--file={part}", at=database)
        _check(tools, part)


def restore(database: URL, source: Path, tools: Tools, *, replace: bool) -> int:
    """Put a dump in the database's place, in one transaction.

    It is restored into a database of its own beside it first, brought to this program's shape there,
    and only then taken over. Returns the catalogue's revision. Raises Refused, OSError, DBAPIError.
    """
    _check(tools, source)
    live = make_engine(database.render_as_string(hide_password=False))
    try:
        tools.require_for(live)
        _require_room(live, replace)
        with _beside(live, database) as beside:
            tools.run("pg_restore", "--exit-on-error", *_PLAIN, str(source), at=beside)
            revision = _made_ready(beside, source)
            with work_folder(Path(tempfile.gettempdir()), "graftbook-restore-") as folder:
                ready = str(folder / "ready.dump")
                tools.run("pg_dump", "--format=custom", *_PLAIN, f"--file={ready}", at=beside)
                whole = ("--single-transaction", "--exit-on-error", "--clean", "--if-exists")
                tools.run("pg_restore", *whole, *_PLAIN, ready, at=database)
        with live.execution_options(isolation_level="AUTOCOMMIT").connect() as connection:
            connection.execute(text("ANALYZE"))
        return revision
    finally:
        live.dispose()


def is_backup(path: Path) -> bool:
    """Whether a file is a dump in the tools' custom format."""
    return starts_with(path, MARK)


def _check(tools: Tools, dump: Path) -> None:
    """Read all of a dump; what is cut off or damaged does not pass."""
    tools.run("pg_restore", f"--file={os.devnull}", str(dump))


def _require_room(live: Engine, replace: bool) -> None:
    if not inspect(live).get_table_names():
        return
    if not replace:
        raise Refused("the database holds tables already; --replace puts the backup in their place")
    right, present, needed = migration_level(live)
    if not right:
        raise Unavailable(
            f"the database is at {present}, the program needs {needed}: run `graftbook migrate`"
        )


@contextmanager
def _beside(live: Engine, database: URL) -> Iterator[URL]:
    """A new, empty database on the same server; gone when the block ends. One that a killed restore
    left behind goes first."""
    name = f"{str(database.database)[:45]}_being_restored"
    quoted = live.dialect.identifier_preparer.quote_identifier(name)
    server = live.execution_options(isolation_level="AUTOCOMMIT")
    drop = text(f"DROP DATABASE IF EXISTS {quoted} WITH (FORCE)")
    with server.connect() as connection:
        connection.execute(drop)
        connection.execute(text(f"CREATE DATABASE {quoted} TEMPLATE template0"))
    try:
        yield database.set(database=name)
    finally:
        with server.connect() as connection:
            connection.execute(drop)


def _made_ready(beside: URL, source: Path) -> int:
    engine = make_engine(beside.render_as_string(hide_password=False))
    try:
        require_known_level(engine, str(source))
        return made_ready(engine)
    finally:
        engine.dispose()


def address_of(url: str) -> URL:
    """The address of a database as the tools take it."""
    return make_url(url).set(drivername="postgresql")
