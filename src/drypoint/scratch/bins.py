"""Stretches of a track: every channel in bins of equal length, robust against strays.

Everything after the levelling works on some hundreds of bins, not on the samples: their noise is
near normal, and work no longer grows with the sampling rate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

CLIP = 3.0  # standard deviations (robust) beyond which a sample is drawn in


@njit(cache=True, nogil=True, error_model="numpy")
def bin_of(x: Floats, low: float, width: float, count: int) -> Ints:
    """Bin of each sample, -1 outside or where x is NaN."""
    out = np.full(len(x), -1, dtype=np.int64)
    for i in range(len(x)):
        at = (x[i] - low) / width
        if at >= 0.0 and at < count:
            out[i] = int(at)
        elif at == count:
            out[i] = count - 1
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def grouped(bins: Ints, count: int) -> tuple[Ints, Ints]:
    """Samples in the order of their bins (in their own order within), and the bins' offsets."""
    offsets = np.zeros(count + 1, dtype=np.int64)
    for b in bins:
        if b >= 0:
            offsets[b + 1] += 1
    for b in range(count):
        offsets[b + 1] += offsets[b]
    order = np.empty(offsets[count], dtype=np.int64)
    at = offsets[:-1].copy()
    for i in range(len(bins)):
        b = bins[i]
        if b >= 0:
            order[at[b]] = i
            at[b] += 1
    return order, offsets


@njit(cache=True, nogil=True, error_model="numpy")
def _steady(v: Floats, n: int, room: Floats) -> tuple[float, float]:
    """Mean of n values with strays drawn in to three robust deviations, and that deviation."""
    room[:n] = v[:n]
    part = room[:n]
    part.sort()
    mid = 0.5 * (part[(n - 1) // 2] + part[n // 2])
    for i in range(n):
        room[i] = abs(v[i] - mid)
    part.sort()
    scale = 1.4826 * 0.5 * (part[(n - 1) // 2] + part[n // 2])
    total = 0.0
    for i in range(n):
        total += min(max(v[i], mid - CLIP * scale), mid + CLIP * scale) if scale > 0.0 else v[i]
    return total / n, scale


@njit(cache=True, nogil=True)
def gathered(y: Floats, order: Ints, start: int, stop: int, room: Floats) -> int:
    """Put the samples of a bin that are numbers into ``room``; how many they are."""
    n = 0
    for k in range(start, stop):
        s = y[order[k]]
        if np.isfinite(s):
            room[n] = s
            n += 1
    return n


@njit(cache=True, nogil=True, error_model="numpy")
def bin_means(y: Floats, order: Ints, offsets: Ints) -> tuple[Floats, Floats, Ints]:
    """Robust mean, robust deviation of the samples, and number of samples that are numbers."""
    m = len(offsets) - 1
    mean = np.full(m, np.nan)
    scale = np.full(m, np.nan)
    count = np.zeros(m, dtype=np.int64)
    most = 1
    for b in range(m):
        most = max(most, offsets[b + 1] - offsets[b])
    v = np.empty(most)
    room = np.empty(most)
    for b in range(m):
        n = gathered(y, order, offsets[b], offsets[b + 1], v)
        count[b] = n
        if n > 0:
            mean[b], scale[b] = _steady(v, n, room)
    return mean, scale, count


@dataclass(frozen=True)
class Bins:
    """Bins of equal length along a track: ``centre`` (m), and which samples they hold.

    ``index`` is the bin of each sample, -1 outside; ``order`` and ``offsets`` as from
    :func:`grouped`.
    """

    centre: Floats
    width: float
    index: Ints
    order: Ints
    offsets: Ints

    def spread(self, values: Floats) -> Floats:
        """The value of its bin for every sample, NaN outside."""
        out = np.append(values, np.nan)
        return np.asarray(out[self.index])

    @property
    def counts(self) -> Ints:
        """Samples in each bin."""
        return np.diff(self.offsets)

    def means(self, y: Floats) -> tuple[Floats, Floats, Ints]:
        """Robust mean, deviation and number of samples of a channel; NaN in empty bins."""
        return bin_means(y, self.order, self.offsets)


def bins(x: Floats, low: float, high: float, count: int) -> Bins:
    """``count`` bins between ``low`` and ``high``."""
    width = (high - low) / count
    index = bin_of(x, low, width, count)
    order, offsets = grouped(index, count)
    centre = np.asarray(low + width * (np.arange(count) + 0.5), dtype=np.float64)
    return Bins(centre, width, index, order, offsets)


def across(at: Floats, x: Floats, y: Floats) -> Floats:
    """Straight lines between bins that have a value, NaN outside of them."""
    good = np.isfinite(y)
    if not good.any():
        return np.full(at.shape, np.nan)
    half = 0.5 * (x[1] - x[0]) if len(x) > 1 else 0.0
    first, last = x[good][0] - half, x[good][-1] + half
    inside = (at >= first * (1 - 1e-12) - 1e-15) & (at <= last * (1 + 1e-12))
    return np.where(inside, np.interp(at, x[good], y[good]), np.nan)
