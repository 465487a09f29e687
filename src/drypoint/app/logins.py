"""Passwords that are tried: how fast, and how many wait, counted for each address.

Whoever floods the login from one address slows down that address only. A browser that has come in
before proves it with a cookie and is counted separately, so that its owner comes in even from the
address of an attacker. A lock-out never lasts longer than the delay.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import ipaddress
import secrets
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field

from drypoint.app.faults import PageError

#: Seconds that wrong passwords in a row cost: the first, and at most.
WAIT_S, LONGEST_WAIT_S = 0.5, 8.0
#: Wrong passwords are forgotten after this time.
FORGET_S = 300.0
#: Logins that may wait: from one address, and from all addresses that are not known.
MOST_WAITING, MOST_WAITING_IN_ALL = 4, 64
#: Addresses that are remembered.
_MOST_BUCKETS = 4096
_ID_BYTES = 12


class Busy(PageError):  # noqa: N818
    """Too many logins wait; this one was not tried."""

    status = 429


@dataclass
class _Bucket:
    wrong: int = 0
    last: float = -FORGET_S
    waiting: int = 0
    turn: asyncio.Lock = field(default_factory=asyncio.Lock)


@dataclass
class Logins:
    """Logins of one workbench; used in one event loop."""

    secret: bytes
    _buckets: dict[str, _Bucket] = field(default_factory=dict)
    _waiting: int = 0
    _strangers: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(2))
    _known: asyncio.Semaphore = field(default_factory=lambda: asyncio.Semaphore(1))

    async def attempt(self, address: str, known: str, fits: Callable[[], Awaitable[bool]]) -> bool:
        """Try a password.

        Parameters
        ----------
        address : str
            Network address that it comes from.
        known : str
            Cookie of a browser that came in before; empty or invalid otherwise.
        fits : callable
            Compares the password (slow).

        Raises
        ------
        Busy
            When too many logins wait; the password was not compared then.
        """
        mine = self._is_known(known)
        bucket = self._bucket(f"browser {known}" if mine else network_of(address))
        if bucket.waiting >= MOST_WAITING or (not mine and self._waiting >= MOST_WAITING_IN_ALL):
            raise Busy(
                "Too many wrong passwords came from this address; this one was not tried.",
                remedy=f"Wait {LONGEST_WAIT_S:.0f} s and try again. On the machine on which the "
                "workbench runs, use the opening address that it printed.",
            )
        bucket.waiting += 1
        self._waiting += not mine
        try:
            async with bucket.turn:
                await asyncio.sleep(_delay(bucket))
                async with self._known if mine else self._strangers:
                    right = await fits()
                bucket.wrong = 0 if right else bucket.wrong + 1
                bucket.last = time.monotonic()
                return right
        finally:
            bucket.waiting -= 1
            self._waiting -= not mine

    def new_known(self) -> str:
        """Cookie value for a browser that came in."""
        name = secrets.token_hex(_ID_BYTES)
        return f"{name}.{self._seal(name)}"

    def _is_known(self, value: str) -> bool:
        name, _, seal = value.partition(".")
        right = self._seal(name).encode()
        return hmac.compare_digest(seal.encode("utf-8", "replace"), right)

    def _seal(self, name: str) -> str:
        text = b"known browser " + name.encode("utf-8", "replace")
        return hmac.new(self.secret, text, hashlib.sha256).hexdigest()

    def _bucket(self, key: str) -> _Bucket:
        bucket = self._buckets.pop(key, None) or _Bucket()
        self._buckets[key] = bucket
        if len(self._buckets) > _MOST_BUCKETS:
            old = (k for k, b in self._buckets.items() if not b.waiting and k != key)
            self._buckets.pop(next(old, ""), None)
        return bucket


def _delay(bucket: _Bucket) -> float:
    """Seconds until the next password of a bucket is compared."""
    since = time.monotonic() - bucket.last
    if since > FORGET_S:
        bucket.wrong = 0
    if not bucket.wrong:
        return 0.0
    return max(0.0, min(WAIT_S * 2.0 ** min(bucket.wrong, 10), LONGEST_WAIT_S) - since)


def network_of(address: str) -> str:
    """An IPv4 address, or the /64 network of an IPv6 address, that one party commands."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped is not None:
            return str(ip.ipv4_mapped)
        if ip != ipaddress.IPv6Address("::1"):
            return str(ipaddress.ip_network((ip, 64), strict=False))
    return str(ip)
