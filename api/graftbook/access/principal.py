"""Who acts: the key that a request came with, or the person at the command line."""

from dataclasses import dataclass
from datetime import datetime

from graftbook.access.scopes import Scope
from graftbook.access.store import KeyFacts
from graftbook.access.tables import AccessEventRow
from graftbook.problems import printable

LONGEST_WHAT = 200


@dataclass(frozen=True, slots=True)
class Principal:
    """A key that was let in. `by_cookie`: through a page's session."""

    key: str
    label: str
    scope: Scope
    by_cookie: bool = False

    @classmethod
    def of(cls, row: KeyFacts, *, by_cookie: bool = False) -> "Principal":
        """The principal of a key."""
        return cls(row.id, row.label, Scope(row.scope), by_cookie)

    @property
    def who(self) -> str:
        """As the history writes it: `label (key id)`."""
        return f"{self.label} ({self.key})"


@dataclass(frozen=True, slots=True)
class Caller:
    """Where an action comes from, as the trail writes it. `key`: the id named; `client`: the address."""

    who: str = ""
    key: str | None = None
    request: str = ""
    client: str = ""

    def event(self, at: datetime, what: str, outcome: str, times: int = 1) -> AccessEventRow:
        """A row of the trail."""
        return AccessEventRow(
            at=at,
            key=self.key,
            what=printable(what)[:LONGEST_WHAT],
            outcome=outcome,
            request=printable(self.request)[:64],
            client=printable(self.client)[:64],
            times=times,
        )
