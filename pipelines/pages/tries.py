"""Sign-ins that failed: how long the next one waits. Counted before a password is looked at, so that many at once are
not more than one after the other.
"""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable

FREE, WAIT_S, LONGEST_S = (
    5,
    60.0,
    900.0,
)  # tries of a name from an address that cost nothing; then a wait that doubles each time
FREE_OF_ADDRESS, WITHIN_S = 20, 60.0  # tries from an address within a minute, whatever the names
COME_BACK_S = 5  # where many sign in at once
FORGOTTEN_S, MOST_KEPT = 3600.0, 20_000


def place_of(address: str) -> str:
    """What counts as one address: an IPv4 address, or the /64 that one subscriber has (RFC 6177)."""
    try:
        told = ipaddress.ip_address(address.split("%")[0])
    except ValueError:
        return address[:64]
    if isinstance(told, ipaddress.IPv6Address):
        mapped = told.ipv4_mapped
        return str(mapped) if mapped else str(ipaddress.ip_network((told, 64), strict=False))
    return str(told)


class Tries:
    """A stranger who guesses keeps nobody out but themselves: what waits is a name from an address, and an address."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._pairs: OrderedDict[tuple[str, str], list[float]] = OrderedDict()  # number of tries, the last one [s]
        self._places: OrderedDict[str, list[float]] = OrderedDict()  # moments of tries [s]

    def begin(self, name: str, address: str) -> float:
        """Count a try before it is made: 0 where it may be made, else the seconds to wait, and it is not counted."""
        now, place = self._clock(), place_of(address)
        pair = (name.strip().casefold()[:100], place)
        with self._lock:
            self._forget(now)
            many, last = self._pairs.get(pair, [0.0, now])
            if many >= FREE:
                ends = last + min(LONGEST_S, WAIT_S * 2.0 ** min(many - FREE, 10))
                if ends > now:
                    return ends - now
            recent = [at for at in self._places.get(place, []) if now - at < WITHIN_S]
            if len(recent) >= FREE_OF_ADDRESS:
                return recent[0] + WITHIN_S - now
            self._pairs[pair] = [many + 1, now]
            self._pairs.move_to_end(pair)
            self._places[place] = [*recent, now]
            self._places.move_to_end(place)
        return 0.0

    def good(self, name: str, address: str) -> None:
        """The try was right: this name from this address starts anew, and the try is none of the address's failed
        ones.
        """
        place = place_of(address)
        with self._lock:
            self._pairs.pop((name.strip().casefold()[:100], place), None)
            if self._places.get(place):
                self._places[place].pop()

    def _forget(self, now: float) -> None:
        """Drop what is old; of very many the oldest. The last entry of each list is its newest moment."""
        while self._pairs and (
            len(self._pairs) > MOST_KEPT or now - next(iter(self._pairs.values()))[-1] > FORGOTTEN_S
        ):
            self._pairs.popitem(last=False)
        while self._places and (
            len(self._places) > MOST_KEPT or now - max(next(iter(self._places.values())), default=0.0) > FORGOTTEN_S
        ):
            self._places.popitem(last=False)
