"""Whether the writers' lock is free, asked from beside while something is at work."""

import sqlite3
from contextlib import closing
from typing import Any

import pytest
from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError

from graftbook.database import make_engine


def is_free(engine: Engine) -> bool:
    """Whether an editor of the same database would be let through at once."""
    if engine.dialect.name == "sqlite":
        with closing(sqlite3.connect(str(engine.url.database), isolation_level=None, timeout=0.1)) as beside:
            try:
                beside.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError:
                return False
            return True
    own = make_engine(engine.url.render_as_string(hide_password=False))
    try:
        with own.begin() as connection:
            connection.exec_driver_sql("LOCK TABLE revision IN EXCLUSIVE MODE NOWAIT")
    except OperationalError:
        return False
    finally:
        own.dispose()
    return True


def free_at(monkeypatch: pytest.MonkeyPatch, engine: Engine, owner: Any, name: str) -> list[bool]:
    """Whether it is free, each time that `owner.name` is called from here on."""
    seen: list[bool] = []
    original = getattr(owner, name)

    def looking(*given: Any, **named: Any) -> Any:
        seen.append(is_free(engine))
        return original(*given, **named)

    monkeypatch.setattr(owner, name, looking)
    return seen
