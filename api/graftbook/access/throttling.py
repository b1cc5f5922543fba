"""Failed attempts are slowed: a few are free, then each failure makes the next attempt wait longer.

What fails is counted for the client's address (a spray over many ids) and for a key's id from that
address. A key's id alone is never held: whoever knows an id could lock its owner out. An address from
which a key has worked is heard for that key also while others fail from it (one office, one address).
The state is of one process and bounded; the oldest is forgotten first.
"""

import ipaddress
import math
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, TypeVar

FREE_FOR_ADDRESS, FREE_FOR_KEY = 10, 5
LONGEST_WAIT = 300.0
FORGOTTEN_AFTER = 1_800.0
MOST_KEPT = 10_000

_Name = TypeVar("_Name", bound=Hashable)
"""What failures are counted for: an address, or a key at an address."""


@dataclass(slots=True)
class _Failures:
    count: int = 0
    last: float = 0.0
    until: float = 0.0


class Attempts:
    """Who failed how often. `clock` gives seconds that never go back."""

    def __init__(self, most: int = MOST_KEPT, clock: Callable[[], float] = time.monotonic) -> None:
        self._most, self._clock = most, clock
        self._addresses: OrderedDict[str, _Failures] = OrderedDict()
        self._keys: OrderedDict[tuple[str, str], _Failures] = OrderedDict()
        self._worked: OrderedDict[tuple[str, str], None] = OrderedDict()
        self._lock = threading.Lock()

    def wait(self, address: str, key: str | None) -> int:
        """Whole seconds until an attempt is heard; 0 when it is heard now."""
        network, now = network_of(address), self._clock()
        with self._lock:
            until = 0.0
            if (network, key) not in self._worked:
                until = self._until(self._addresses, network)
            if key is not None:
                until = max(until, self._until(self._keys, (network, key)))
        return max(0, math.ceil(until - now))

    def failed(self, address: str, key: str | None) -> None:
        """An attempt was heard and was wrong; `key`: the id that it named, if it named one."""
        network = network_of(address)
        with self._lock:
            self._count(self._addresses, network, FREE_FOR_ADDRESS)
            if key is not None:
                self._count(self._keys, (network, key), FREE_FOR_KEY)

    def worked(self, address: str, key: str) -> None:
        """An attempt was right. The address's other failures still count: one good key is no licence."""
        pair = (network_of(address), key)
        with self._lock:
            self._keys.pop(pair, None)
            self._worked[pair] = None
            self._worked.move_to_end(pair)
            self._shorten(self._worked)

    @property
    def kept(self) -> int:
        """How many entries are held."""
        return len(self._addresses) + len(self._keys) + len(self._worked)

    def _until(self, entries: Mapping[_Name, _Failures], name: _Name) -> float:
        found = entries.get(name)
        return found.until if found else 0.0

    def _count(self, entries: OrderedDict[_Name, _Failures], name: _Name, free: int) -> None:
        now = self._clock()
        found = entries.get(name)
        if found is None or now - found.last > FORGOTTEN_AFTER:
            found = entries[name] = _Failures()
        entries.move_to_end(name)
        found.count += 1
        found.last = now
        if found.count > free:
            found.until = now + min(LONGEST_WAIT, 2.0 ** min(found.count - free - 1, 30))
        self._shorten(entries)

    def _shorten(self, entries: OrderedDict[Any, Any]) -> None:
        while len(entries) > self._most:
            entries.popitem(last=False)


@lru_cache(maxsize=4_096)
def network_of(address: str) -> str:
    """The address as failures are counted: of IPv6 the first 64 bits, since one house has all the rest."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return address[:64]
    if found.version == 4:
        return str(found)
    if found.ipv4_mapped:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((int(found) >> 64 << 64, 64)))
