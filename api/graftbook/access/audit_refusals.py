"""Refused attempts for the trail, so few that nobody can fill the disk with them.

Of one client a row a minute, of all together sixty; what comes between is counted and told by the
client's next row (`times`). The trail keeps the newest ten thousand.
"""

import threading
from collections import OrderedDict
from dataclasses import replace
from datetime import datetime, timedelta
from typing import ClassVar

from graftbook.access.principal import Caller
from graftbook.access.tables import AccessEventRow
from graftbook.access.throttling import network_of


class Refusals:
    """What was refused lately, in one process."""

    APART: ClassVar[timedelta] = timedelta(minutes=1)
    MOST_A_MINUTE: ClassVar[int] = 60
    MOST_CLIENTS: ClassVar[int] = 1_000
    MOST_STORED: ClassVar[int] = 10_000

    def __init__(self) -> None:
        self._told: OrderedDict[str, datetime] = OrderedDict()
        self._counted: dict[str, tuple[Caller, str, int]] = {}
        self._minute: tuple[datetime, int] | None = None
        self._lock = threading.Lock()

    def note(self, caller: Caller, what: str, now: datetime) -> list[AccessEventRow]:
        """The rows to write now: none while the client's last one, or the last sixty, are too fresh."""
        client = network_of(caller.client)
        with self._lock:
            _, _, before = self._counted.get(client, (caller, what, 0))
            told = self._told.get(client)
            if (told and now - told < self.APART) or not self._has_room(now):
                if client in self._counted or len(self._counted) < self.MOST_CLIENTS:
                    self._counted[client] = (caller, what, before + 1)
                return []
            self._counted.pop(client, None)
            self._told[client] = now
            self._told.move_to_end(client)
            while len(self._told) > self.MOST_CLIENTS:
                self._told.popitem(last=False)
            return [caller.event(now, what, "refused", before + 1)]

    def taken(self, now: datetime) -> list[AccessEventRow]:
        """Rows of everything that is counted only; it is not counted again."""
        with self._lock:
            counted, self._counted = self._counted, {}
        return [
            replace(caller, request="").event(now, what, "refused", times)
            for caller, what, times in counted.values()
        ]

    def _has_room(self, now: datetime) -> bool:
        begun, rows = self._minute or (now, 0)
        if now - begun >= self.APART:
            begun, rows = now, 0
        self._minute = (begun, rows + 1)
        return rows < self.MOST_A_MINUTE
