"""Sign-ins that failed: how long the next one waits. Counted before a password is looked at, so that many at once are
not more than one after the other.
"""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Iterable
from typing import TypeVar

T = TypeVar("T")
FREE, FREE_OF_ADDRESS = 5, 10  # tries that cost nothing: of a name from an address; from an address, whatever the names
WAIT_S, LONGEST_S = 60.0, 900.0  # then a wait that doubles with each
COME_BACK_S = 5  # where many sign in at once
FORGOTTEN_S, MOST_KEPT = 3600.0, 20_000
Pair = tuple[str, str]  # a name and an address, as they are counted


def place_of(address: str) -> str:
    """What counts as one address: an IPv4 address, or the /64 that one subscriber has (RFC 6177)."""
    try:
        parsed = ipaddress.ip_address(address.split("%")[0])
    except ValueError:
        return address[:64]
    if isinstance(parsed, ipaddress.IPv6Address):
        mapped = parsed.ipv4_mapped
        return str(mapped) if mapped else str(ipaddress.ip_network((parsed, 64), strict=False))
    return str(parsed)


def pair_of(name: str, address: str) -> Pair:
    """What counts as one name from one address."""
    return name.strip().casefold()[:100], place_of(address)


class Tries:
    """A stranger who guesses keeps nobody out but themselves: what waits is a name from an address; and an address, but
    for names that have signed in well from there before. known: those.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic, known: Iterable[Pair] = ()) -> None:
        self._clock, self._lock = clock, threading.Lock()
        # number of tries, the last one [s]
        self._pairs: OrderedDict[Pair, tuple[int, float]] = OrderedDict()
        self._places: OrderedDict[str, tuple[int, float]] = OrderedDict()
        self._known: OrderedDict[Pair, None] = OrderedDict.fromkeys(known)

    def begin(self, name: str, address: str) -> float:
        """Count a try before it is made: 0 where it may be made, else the seconds to wait, and it is not counted."""
        now, pair = self._clock(), pair_of(name, address)
        with self._lock:
            _forget(self._pairs, now)
            _forget(self._places, now)
            wait = _wait(self._pairs.get(pair), FREE, now)
            if pair not in self._known:
                wait = max(wait, _wait(self._places.get(pair[1]), FREE_OF_ADDRESS, now))
            if wait > 0:
                return wait
            _count(self._pairs, pair, now)
            if pair not in self._known:
                _count(self._places, pair[1], now)
        return 0.0

    def good(self, name: str, address: str) -> None:
        """The try was right: this name from this address starts anew and is known there, and the try is none of the
        address's failed ones.
        """
        pair = pair_of(name, address)
        with self._lock:
            self._pairs.pop(pair, None)
            if pair not in self._known and pair[1] in self._places:
                many, last = self._places[pair[1]]
                self._places[pair[1]] = many - 1, last
            self._known[pair] = None
            self._known.move_to_end(pair)
            while len(self._known) > MOST_KEPT:
                self._known.popitem(last=False)


def _wait(pair: tuple[int, float] | None, free: int, now: float) -> float:
    """The seconds that are left of the wait after so many tries."""
    if pair is None or pair[0] < free:
        return 0.0
    return max(0.0, pair[1] + min(LONGEST_S, WAIT_S * 2.0 ** min(pair[0] - free, 10)) - now)


def _count(tries: OrderedDict[T, tuple[int, float]], of: T, now: float) -> None:
    tries[of] = tries.get(of, (0, now))[0] + 1, now
    tries.move_to_end(of)


def _forget(tries: OrderedDict[T, tuple[int, float]], now: float) -> None:
    """Drop what is old; of very many the oldest."""
    while tries and (len(tries) > MOST_KEPT or now - next(iter(tries.values()))[1] > FORGOTTEN_S):
        tries.popitem(last=False)
