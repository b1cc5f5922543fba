"""How Alembic reaches the database: `graftbook.database.migrate` hands a connection over, or the settings."""

from typing import Any

from alembic import context
from sqlalchemy import Connection
from sqlmodel import AutoString, SQLModel

import graftbook.access.tables
import graftbook.builds.stored.tables
import graftbook.catalogue.history.revisions
import graftbook.catalogue.store.tables
import graftbook.catalogue.store.tables_beside
import graftbook.editing.flat.tables
import graftbook.editing.review.tables
import graftbook.events.tables
import graftbook.idempotency.tables
import graftbook.orders.tables
import graftbook.pictures.tables  # noqa: F401  (all of these define the tables that models are compared by)
from graftbook.database import make_engine
from graftbook.settings import settings


def _render(kind: str, item: Any, _context: Any) -> str | bool:
    """Write SQLModel's own string type as plain SQLAlchemy, so that a migration needs one import."""
    if kind == "type" and isinstance(item, AutoString):
        return f"sa.String(length={item.length})"
    return False


def run(connection: Connection) -> None:
    """Run the migrations on a connection; SQLite rebuilds tables in batches."""
    context.configure(
        connection=connection,
        target_metadata=SQLModel.metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
        render_item=_render,
        transactional_ddl=False,
    )
    with context.begin_transaction():
        context.run_migrations()


if (handed := context.config.attributes.get("connection")) is not None:
    run(handed)
else:
    with make_engine(settings().database_url).connect() as own:
        run(own)
        own.commit()
