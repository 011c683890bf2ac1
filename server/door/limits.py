"""Guesses are counted: who tries many wrong links or codes has to wait, and nobody tries codes by the thousand."""

from __future__ import annotations

from ipaddress import IPv6Address, ip_address, ip_network
from threading import Lock
from typing import TYPE_CHECKING

from cachetools import TTLCache

if TYPE_CHECKING:
    from starlette.requests import Request

WINDOW = 600  # s, as long as a short code lives
WRONG_MOST = 10  # wrong guesses from one address in a window
# All addresses together. Of the 2^40 codes, with a hundred alive, a stranger has one chance in ten million a window.
WRONG_MOST_BY_ALL = 1000
ADDRESSES_MOST = 10_000


class TooManyGuesses(Exception):
    """Somebody guessed too often. seconds: until they may try again."""

    def __init__(self, seconds: int) -> None:
        super().__init__(seconds)
        self.seconds = seconds


class Guesses:
    """The wrong guesses of the last minutes, for one process."""

    def __init__(self) -> None:
        self._wrong: TTLCache[str, list[int]] = TTLCache(ADDRESSES_MOST, WINDOW)
        self._by_all: TTLCache[str, list[int]] = TTLCache(1, WINDOW)
        self._lock = Lock()

    def check(self, request: Request) -> None:
        """Raises TooManyGuesses where it is enough."""
        with self._lock:
            own = self._wrong.get(address_of(request), [0])[0]
            if own >= WRONG_MOST or self._by_all.get("", [0])[0] >= WRONG_MOST_BY_ALL:
                raise TooManyGuesses(WINDOW)

    def wrong(self, request: Request) -> None:
        """Count a guess that was wrong. A window begins with its first."""
        with self._lock:
            for counts, key in ((self._wrong, address_of(request)), (self._by_all, "")):
                counts.setdefault(key, [0])[0] += 1


def address_of(request: Request) -> str:
    """Whose request it is. A home has a whole /64 of IPv6 addresses, and counts as one."""
    host = request.client.host if request.client is not None else ""
    try:
        address = ip_address(host.partition("%")[0])
    except ValueError:
        return host
    return str(ip_network((address, 64), strict=False)) if isinstance(address, IPv6Address) else host
