"""Bringing a copy to the shape that this program needs, before anybody sees it."""

from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Engine

from graftbook.backups.files import Refused
from graftbook.catalogue.history.revisions import begin_epoch, current_revision
from graftbook.database import migrate, migration_config, writing


def require_known_level(engine: Engine, what: str) -> None:
    """Raises Refused for a database that holds something else, or was made by a newer program."""
    known = {step.revision for step in ScriptDirectory.from_config(migration_config()).walk_revisions()}
    with engine.connect() as connection:
        level = MigrationContext.configure(connection).get_current_revision()
    if level is None:
        raise Refused(f"{what} holds no catalogue")
    if level not in known:
        raise Refused(f"{what} is at {level}, which this program does not know: use the newer program")


def made_ready(engine: Engine) -> int:
    """Migrate a restored copy and let it begin another history. Returns the catalogue's revision."""
    migrate(engine)
    with writing(engine) as session:
        begin_epoch(session.connection())
        return current_revision(session.connection())
