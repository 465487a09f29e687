"""What a detector looks at: of each channel its level and its spread, bin by bin, and its bursts.

    level    median of the samples in a bin
    spread   ln of the robust deviation of the samples in a bin
    bursts   places where the signal leaves its own level by many robust deviations
    jumps    places where the level jumps

Level and spread are those of the steady signal: bursts do not move them, so that they are evidence
of their own. Depths have no bursts. Bursts and jumps are counted: their rate may change.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.scratch.bins import Bins, gathered
from drypoint.scratch.level import Levelled

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

LATERAL, DEPTH, RESIDUAL = "lateral force", "depth under load", "residual depth"
FEWEST = 32  # bins
#: Sizes of bursts, in robust deviations, from which on they are counted (one count a size).
SIZES = np.array([5.0, 6.5, 8.5, 11.0, 15.0, 20.0, 27.0])
#: Sizes of jumps of a level from one bin to the next but one, in robust deviations.
JUMPS = np.array([4.5, 6.5, 10.0, 16.0])
TREND = 10  # bins to each side that tell the usual rise of a level
_CALM = 7  # bins whose median deviation is the usual one


@dataclass(frozen=True)
class Series:
    """One row of evidence of a channel, ``respect`` "level" or "spread": ``values`` (bins,),
    finite (what is unknown between neighbours is a straight line)."""

    channel: str
    respect: str
    values: Floats


@dataclass(frozen=True)
class Bursts:
    """Bursts or jumps of a channel (``respect``): ``counts`` (sizes, bins) of those at least as
    large as each of :data:`SIZES`, or :data:`JUMPS`."""

    channel: str
    respect: str
    counts: Floats


@dataclass(frozen=True)
class Evidence:
    """All that a detector sees of a track, and from which bin on."""

    series: tuple[Series, ...]
    bursts: tuple[Bursts, ...]


@njit(cache=True, nogil=True, error_model="numpy")
def middles(y: Floats, order: Ints, offsets: Ints) -> tuple[Floats, Floats]:
    """Median and robust deviation of the samples in each bin; NaN with fewer than three."""
    m = len(offsets) - 1
    mid = np.full(m, np.nan)
    scale = np.full(m, np.nan)
    most = 1
    for b in range(m):
        most = max(most, offsets[b + 1] - offsets[b])
    room = np.empty(most)
    for b in range(m):
        n = gathered(y, order, offsets[b], offsets[b + 1], room)
        if n < 3:
            continue
        part = room[:n]
        part.sort()
        mid[b] = 0.5 * (part[(n - 1) // 2] + part[n // 2])
        for i in range(n):
            part[i] = abs(part[i] - mid[b])
        part.sort()
        scale[b] = 1.4826 * 0.5 * (part[(n - 1) // 2] + part[n // 2])
    return mid, scale


@njit(cache=True, nogil=True, error_model="numpy")
def _usual(scale: Floats) -> Floats:
    """Median deviation of a bin and its neighbours."""
    m = len(scale)
    out = np.full(m, np.nan)
    room = np.empty(2 * _CALM + 1)
    for b in range(m):
        n = 0
        for k in range(max(0, b - _CALM), min(m, b + _CALM + 1)):
            if np.isfinite(scale[k]):
                room[n] = scale[k]
                n += 1
        if n > 0:
            part = room[:n]
            part.sort()
            out[b] = part[n // 2]
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def burst_counts(
    y: Floats, index: Ints, mid: Floats, usual: Floats, sizes: Floats, apart: int
) -> Floats:
    """Number of bursts in each bin, by size.

    A sample leaves the level when it is off the nearer of its own and its neighbours' medians by
    ``sizes[j]`` usual deviations (so that a step is no burst). Samples that leave within
    ``apart`` of each other are one burst, where it begins.
    """
    m = len(mid)
    out = np.zeros((len(sizes), m))
    last = np.full(len(sizes), -apart - 1)
    for i in range(len(y)):
        b = index[i]
        if b < 0 or not np.isfinite(y[i]) or not usual[b] > 0.0:
            continue
        off = abs(y[i] - mid[b])
        if off < sizes[0] * usual[b]:
            continue
        if b > 0 and np.isfinite(mid[b - 1]):
            off = min(off, abs(y[i] - mid[b - 1]))
        if b < m - 1 and np.isfinite(mid[b + 1]):
            off = min(off, abs(y[i] - mid[b + 1]))
        for j in range(len(sizes)):
            if off < sizes[j] * usual[b]:
                break
            if i - last[j] > apart:
                out[j, b] += 1.0
            last[j] = i
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def without_strays(y: Floats) -> Floats:
    """Values drawn in to what the five before or the five after allow: neither a stray bin nor two
    in a row are a change, a step stays a step. Allowed is three robust deviations beyond."""
    n = len(y)
    steps = np.abs(np.diff(y))
    steps.sort()
    room = 3.0 * 1.4826 * steps[len(steps) // 2] / np.sqrt(2.0)
    five = np.empty(5)
    middle = np.empty(n)
    for i in range(n):
        a = max(0, min(i - 2, n - 5))
        five[:] = y[a : a + 5]
        five.sort()
        middle[i] = five[2]
    out = np.empty(n)
    for i in range(n):
        left = middle[max(i - 3, 2)]
        right = middle[min(i + 3, n - 3)]
        out[i] = min(max(y[i], min(left, right) - room), max(left, right) + room)
    return out


def evidence(levelled: Levelled, voices: Sequence[str]) -> Evidence:
    """All series of a track, in the order of its channels; without those that do not vary.

    ``voices`` are the further channels that take part; case and underscores do not matter.
    """
    named = {plain_name(v) for v in voices}
    grid = levelled.bins
    bad = levelled.lifted
    series: list[Series] = []
    bursts: list[Bursts] = []
    levels: list[tuple[str, Floats]] = []

    def add(name: str, y: Floats, sharp: bool) -> None:
        if not np.isfinite(y).any():
            return
        mid, scale = middles(y, grid.order, grid.offsets)
        if _append(series, name, "level", mid):
            levels.append((name, filled(mid)))
        with np.errstate(divide="ignore", invalid="ignore"):
            _append(series, name, "spread", np.log(np.where(scale > 0, scale, np.nan)))
        if sharp and np.isfinite(scale).any():
            apart = max(int(np.median(grid.counts)), 1)
            counts = burst_counts(y, grid.index, mid, _usual(scale), SIZES, apart)
            if counts.any():
                bursts.append(Bursts(name, "bursts", counts))

    clean = np.where(bad | levelled.saturated, np.nan, levelled.F_l) if bad.any() or (
        levelled.saturated.any()
    ) else levelled.F_l  # fmt: skip
    add(LATERAL, clean, True)
    add(DEPTH, np.where(bad, np.nan, levelled.h_load) if bad.any() else levelled.h_load, False)
    if np.isfinite(levelled.h_residual).any():
        deep = at_bins(levelled.h_residual, grid)
        if _append(series, RESIDUAL, "level", deep):
            levels.append((RESIDUAL, filled(deep)))
    for name in levelled.extra:
        if plain_name(name) not in named:
            continue
        add(name, levelled.extra[name], True)
    for name, values in levels:
        counts = jump_counts(values)
        if counts.any():
            bursts.append(Bursts(name, "jumps", counts))
    return Evidence(tuple(series), tuple(bursts))


def plain_name(channel: str) -> str:
    """A channel's name as names are compared."""
    return " ".join(channel.replace("_", " ").lower().split())


