"""What a process does before its first question: load the solver, look at the database's shape."""

import logging
from typing import TYPE_CHECKING

from sqlalchemy import Engine

from graftbook.database import level_needed, level_of

if TYPE_CHECKING:
    from graftbook.process.service import Service

_LOG = logging.getLogger("graftbook")


def warm_up(service: "Service") -> None:
    """Load the solver (0.4 s that no asker should wait for) where it is used; warn about an old database."""
    service.reasoner.start()
    if not (level := migration_level(service.engine))[0]:
        _LOG.warning("the database is at %s, the program needs %s: run `graftbook migrate`", *level[1:])


def migration_level(engine: Engine) -> tuple[bool, str, str]:
    """Whether the database has the shape that this program needs, its level, and the level needed.

    Raises OperationalError when the database does not answer.
    """
    needed = level_needed()
    with engine.connect() as connection:
        present = level_of(connection)
    return present == needed, present or "nothing", needed
