"""Long work: each in a process of its own, seen by any page, and stopped on request.

A process is started anew (spawned, not forked), and kept warm for the next task. A job belongs to
the workbench, not to a page: it goes on when the page is left, and a page that comes back finds it.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path
from typing import Any

from drypoint.app.faults import NotFound, PageError, as_json
from drypoint.app.worker import KINDS, work
from drypoint.errors import DrypointError

WAITING, RUNNING, DONE, STOPPED, FAILED = "waiting", "running", "done", "stopped", "failed"
OVER = (DONE, STOPPED, FAILED)
#: A process that does not stop by itself within this time is ended; results are whole anyway.
GRACE_S = 10.0
_KEPT = 50


@dataclass(frozen=True)
class Job:
    """One piece of work at one moment."""

    id: str
    kind: str
    study: str
    state: str = WAITING
    stage: str = ""
    done: int = 0
    total: int = 0
    words: str = ""
    outcome: dict[str, Any] | None = None
    error: dict[str, Any] | None = None
    started: float = field(default_factory=time.time)
    ended: float | None = None

    @property
    def over(self) -> bool:
        """Whether nothing more will happen."""
        return self.state in OVER

    def values(self) -> dict[str, Any]:
        """The same as plain values."""
        return {**self.__dict__}


class _Hand:
    """A process for work, and this end of its pipe."""

    def __init__(self, root: Path | None) -> None:
        context = multiprocessing.get_context("spawn")
        here, there = context.Pipe()
        self.pipe: Connection = here
        self.process: SpawnProcess = context.Process(target=work, args=(there, root), daemon=True)
        self.process.start()
        there.close()

    def end(self) -> None:
        if self.process.is_alive():
            self.process.terminate()
            self.process.join(2.0)
        if self.process.is_alive():
            self.process.kill()
        with contextlib.suppress(OSError):  # closed by another thread already
            self.pipe.close()


class Jobs:
    """All work of a workbench. ``hands`` is how many pieces run at the same time; their processes
    open files inside ``root`` only."""

    def __init__(self, hands: int = 2, root: Path | None = None) -> None:
        self._root = root
        self._slots = threading.Semaphore(hands)
        self._lock = threading.RLock()
        self._changed = threading.Condition(self._lock)
        self._jobs: dict[str, Job] = {}
        self._busy: dict[str, _Hand] = {}
        self._to_stop: set[str] = set()
        self._warm: list[_Hand] = []
        self._turn: dict[str, threading.Lock] = {}
        self._observers: set[Callable[[Job], None]] = set()
        self._closed = False

    def start(self, kind: str, key: str, study: Path, options: dict[str, Any]) -> Job:
        """Begin a piece of work. One study has one piece of a kind: an earlier one that still
        runs is stopped, since what it works on is no longer what counts."""
        if kind not in KINDS:
            raise PageError(f"There is no work “{kind}”.", remedy="Known: " + ", ".join(KINDS))
        job = Job(secrets.token_hex(8), kind, key)
        with self._lock:
            if self._closed:
                raise PageError("The workbench is closing.")
            for old in self._jobs.values():
                if old.study == key and old.kind == kind and not old.over:
                    self.stop(old.id)
            self._jobs[job.id] = job
            for old in [j for j in self._jobs.values() if j.over][:-_KEPT]:
                del self._jobs[old.id]
            turn = self._turn.setdefault(key, threading.Lock())
        thread = threading.Thread(target=self._carry, args=(job.id, study, options, turn))
        thread.daemon = True
        thread.start()
        return job

    def get(self, job: str) -> Job:
        """A piece of work by its id."""
        with self._lock:
            if job not in self._jobs:
                raise NotFound(
                    "This piece of work is not known.",
                    remedy="The workbench was started again since. Start the work anew; what "
                    "was finished of it is kept.",
                )
            return self._jobs[job]

    def of(self, key: str) -> list[Job]:
        """All work on a study, oldest first."""
        with self._lock:
            return [j for j in self._jobs.values() if j.study == key]

    def stop(self, job: str) -> Job:
        """Ask a piece of work to stop."""
        with self._lock:
            found = self.get(job)
            if found.over or job in self._to_stop:
                return found
            self._to_stop.add(job)
            hand = self._busy.get(job)
            if hand is None:
                return self._set(job, state=STOPPED, ended=time.time())
            # Under the lock, so that it never reaches the next task of the same process.
            with contextlib.suppress(OSError):
                hand.pipe.send("stop")
        timer = threading.Timer(GRACE_S, self._insist, args=(job,))
        timer.daemon = True
        timer.start()
        return self.get(job)

    def wait(self, job: str, timeout_s: float = 60.0) -> Job:
        """A piece of work when it is over (for tests and scripts)."""
        with self._changed:
            self._changed.wait_for(lambda: self.get(job).over, timeout_s)
            return self.get(job)

    def observe(self, observer: Callable[[Job], None]) -> Callable[[], None]:
        """Call ``observer`` with every change, from any thread; returns what ends that."""
        with self._lock:
            self._observers.add(observer)

        def leave() -> None:
            with self._lock:
                self._observers.discard(observer)

        return leave

    def warm_up(self) -> None:
        """Have one process ready, so that the first piece of work begins at once."""
        with self._lock:
            if not self._warm and not self._closed:
                self._warm.append(_Hand(self._root))

    def close(self) -> None:
        """End all processes. Results that were being written stay as they were before."""
        with self._lock:
            self._closed = True
            hands = [*self._warm, *self._busy.values()]
            self._warm = []
        for hand in hands:
            hand.end()

    def _carry(self, job: str, study: Path, options: dict[str, Any], turn: threading.Lock) -> None:
        with turn, self._slots:
            with self._lock:
                if self.get(job).over or self._closed:
                    return
                hand = self._hand()
                self._busy[job] = hand
                kind = self._set(job, state=RUNNING, stage="starting").kind
            whole = False
            try:
                hand.pipe.send((kind, str(study), options))
                whole = self._listen(job, hand)
            except (EOFError, OSError):
                self._lost(job)
            finally:
                with self._lock:
                    del self._busy[job]
                    self._to_stop.discard(job)
                    keep = whole and not self._closed and not self._warm
                    if keep:
                        self._warm.append(hand)
                if not keep:
                    hand.end()

    def _listen(self, job: str, hand: _Hand) -> bool:
        """Take what the process tells until the work is over."""
        while True:
            message = hand.pipe.recv()
            what = message[0]
            if what == "step":
                _, stage, done, total, words = message
                self._set(job, stage=stage, done=done, total=total, words=words)
            elif what == "done":
                self._set(job, state=DONE, outcome=message[1], ended=time.time())
                return True
            else:
                state = STOPPED if what == "stopped" else FAILED
                self._set(job, state=state, error=as_json(message[1]), ended=time.time())
                return True

    def _lost(self, job: str) -> None:
        if job in self._to_stop:
            self._set(job, state=STOPPED, ended=time.time())
            return
        error = DrypointError(
            "The process that did the work has ended before it was done; earlier results are "
            "unchanged.",
            remedy="Memory may have run out. Close other programs, and start it again.",
        )
        self._set(job, state=FAILED, error=as_json(error), ended=time.time())

    def _insist(self, job: str) -> None:
        with self._lock:
            hand = self._busy.get(job)
        if hand is not None:
            hand.process.terminate()

    def _hand(self) -> _Hand:
        while self._warm:
            hand = self._warm.pop()
            if hand.process.is_alive():
                return hand
            hand.end()
        return _Hand(self._root)

    def _set(self, job: str, **changes: Any) -> Job:
        with self._changed:
            if job not in self._jobs:
                return Job(job, "", "", **changes)
            new = replace(self._jobs[job], **changes)
            self._jobs[job] = new
            observers = list(self._observers)
            self._changed.notify_all()
        for observer in observers:
            observer(new)
        return new
