"""A compiled loop that several processes need at the same time is compiled by one of them.

The cache of compiled code belongs to all processes, but those that begin together on an empty one
each compile the same loops, on cores that they share. Here a process that needs a loop waits for
the one that compiles it, and then loads it.
"""

from __future__ import annotations

import hashlib
import os
import threading
from pathlib import Path
from typing import Any

_held: dict[str, int] = {}


def install(folder: Path) -> None:
    """From now on this process compiles nothing that another one is compiling."""
    try:
        import fcntl
    except ImportError:  # no such locks: each compiles for itself
        return
    from numba.core.compiler_lock import global_compiler_lock
    from numba.core.dispatcher import Dispatcher

    folder.mkdir(parents=True, exist_ok=True)
    alone = Dispatcher.compile

    def compile_once(self: Any, sig: Any) -> Any:
        function = self.py_func
        name = f"{function.__module__}.{function.__qualname__}"
        # First the lock of this process, as in the library itself: two threads of one process
        # would wait for each other otherwise. Two processes cannot: no loop calls its caller.
        with global_compiler_lock:
            if _held.get(name) == threading.get_ident():  # it calls itself
                return alone(self, sig)
            place = folder / hashlib.sha256(name.encode()).hexdigest()[:24]
            lock = os.open(place, os.O_RDWR | os.O_CREAT, 0o600)
            try:
                fcntl.flock(lock, fcntl.LOCK_EX)
                _held[name] = threading.get_ident()
                return alone(self, sig)
            finally:
                _held.pop(name, None)
                os.close(lock)

    Dispatcher.compile = compile_once
