"""Medians of long arrays, compiled: the same numbers as sorting, several times as fast."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_BINS = 256


@njit(cache=True, nogil=True, error_model="numpy", fastmath={"reassoc"})
def _copied(x: Floats, room: Floats) -> tuple[float, float, bool]:
    """Least and largest of x, and whether all are finite; x goes to ``room``."""
    low = x[0]
    high = x[0]
    zero = 0.0
    for i in range(len(x)):
        v = x[i]
        room[i] = v
        zero += v * 0.0
        low = v if v < low else low
        high = v if v > high else high
    return low, high, zero == 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def _below(x: Floats, value: float) -> tuple[int, float]:
    """How many are below a value, and the largest of these."""
    low = -np.inf
    count = 0
    for i in range(len(x)):
        less = x[i] < value
        count += less
        v = x[i] if less else -np.inf
        low = v if v > low else low
    return count, low


@njit(cache=True, nogil=True, error_model="numpy")
def _sort(x: Floats) -> None:
    """Sort few elements in place; where many are left they are equal, or of no common scale."""
    for i in range(1, len(x)):
        v = x[i]
        j = i
        while j > 0 and x[j - 1] > v:
            x[j] = x[j - 1]
            j -= 1
        x[j] = v


@njit(cache=True, nogil=True, error_model="numpy")
def middle_of(x: Floats, room: Floats, count: Ints) -> float:
    """Median of x (not empty); NaN where one is not finite.

    Elements are counted into even bins, those of the bin that holds the middle counted again,
    until few are left. ``room`` (length of x) and ``count`` (256) are room to work in.
    """
    n = len(x)
    low, high, finite = _copied(x, room)
    if not finite:
        return np.nan
    rank = n // 2
    k = n
    while k > 24:
        scale = _BINS / (high - low) if high > low else np.inf
        if not scale < 1e300:
            break
        count[:] = 0
        for i in range(k):
            count[min(int((room[i] - low) * scale), _BINS - 1)] += 1
        at = 0
        before = 0
        while before + count[at] <= rank:
            before += count[at]
            at += 1
        rank -= before
        kept = 0
        base = low
        low = np.inf
        high = -np.inf
        for i in range(k):
            v = room[i]
            if min(int((v - base) * scale), _BINS - 1) == at:
                room[kept] = v
                kept += 1
                low = min(low, v)
                high = max(high, v)
        if kept == k:
            break
        k = kept
    left = room[:k]
    _sort(left)
    upper = left[rank]
    if n % 2:
        return upper
    if rank > 0:
        return 0.5 * (left[rank - 1] + upper)
    below, under = _below(x, upper)
    return 0.5 * ((under if below == n // 2 else upper) + upper)


@njit(cache=True, nogil=True, error_model="numpy")
def middle(x: Floats) -> float:
    """Median of x (not empty)."""
    return middle_of(x, np.empty(len(x)), np.empty(_BINS, dtype=np.int64))
