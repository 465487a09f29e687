"""Raw files read for the pages, in processes with limits on memory and time.

A file that ends its process, fills the memory or takes too long is refused with the reason, and the
others are read. The workbench itself opens none of them.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import threading
import time
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

from drypoint.app.memory import resident
from drypoint.app.reader import COMMAND_LINE, READINGS, Bounds, serve_readings
from drypoint.errors import DrypointError, RecordError, Where

#: Processes at the same time; files that may end one before the rest is given up.
_HANDS, _LOST = 2, 5
#: Seconds between looks at a process.
_EVERY_S = 0.05
#: Seconds in which a process must have started.
_START_S = 120.0


class _Ended(Exception):  # noqa: N818
    """A process was ended, or ended by itself: the file at which it was, and why."""

    def __init__(self, at: str, why: str) -> None:
        super().__init__(why)
        self.at, self.why = at, why


class _Process:
    def __init__(self, root: Path, bounds: Bounds) -> None:
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        self.pipe: Connection = here
        self.process: SpawnProcess = context.Process(
            target=serve_readings, args=(there, root, bounds), daemon=True
        )
        self.process.start()
        self.ready = False
        there.close()

    def end(self) -> None:
        if self.process.is_alive():
            self.process.kill()
            self.process.join(5.0)
        with contextlib.suppress(OSError):
            self.pipe.close()


class Readings:
    """Processes that read raw files inside ``root``.

    Parameters
    ----------
    root : Path
    memory : int
        Bytes that a process may fill beyond what the program itself takes.
    seconds : float
        Longest time that one file, or what follows the last one, may take.
    file_bytes : int
        Larger files are not opened.
    """

    def __init__(self, root: Path, *, memory: int, seconds: float, file_bytes: int) -> None:
        self._root, self._seconds = root, seconds
        self._bounds = Bounds(memory, file_bytes)
        self._slots = threading.Semaphore(_HANDS)
        self._lock = threading.Lock()
        self._idle: list[_Process] = []
        self._all: set[_Process] = set()
        self._closed = False

    def warm_up(self) -> None:
        """Have one process ready."""
        with self._lock:
            if not self._idle and not self._closed:
                self._idle.append(self._new())

    def close(self) -> None:
        """End all processes."""
        with self._lock:
            self._closed = True
            everyone, self._idle = list(self._all), []
        for one in everyone:
            one.end()

    def read(self, name: str, *given: Any) -> Any:
        """The outcome of a reading, one of :data:`drypoint.app.reader.READINGS`.

        Raises
        ------
        DrypointError
            As the reading does; or no process got through it.
        """
        assert name in READINGS
        refused: dict[str, str] = {}
        for _ in range(_LOST):
            try:
                with self._slots:
                    return self._once(name, given, refused)
            except _Ended as end:
                if not end.at or end.at in refused:
                    raise DrypointError(end.why, remedy=COMMAND_LINE) from end
                refused[end.at] = end.why
        names = ", ".join(Path(p).name for p in refused)
        raise RecordError(
            f"{len(refused)} files cannot be read within the limits of the pages: {names}.",
            where=Where(Path(next(iter(refused))).parent.name),
            remedy=f"Move them to another folder. {COMMAND_LINE}",
        )

    def _once(self, name: str, given: tuple[Any, ...], refused: dict[str, str]) -> Any:
        hand = self._take()
        whole = False
        try:
            hand.pipe.send((name, given, refused))
            kind, value = self._listen(hand)
            whole = kind in ("done", "failed")
        finally:
            if whole:
                with self._lock:
                    self._idle.append(hand)
            else:
                hand.end()
                with self._lock:
                    self._all.discard(hand)
        if kind == "failed":
            raise value
        return value

    def _listen(self, hand: _Process) -> tuple[str, Any]:
        """The outcome, while time and memory are watched."""
        at, since, before = "", time.monotonic(), 0
        try:
            while True:
                if hand.pipe.poll(_EVERY_S):
                    kind, value = hand.pipe.recv()
                    if kind in ("at", "ready"):
                        hand.ready = True
                        at, since = value or "", time.monotonic()
                        before = before or resident(hand.process.pid or 0)
                        continue
                    if kind == "memory":
                        raise _Ended(at, self._memory_words())
                    if kind == "fault":
                        raise _Ended(at, f"Reading ended with a fault of its own ({value}).")
                    return kind, value
                if time.monotonic() - since > (self._seconds if hand.ready else _START_S):
                    raise _Ended(
                        at,
                        f"Reading takes longer than {self._seconds:g} s, the limit of the pages.",
                    )
                if resident(hand.process.pid or 0) > before + self._bounds.memory and before:
                    raise _Ended(at, self._memory_words())
        except (EOFError, OSError):
            raise _Ended(at, f"{self._memory_words()} Its process ended.") from None

    def _memory_words(self) -> str:
        most = self._bounds.memory / 1e6
        return f"Reading takes more than {most:,.0f} MB of memory, the limit of the pages."

    def _take(self) -> _Process:
        with self._lock:
            if self._closed:
                raise DrypointError("The workbench is closing.")
            while self._idle:
                hand = self._idle.pop()
                if hand.process.is_alive():
                    return hand
                self._all.discard(hand)
            return self._new()

    def _new(self) -> _Process:
        hand = _Process(self._root, self._bounds)
        self._all.add(hand)
        return hand
