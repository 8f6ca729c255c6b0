"""Slows down guessing: a handful of wrong passwords from one network, and not many more from all together.

A network is an IPv4 address, or the 64 leading bits of an IPv6 address, since whoever has one of those has all below.
Every try is counted before its password is looked at, so that many at once are counted too, and given back when it was
right. The limit over all networks keeps somebody with many addresses from guessing on; while it holds, nobody from
elsewhere can sign in, those who are signed in go on, and this machine itself is never shut out by it.
"""

from __future__ import annotations

import ipaddress
import threading
from collections import OrderedDict, deque

from shared.errors import Refused
from shared.units import MS_PER_MINUTE

ATTEMPTS = 5
ATTEMPTS_OF_ALL = 60
ATTEMPTS_WITHIN_MS = 5 * MS_PER_MINUTE
REMEMBERED_NETWORKS = 1000
TOO_MANY = "Too many wrong passwords {where}; wait five minutes and try again."


class SignInLimit:
    """Counts wrong passwords; its memory holds so many networks, of which the longest silent is forgotten first."""

    def __init__(self) -> None:
        self._tried: OrderedDict[str, deque[int]] = OrderedDict()
        self._of_all: deque[int] = deque(maxlen=ATTEMPTS_OF_ALL)
        self._lock = threading.Lock()

    def take(self, address: str, now_ms: int, *, from_here: bool = False) -> None:
        """Count a try; raises Refused when this network, or all together, have just tried too often."""
        network = network_of(address)
        with self._lock:
            _forget_before(self._of_all, now_ms - ATTEMPTS_WITHIN_MS)
            if len(self._of_all) >= ATTEMPTS_OF_ALL and not from_here:
                raise Refused(TOO_MANY.format(where="from everywhere together"))
            tried = self._tried.setdefault(network, deque(maxlen=ATTEMPTS))
            self._tried.move_to_end(network)
            while len(self._tried) > REMEMBERED_NETWORKS:
                self._tried.popitem(last=False)
            _forget_before(tried, now_ms - ATTEMPTS_WITHIN_MS)
            if len(tried) >= ATTEMPTS:
                raise Refused(TOO_MANY.format(where="from here"))
            tried.append(now_ms)
            self._of_all.append(now_ms)

    def give_back(self, address: str, taken_ms: int) -> None:
        """Forget a network that gave the right password, and its last try."""
        with self._lock:
            self._tried.pop(network_of(address), None)
            if taken_ms in self._of_all:
                self._of_all.remove(taken_ms)


def network_of(address: str) -> str:
    """Return what an address is counted under."""
    try:
        found = ipaddress.ip_address(address.split("%", maxsplit=1)[0])
    except ValueError:
        return "unknown"
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))


def _forget_before(tried: deque[int], oldest_ms: int) -> None:
    while tried and tried[0] < oldest_ms:
        tried.popleft()
