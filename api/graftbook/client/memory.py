"""What a client keeps of its answers: ETags, and the documents that they stand for."""

from collections import OrderedDict
from dataclasses import dataclass

MOST_KEPT = 64
LARGEST_KEPT = 1_000_000
"""Bytes of an answer above which only its ETag is kept."""


@dataclass(frozen=True)
class Kept:
    """The ETag of what stands at an address; the answer itself where it came with it."""

    etag: str
    content: bytes | None


class Memory:
    """The last answers by address, the least lately used forgotten first. One client's alone."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Kept] = OrderedDict()

    def at(self, address: str) -> Kept | None:
        """What is kept of an address."""
        if (kept := self._kept.get(address)) is not None:
            self._kept.move_to_end(address)
        return kept

    def keep(self, address: str, etag: str, content: bytes | None) -> None:
        """Keep an ETag, and the answer if it is not too large."""
        small = content if content is not None and len(content) <= LARGEST_KEPT else None
        self._kept[address] = Kept(etag, small)
        self._kept.move_to_end(address)
        if len(self._kept) > MOST_KEPT:
            self._kept.popitem(last=False)

    def forget(self, address: str) -> None:
        """It is gone, or its ETag is not known any more."""
        self._kept.pop(address, None)