def jump_counts(y: Floats) -> Floats:
    """Jumps of a level, (sizes, bins): where its rise over two bins differs from the usual rise
    nearby by more than the quietest eighths of the track allow; of neighbours the largest counts.
    """
    rise = y[2:] - y[:-2]
    step = np.abs(rise - running_median(rise, TREND))
    parts = np.array_split(step, 8)
    calm = 1.4826 * np.sort([float(np.median(p)) for p in parts])[1]
    top = np.zeros(len(y))
    if calm > 0:
        peak = step.copy()
        peak[:-1] = np.where(step[:-1] >= step[1:], peak[:-1], 0.0)
        peak[1:] = np.where(step[1:] > step[:-1], peak[1:], 0.0)
        top[1:-1] = peak / calm
    return np.array([top >= size for size in JUMPS], dtype=float)


def at_bins(y: Floats, grid: Bins) -> Floats:
    """The sample in the middle of each bin, for a channel that is already smooth within bins."""
    middle = (grid.offsets[:-1] + grid.offsets[1:]) // 2
    middle = np.minimum(middle, len(grid.order) - 1)
    return np.where(grid.counts > 0, y[grid.order[middle]], np.nan)


@njit(cache=True, nogil=True)
def running_median(y: Floats, half: int) -> Floats:
    """Median of each value and up to ``half`` to each side."""
    out = np.empty(len(y))
    for i in range(len(y)):
        part = y[max(0, i - half) : i + half + 1].copy()
        part.sort()
        out[i] = 0.5 * (part[(len(part) - 1) // 2] + part[len(part) // 2])
    return out


def filled(values: Floats) -> Floats:
    """Straight lines where a value is missing."""
    good = np.isfinite(values)
    at = np.arange(len(values))
    return values if good.all() else np.interp(at, at[good], values[good])


def _append(out: list[Series], channel: str, respect: str, values: Floats) -> bool:
    good = np.isfinite(values)
    if good.sum() < FEWEST or not np.ptp(values[good]) > 0:
        return False
    out.append(Series(channel, respect, without_strays(filled(values))))
    return True
