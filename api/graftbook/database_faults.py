"""Which errors of a database mean that it cannot be used now, and what to say then.

Everything else that a database raises is a fault of this program.
"""

from sqlalchemy.exc import DBAPIError, InterfaceError, OperationalError
from sqlalchemy.exc import TimeoutError as PoolTimeout

GONE = "The database does not answer; try again"
BUSY = "The database is busy with somebody else's change; try again"
FULL = "There is no room left for the database; make room, then try again"
FAILING = "The disk that the database is on fails or is full; see to it, then try again"
CLOSED = "The database takes no changes now; see whether it is a copy, or may not be written to"
DAMAGED = "The database is damaged, or is none; restore a backup"
SHAPELESS = "The database has not the shape that this program needs; run `graftbook migrate`"

_SQLITE = {5: BUSY, 6: BUSY, 8: CLOSED, 10: FAILING, 11: DAMAGED, 13: FULL, 14: GONE, 15: GONE, 26: DAMAGED}
"""By primary result code (the SQLite documentation, "Result and Error Codes")."""

_POSTGRES = {
    "25006": CLOSED,
    "25P03": GONE,
    "40001": BUSY,
    "40P01": BUSY,
    "42501": CLOSED,
    "42703": SHAPELESS,
    "42P01": SHAPELESS,
    "53100": FULL,
    "55P03": BUSY,
    "58030": FAILING,
    "XX001": DAMAGED,
    "XX002": DAMAGED,
}
"""By SQLSTATE (the PostgreSQL documentation, appendix A)."""


def in_words(error: Exception) -> str | None:
    """What to tell whoever asked; None when the database is not to blame."""
    if isinstance(error, PoolTimeout):
        return GONE
    if not isinstance(error, DBAPIError):
        return None
    if error.connection_invalidated:
        return GONE
    if (code := getattr(error.orig, "sqlite_errorcode", None)) is not None:
        return _SQLITE.get(code & 0xFF) or (SHAPELESS if "no such" in str(error.orig) else None)
    known = _POSTGRES.get(getattr(error.orig, "sqlstate", None) or "")
    return known or (GONE if isinstance(error, OperationalError | InterfaceError) else None)
