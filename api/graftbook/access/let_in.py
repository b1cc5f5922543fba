"""Who was let in just now: what the database said of a key or a cookie stands until something is committed.

For answers alone that are given again unlooked-up (`http/conditional`); whatever is looked up or changes
anything asks the database. A revocation is a commit, so it is seen as an edit is (`process/present`).
"""

import threading
from collections import OrderedDict
from datetime import datetime

from graftbook.access.principal import Principal
from graftbook.access.service import moment
from graftbook.process.present import Mark, Present

MOST = 1_000


class LetIn:
    """Principals by the digest of what they sent. Safe for threads; without a `present` it keeps nobody."""

    def __init__(self, present: Present | None) -> None:
        self._present = present
        self._kept: OrderedDict[tuple[str, bool], tuple[Principal, Mark, datetime]] = OrderedDict()
        self._lock = threading.Lock()

    def mark(self) -> Mark | None:
        """To be taken before the database is asked; None when nothing can be believed."""
        return self._present.mark() if self._present is not None else None

    def note(self, digest: str, principal: Principal, mark: Mark | None, until: datetime) -> None:
        """Keep who was let in after the mark was taken. `until`: when he is to be looked up in any case."""
        if mark is None:
            return
        with self._lock:
            self._kept[digest, principal.by_cookie] = principal, mark, until
            self._kept.move_to_end((digest, principal.by_cookie))
            while len(self._kept) > MOST:
                self._kept.popitem(last=False)

    def get(self, digest: str, now: Mark | None, *, by_cookie: bool) -> Principal | None:
        """Who was let in with this; None when the database must be asked."""
        found = self._kept.get((digest, by_cookie))
        if found is None or self._present is None:
            return None
        principal, mark, until = found
        return principal if self._present.stands(mark, now) and moment() < until else None


def earliest(first: datetime, *others: datetime | None) -> datetime:
    """The earliest of the moments that there are."""
    return min(at for at in (first, *others) if at is not None)
