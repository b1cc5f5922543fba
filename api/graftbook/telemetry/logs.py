"""Log lines: JSON for machines, text for a terminal; the server's own lines take the same form.

A line holds nothing that an asker sent. What an exception says may: a database quotes the value it
refused. So a fault is told by its kind, its code and the places it came through; its words are only
written at level debug.
"""

import json
import logging
import sys
from datetime import UTC, datetime
from pathlib import Path
from traceback import extract_tb
from typing import Any, Literal

import orjson
from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError

from graftbook.telemetry.requests import current

_HERE = Path(__file__).resolve().parents[2]
_PLACES = 12
Form = Literal["auto", "json", "text"]


def log_config(form: Form, level: str) -> dict[str, Any]:
    """A `logging.config` dictionary: everything to standard error, in one form."""
    as_text = form == "text" or (form == "auto" and sys.stderr.isatty())
    kind = "TextLines" if as_text else "JsonLines"
    own = {"level": level.upper()}
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "formatters": {"lines": {"()": f"graftbook.telemetry.logs.{kind}", "words": level == "debug"}},
        "handlers": {"lines": {"class": "logging.StreamHandler", "formatter": "lines"}},
        "root": {"handlers": ["lines"], "level": "WARNING"},
        "loggers": {
            "graftbook": own,
            "uvicorn": own,
            "uvicorn.error": own,
            "uvicorn.access": {"level": "CRITICAL"},
        },
    }


class JsonLines(logging.Formatter):
    """A record as one line of JSON."""

    def __init__(self, words: bool = False) -> None:
        super().__init__()
        self._words = words
        # No line tells thread, process or task: looking them up is a third of a record's cost.
        for looked_up in ("logThreads", "logProcesses", "logMultiprocessing", "logAsyncioTasks"):
            setattr(logging, looked_up, False)

    def format(self, record: logging.LogRecord) -> str:
        facts = self.facts(record)
        line = orjson.dumps(facts, option=orjson.OPT_NON_STR_KEYS, default=str).decode()
        # Some readers also end a line at U+0085 or U+2028, so nothing beyond ASCII stands as it is.
        return line if line.isascii() else json.dumps(facts, default=str)

    def facts(self, record: logging.LogRecord) -> dict[str, Any]:
        """Time, level, what happened, in which request, and the fault if there was one."""
        facts: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
        }
        given = getattr(record, "facts", None)
        if given is not None:
            return {**facts, **given}
        facts["event"] = _writable(facts["event"])
        if (request := current()) is not None:
            facts["request_id"] = request.request_id
        if record.exc_info and record.exc_info[1] is not None:
            facts["fault"] = fault(record.exc_info[1], words=self._words)
        return facts


class TextLines(JsonLines):
    """The same for a person: time, level, what happened, and the rest as `name=value`."""

    def format(self, record: logging.LogRecord) -> str:
        facts = self.facts(record)
        time, level, event = facts.pop("time")[11:23], facts.pop("level"), facts.pop("event")
        rest = " ".join(f"{name}={_plain(value)}" for name, value in facts.items())
        return f"{time} {level:<8}{_plain(event)} {rest}".rstrip()


def fault(error: BaseException, *, words: bool = False) -> dict[str, Any]:
    """An exception as facts: its kind, the database's code for it, the places, and what it came from."""
    facts: dict[str, Any] = {"type": f"{type(error).__module__}.{type(error).__qualname__}"}
    if isinstance(error, DBAPIError):
        inner: Any = error.orig
        facts["code"] = getattr(inner, "sqlstate", None) or getattr(inner, "sqlite_errorname", None)
        if isinstance(error, OperationalError | InterfaceError):
            facts["message"] = _writable(str(inner).splitlines()[0]) if str(inner) else ""
    elif isinstance(error, OSError):
        facts["code"] = error.errno
    if words:
        facts["message"] = _writable(str(error))
    places = extract_tb(error.__traceback__)[-_PLACES:]
    facts["places"] = [f"{_short(place.filename)}:{place.lineno} {place.name}" for place in places]
    came_from = error.__cause__ or (None if error.__suppress_context__ else error.__context__)
    if came_from is not None and not isinstance(error, DBAPIError):
        facts["from"] = fault(came_from, words=words)
    return facts


def _short(filename: str) -> str:
    path = Path(filename)
    return str(path.relative_to(_HERE)) if path.is_relative_to(_HERE) else "/".join(path.parts[-3:])


def _writable(text: str) -> str:
    """Free of lone surrogates, which no encoding takes."""
    return text.encode("utf-8", "replace").decode()


def _plain(value: Any) -> str:
    """On one line, and nothing in it that moves a terminal's cursor or turns its text round."""
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in str(value))
