"""Connections: how long a client may take, and how many may be open.

uvicorn closes idle connections, but gives a client any time to send a request, and its limit on
connections refuses the newest, also that of the owner. Here a slow client is cut, and where too
many connections are open, the oldest one that has not shown the cookie makes room for the newest.
"""

from __future__ import annotations

import asyncio
import time
from collections import Counter
from dataclasses import dataclass, field
from typing import Any

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from drypoint.app.logins import network_of

#: Marks in its scope a request that came with the cookie.
LET_IN = "drypoint.let_in"


@dataclass(frozen=True)
class Limits:
    """Limits of connections.

    Parameters
    ----------
    head_s : float
        For the request line and headers, from the first moment on.
    body_s, body_rate : float
        For a body: seconds, and bytes per second that lengthen them.
    linger_s, linger_bytes : float, int
        For what is still sent after the answer.
    write_s : float
        For which an answer may wait for a client that does not read.
    most, most_of_one : int
        Open connections, in all and from one address.
    head_bytes : int
        Request line and headers.
    """

    head_s: float = 8.0
    body_s: float = 15.0
    body_rate: float = 20_000.0
    linger_s: float = 2.0
    linger_bytes: int = 16_000_000
    write_s: float = 30.0
    most: int = 128
    most_of_one: int = 64
    head_bytes: int = 16_384


LIMITS = Limits()
_LOOK_S = 0.5
HEAD, BODY, ANSWER, LINGER = "head", "body", "answer", "linger"


@dataclass
class Gate:
    """All connections of a server. ``shared`` are addresses of proxies, which bring many users."""

    limits: Limits = LIMITS
    shared: frozenset[str] = frozenset()
    lines: dict[Wire, None] = field(default_factory=dict)
    _watching: bool = False

    def enter(self, new: Wire) -> bool:
        """Count a connection in; whether it may stay. Another one may be cut for it."""
        self.lines[new] = None
        if not self._watching:
            self._watching = True
            new.loop.call_later(_LOOK_S, self._look)
        of_one = sum(line.address == new.address for line in self.lines)
        others = [line for line in self.lines if line is not new and not line.let_in]
        if of_one > self.limits.most_of_one and new.address not in self.shared:
            return self._make_room([x for x in others if x.address == new.address])
        if len(self.lines) > self.limits.most:
            count = Counter(line.address for line in others)
            most = max(count.values(), default=0)
            return self._make_room([x for x in others if count[x.address] == most])
        return True

    @staticmethod
    def _make_room(others: list[Wire]) -> bool:
        """Cut the one of these connections that is missed least; the oldest of its kind."""
        for stages in ((HEAD, LINGER), (BODY,), (ANSWER,)):
            for line in others:
                if line.stage in stages:
                    line.cut()
                    return True
        return False

    def _look(self) -> None:
        now = time.monotonic()
        for line in list(self.lines):
            line.check(now)
        self._watching = bool(self.lines)
        if self._watching:
            asyncio.get_running_loop().call_later(_LOOK_S, self._look)


class Wire(H11Protocol):
    """One connection."""

    gate: Gate
    address = ""

    def __init__(self, *given: Any, **named: Any) -> None:
        super().__init__(*given, **named)
        self.stage = HEAD
        self.since = time.monotonic()
        self.taken = 0
        self.stalled: float | None = None

    @property
    def let_in(self) -> bool:
        """Whether a request with the cookie is being answered."""
        answering = self.cycle is not None and not self.cycle.response_complete
        return bool(answering and self.scope.get(LET_IN))

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take the connection, where there is room."""
        super().connection_made(transport)
        self.address = network_of(self.client[0]) if self.client else ""
        if not self.gate.enter(self):
            self.cut()

    def connection_lost(self, exc: Exception | None) -> None:
        """Count the connection out."""
        self.gate.lines.pop(self, None)
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Take what was sent, and note the stage."""
        self.taken += len(data)
        super().data_received(data)
        self._mark()
        if self.stage == LINGER and self.taken > self.gate.limits.linger_bytes:
            self.cut()

    def on_response_complete(self) -> None:
        """Note that the answer is out."""
        super().on_response_complete()
        self._mark()

    def send_400_response(self, msg: str) -> None:
        """Answer what is no HTTP; where an answer has begun already, only end the connection."""
        if self.conn.our_state in (h11.IDLE, h11.SEND_RESPONSE) and self._unanswered():
            super().send_400_response(msg)
        else:
            self.cut()

    def _unanswered(self) -> bool:
        return self.cycle is None or self.cycle.response_complete

    def _mark(self) -> None:
        """Note the stage that the connection is in, and since when."""
        stage = self._stage()
        if stage != self.stage:
            self.stage, self.since, self.taken = stage, time.monotonic(), 0

    def _stage(self) -> str:
        answered = self._unanswered()
        if self.conn.their_state is h11.SEND_BODY:
            return LINGER if answered else BODY
        return HEAD if answered else ANSWER

    def check(self, now: float) -> None:
        """Cut the connection if its client takes too long."""
        limits, waited = self.gate.limits, now - self.since
        if self.flow.write_paused or self.transport.is_closing():
            self.stalled = self.stalled or now
            if now - self.stalled > limits.write_s:
                self.cut()
            return
        self.stalled = None
        if self.stage == BODY and self.flow.read_paused:
            self.since += _LOOK_S  # it is not the client that is slow
            return
        most = {
            HEAD: limits.head_s,
            BODY: limits.body_s + self.taken / limits.body_rate,
            LINGER: limits.linger_s,
        }.get(self.stage)
        if most is not None and waited > most:
            self.cut()

    def cut(self) -> None:
        """End the connection at once, without waiting for the client."""
        self.gate.lines.pop(self, None)
        self.transport.abort()


def wire_of(gate: Gate) -> type[Wire]:
    """The protocol for a server, with all its connections in one place."""
    return type("Wire", (Wire,), {"gate": gate})
