"""Cursors of the feed: the history of the database, and the number of the last event that was read in it.

They outlive a restart. After a restore numbers count in another history; a cursor of the old one is told so.
"""

import re
from dataclasses import dataclass

from graftbook.events.problems import EventsForgotten, OtherHistory
from graftbook.problems import InvalidCursor

_WRITTEN = re.compile(r"([0-9a-f]{0,12})-([0-9]{1,18})")
NOW = "now"


def cursor_of(epoch: str, number: int) -> str:
    """The cursor behind an event."""
    return f"{epoch}-{number}"


def number_of(cursor: str) -> int:
    """The number of the event that a cursor is behind. Raises InvalidCursor."""
    if not (read := _WRITTEN.fullmatch(cursor)):
        raise InvalidCursor("take the cursor from the answer or the event before, unchanged")
    return int(read[2])


@dataclass(frozen=True, slots=True)
class FeedState:
    """How far the feed is: the history, the number of its last event, and up to which none are kept."""

    epoch: str
    last: int
    forgotten: int

    @property
    def oldest(self) -> str:
        """The cursor before the oldest event that is kept."""
        return cursor_of(self.epoch, self.forgotten)

    @property
    def newest(self) -> str:
        """The cursor behind the last event."""
        return cursor_of(self.epoch, self.last)

    def number(self, cursor: str) -> int:
        """The number behind which a cursor reads on; none: from the oldest; `now`: from here on.

        Raises InvalidCursor, OtherHistory, EventsForgotten.
        """
        if not cursor:
            return self.forgotten
        if cursor == NOW:
            return self.last
        number = number_of(cursor)
        if cursor.partition("-")[0] != self.epoch:
            words = "Read what you keep anew, then go on from `newest`, or read all events since `oldest`"
            raise OtherHistory(words, oldest=self.oldest, newest=self.newest)
        if number > self.last:
            raise InvalidCursor(f"this cursor is ahead of the last event, {self.newest}")
        if number < self.forgotten:
            words = f"{self.forgotten - number} events after it are gone; `oldest` reads what is left"
            raise EventsForgotten(words, oldest=self.oldest, newest=self.newest)
        return number
