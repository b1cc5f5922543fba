"""The statements that an engine sends while a test looks at them."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Engine, event


@contextmanager
def counted(engine: Engine) -> Iterator[list[str]]:
    """The statements that are sent meanwhile."""
    statements: list[str] = []

    def note(_connection: Any, _cursor: Any, statement: str, *_rest: Any) -> None:
        statements.append(statement)

    event.listen(engine, "before_cursor_execute", note)
    yield statements
    event.remove(engine, "before_cursor_execute", note)
