"""Backup and restore of the whole database, while the service runs."""

from pathlib import Path

from sqlalchemy import make_url

from graftbook.backups import postgres, sqlite
from graftbook.backups.files import Refused
from graftbook.settings import Settings


def backup(settings: Settings, target: Path, *, replace: bool = False) -> int:
    """Write one state of the database into a file, checked, whole or not at all. Returns its bytes.

    Raises Refused, Unavailable, OSError, DBAPIError.
    """
    if target.is_dir():
        raise Refused(f"{target} is a folder; name a file")
    if target.exists() and not replace:
        raise Refused(f"{target} exists already; --replace writes over it")
    if _on_sqlite(settings):
        sqlite.backup(_file(settings), target)
    else:
        address = postgres.address_of(settings.database_url)
        postgres.backup(address, target, postgres.Tools(settings.postgres_tools))
    return target.stat().st_size


def restore(settings: Settings, source: Path, *, replace: bool = False) -> int:
    """Put a backup in the database's place, all or nothing. Returns the catalogue's revision.

    An older backup is migrated; one of a newer program is refused. A running service answers from the
    restored state at once: the restored database begins a history of its own, which is part of every
    ETag and of whatever a process keeps. Raises Refused, Unavailable, OSError, DBAPIError.
    """
    on_sqlite = _on_sqlite(settings)
    if on_sqlite and sqlite.is_backup(source):
        return sqlite.restore(_file(settings), source, replace=replace)
    if not on_sqlite and postgres.is_backup(source):
        address = postgres.address_of(settings.database_url)
        return postgres.restore(address, source, postgres.Tools(settings.postgres_tools), replace=replace)
    other = postgres.is_backup(source) if on_sqlite else sqlite.is_backup(source)
    raise Refused(
        f"{source} is a backup of another engine; `export` and `load` carry a catalogue over"
        if other
        else f"{source} is no backup of this database"
    )


def _on_sqlite(settings: Settings) -> bool:
    return make_url(settings.database_url).get_backend_name() == "sqlite"


def _file(settings: Settings) -> Path:
    name = make_url(settings.database_url).database
    if not name or name == ":memory:":
        raise Refused("a database in memory is gone with its process; give it a file")
    return Path(name)
