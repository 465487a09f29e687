"""Rows that do not know of each other, worked on by all cores.

Compiled loops that let other threads run get a stretch of rows each. A row is computed by itself,
so that numbers do not depend on how many threads there are.

The libraries of linear algebra have threads of their own, of which neither is true: their sums
depend on how many there are, and on a machine that is at work already they wait for each other.
Long work therefore holds them at one.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from itertools import pairwise
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

T = TypeVar("T")

#: Rows below which a stretch is not worth a thread of its own.
LEAST = 32

_here = threading.local()
_holds: list[Any] = []
_pool: list[ThreadPoolExecutor] = []
_lock = threading.Lock()


def cores() -> int:
    """Processor cores that this process may use."""
    try:
        return len(os.sched_getaffinity(0))
    except AttributeError:  # not on every system
        return os.cpu_count() or 1


@contextmanager
def threads(count: int) -> Iterator[None]:
    """At most so many threads for what this thread calls: 1 where others are at work already."""
    before = getattr(_here, "count", None)
    _here.count = count
    try:
        yield
    finally:
        _here.count = before


@contextmanager
def one_in_algebra() -> Iterator[None]:
    """One thread for the linear algebra of the whole process, until the last that asks is done."""
    import scipy.linalg  # noqa: F401  (its library must be there to be held)
    from threadpoolctl import threadpool_limits

    with _lock:
        _holds.append(threadpool_limits(1, user_api="blas") if not _holds else None)
    try:
        yield
    finally:
        with _lock:
            # Whoever came first holds the limits; they go when nobody is left.
            if len(_holds) == 1:
                _holds.pop().restore_original_limits()
            else:
                _holds.pop()


def _workers() -> ThreadPoolExecutor:
    with _lock:
        if not _pool:
            _pool.append(ThreadPoolExecutor(cores(), thread_name_prefix="rows"))
        return _pool[0]


if hasattr(os, "register_at_fork"):  # threads do not come along
    os.register_at_fork(after_in_child=_pool.clear)


def in_stretches(rows: int, work: Callable[[int, int], T], *, least: int = LEAST) -> list[T]:
    """``work(first, stop)`` for stretches that together are all rows, in their order.

    ``work`` must give for each row what it would give for that row alone.
    """
    count = getattr(_here, "count", None) or cores()
    count = max(1, min(count, rows // least))
    if count == 1:
        return [work(0, rows)]
    bounds = [rows * k // count for k in range(count + 1)]
    later = [_workers().submit(_alone, work, a, b) for a, b in pairwise(bounds[1:])]
    first = work(0, bounds[1])
    return [first, *(f.result() for f in later)]


def _alone(work: Callable[[int, int], T], first: int, stop: int) -> T:
    with threads(1):
        return work(first, stop)


def together(parts: list[tuple[NDArray[Any], ...]]) -> tuple[NDArray[Any], ...]:
    """Each array of all stretches, one behind the other."""
    if len(parts) == 1:
        return parts[0]
    return tuple(np.concatenate(columns) for columns in zip(*parts, strict=True))


__all__ = ["LEAST", "cores", "in_stretches", "one_in_algebra", "threads", "together"]
