"""Sudden events in a record: pop-in, pop-out, a step back of the depth, contact that was lost and
made again.

A jump is a change over L samples that is too large for the record around it. With y the signal
that the instrument does not control (depth under force control, force with its sign turned under
depth control), and r the larger of the mean rates of y over the w = max(4, 2 L) samples before and
after, the excess

    E = y[i + L] - y[i] - L r - (what the controlled signal explains)

must be above ``sigma`` times the noise of such differences, and above ``ratio`` times L |r|: a
jump is sudden. The noise is the record's own: a robust standard deviation of the change over L
samples about its neighbours, L = 1, 2, 4 ... up to a sixteenth of the segment, so that a jump is
found whether it takes one sample or fifty. A step back is a jump of the depth towards the surface
while the force rises (a slip of specimen or sensor, or a disturbance); force control only.
Segments are searched one by one, a few samples from
their ends; holds are not. The rule is our own; what it finds and what it misses is measured in
``benchmarks/bench_flags.py``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle
from drypoint.records.segments import DEPTH, Kind, Segments
from drypoint.reduction.correct import Corrected
from drypoint.reduction.options import FlagLimits
from drypoint.threads import in_stretches, together

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_IN, _OUT, _BACK = 0, 1, 2  # what is searched for
_MOST = 64  # jumps of one segment that are told apart
_LONGEST = 128  # samples that a jump may take
_PLACES = 400  # at most, for the noise of one lag
_MARGIN = 2  # samples at the start of a segment that may belong to the one before
_LOWEST = 0.05  # share of the segment's largest force above which unloading is searched
_STIFF = 3.0  # dF/dh of loading is at most about this many times F/h
_RUN = 3  # samples in a row that make a touch, or its end
_TOUCH, _LET_GO = 5.0, 2.0  # in standard deviations of the force
_EARLY = 0.2  # share of the largest force up to which contact may be lost


@dataclass(frozen=True)
class Jumps:
    """Jumps of each test, arrays of shape (n_tests,). ``count`` of them; ``force`` (N) and
    ``depth`` (m) just before the first, its ``size`` (m) under force control and the ``drop`` of
    force (N) under depth control; NaN where there is none."""

    count: Ints
    force: Floats
    depth: Floats
    size: Floats
    drop: Floats


@dataclass(frozen=True)
class Events:
    """Sudden events of each test. ``step_back`` are steps of the depth towards the surface under
    rising force (sizes positive). ``lost`` counts contacts that were lost before the last one,
    ``lost_force`` (N) and ``lost_depth`` (m) are the largest force and the depth of the first."""

    pop_in: Jumps
    pop_out: Jumps
    step_back: Jumps
    lost: Ints
    lost_force: Floats
    lost_depth: Floats


@njit(cache=True, nogil=True)
def _step_noise(y: Floats, a: int, b: int, lag: int) -> float:
    """Robust standard deviation of y[i + lag] - y[i] about its neighbours on both sides."""
    first, last = a + lag, b - 2 * lag
    if last - first < 4:
        return np.inf
    every = max(1, (last - first) // _PLACES)
    r = np.empty((last - first + every - 1) // every)
    for j in range(len(r)):
        i = first + j * every
        r[j] = abs(1.5 * (y[i + lag] - y[i]) + 0.5 * (y[i - lag] - y[i + 2 * lag]))
    # White noise gives sqrt(2/5), a random walk sqrt(2/3); the larger is the careful one.
    still = 0
    for j in range(len(r)):
        still += r[j] == 0.0
    if len(r) - still < 0.9 * len(r):  # readings repeated, or steps of the last digit
        moved = r[r > 0.0]
        return 0.82 / 1.645 * float(np.quantile(moved, 0.9)) if len(moved) > 0 else 0.0
    return 0.82 * 1.4826 * middle(r)


@njit(cache=True, nogil=True)
def _excess(
    y: Floats, x: Floats, i: int, lag: int, w: int, per_x: float
) -> tuple[float, float, float]:
    """Excess of the change over ``lag`` samples, the larger rate, and the mean rate."""
    left, right = (y[i] - y[i - w]) / w, (y[i + lag + w] - y[i + lag]) / w
    rate = max(left, right)
    x_rate = max((x[i] - x[i - w]) / w, (x[i + lag + w] - x[i + lag]) / w)
    driven = max(x[i + lag] - x[i] - lag * x_rate, 0.0) * per_x
    return y[i + lag] - y[i] - lag * rate - driven, max(abs(left), abs(right)), (left + right) / 2


@njit(cache=True, nogil=True)
def _put(found: Ints, size: Floats, n: int, i: int, lag: int, excess: float, noise: float) -> int:
    """Add a jump to those found, or put it in the place of the one it overlaps; their number."""
    hits, at = 0, -1
    for e in range(n):
        if i <= found[e, 0] + found[e, 1] + lag and i + lag >= found[e, 0] - lag:
            hits, at = hits + 1, e
    if hits == 0 and n < _MOST:
        at, n = n, n + 1
    elif hits != 1 or excess <= size[at]:
        return n
    elif lag > found[at, 1] and excess < 1.15 * size[at] + 2.0 * noise:
        return n  # the same jump, seen over more samples than it takes
    found[at, 0], found[at, 1], size[at] = i, lag, excess
    return n


@njit(cache=True, nogil=True)
def _jumps(
    y: Floats, x: Floats, per_x: Floats, a: int, b: int, grain: float, sigma: float, ratio: float,
    found: Ints, size: Floats,
) -> int:  # fmt: skip
    """Jumps of y upwards in [a, b): fills (sample, lag) and excess, returns their number."""
    n, lag = 0, 1
    while lag <= min(_LONGEST, max(1, (b - a) // 16)):
        w = max(4, 2 * lag)
        noise = _step_noise(y, a, b, lag)
        least = max(sigma * noise, 2.5 * grain)
        for i in range(a + w, b - lag - w):
            if y[i + lag] - y[i] <= least:
                continue
            e, rate, _ = _excess(y, x, i, lag, w, per_x[i])
            if e > least and e > ratio * lag * rate:
                n = _put(found, size, n, i, lag, e, noise)
        lag *= 2
    return n


@njit(cache=True, nogil=True)
def _grain(raw: Floats, a: int, b: int) -> float:
    """Smallest change between neighbours: the last digit, where the record is written in steps."""
    least = np.inf
    for i in range(a, b - 1):
        d = abs(raw[i + 1] - raw[i])
        if d > 0.0 and d < least:
            least = d
    return least if np.isfinite(least) else 0.0


@njit(cache=True, nogil=True)
def _size_of(y: Floats, i: int, lag: int) -> float:
    """Height of a jump: from the level before to the level after, less the usual progress."""
    w, m = max(4, 2 * lag), 4
    left, right = (y[i] - y[i - w]) / w, (y[i + lag + w] - y[i + lag]) / w
    before = np.mean(y[i - m + 1 : i + 1]) + left * (m - 1) / 2
    after = np.mean(y[i + lag : i + lag + m]) - right * (m - 1) / 2
    return float(after - before - lag * (left + right) / 2)


@njit(cache=True, nogil=True)
def _search(
    force: Floats, depth: Floats, raw: Floats, by_depth: bool, what: int, a: int, b: int,
    sigma: float, ratio: float,
) -> tuple[int, int, float]:  # fmt: skip
    """Jumps of one segment: their number, the first one's sample and size."""
    if b - a < 12:
        return 0, -1, np.nan
    f, h = force[a:b], depth[a:b]
    if by_depth:
        y, x = -f, -h
        per_x = _STIFF * np.maximum(f, 0.0) / np.maximum(h, 1e-12)
    else:
        sign = 1.0 if what == _IN else -1.0
        y, x = sign * h, sign * f
        per_x = np.maximum(h, 0.0) / np.maximum(f, 1e-12)
        if what == _BACK:  # a rising force explains no step back
            per_x[:] = 0.0
    found = np.empty((_MOST, 2), dtype=np.int64)
    size = np.empty(_MOST)
    n = _jumps(y, x, per_x, 0, b - a, _grain(raw, a, b), sigma, ratio, found, size)
    if n == 0:
        return 0, -1, np.nan
    e = int(np.argmin(found[:n, 0]))
    return n, a + found[e, 0], _size_of(y, found[e, 0], found[e, 1])


@njit(cache=True, nogil=True)
def _all_jumps(
    force: Floats, depth: Floats, raw_force: Floats, raw_depth: Floats, test: Ints, start: Ints,
    stop: Ints, down: NDArray[np.bool_], by_depth: NDArray[np.bool_], contact: Ints, n_tests: int,
    sigma: float, ratio: float,
) -> tuple[Ints, Ints, Floats]:  # fmt: skip
    """Count, first sample and first size by (what, test); segments come in order of time."""
    count = np.zeros((3, n_tests), dtype=np.int64)
    first = np.full((3, n_tests), -1, dtype=np.int64)
    size = np.full((3, n_tests), np.nan)
    for s in range(len(test)):
        t = test[s]
        a, b = max(start[s], contact[t] + 1) + _MARGIN, stop[s]
        if down[s] and b > a:
            low = _LOWEST * force[start[s]]
            k = a
            while k < b and force[k] > low:
                k += 1
            b = k
        raw = raw_force if by_depth[t] else raw_depth
        for d in (_IN, _OUT, _BACK):
            if down[s] != (d == _OUT) or (d == _BACK and by_depth[t]):
                continue
            n, i, jump = _search(force, depth, raw, by_depth[t], d, a, b, sigma, ratio)
            if n > 0 and first[d, t] < 0:
                first[d, t], size[d, t] = i, jump
            count[d, t] += n
    return count, first, size


@njit(cache=True, nogil=True)
def _lost_contacts(
    force: Floats, depth: Floats, offsets: Ints, noise: Floats
) -> tuple[Ints, Floats, Floats]:
    """Contacts that ended while the tip went on downwards, before a fifth of the largest force."""
    n = len(offsets) - 1
    lost = np.zeros(n, dtype=np.int64)
    top, where = np.full(n, np.nan), np.full(n, np.nan)
    for t in range(n):
        f, h = force[offsets[t] : offsets[t + 1]], depth[offsets[t] : offsets[t + 1]]
        if len(f) == 0:
            continue
        f_max = np.max(f)
        on, off = max(_TOUCH * noise[t], 1e-6 * f_max), max(_LET_GO * noise[t], 5e-7 * f_max)
        above, below, touching = 0, 0, False
        peak, at_peak, at_touch = 0.0, 0.0, 0.0
        for i in range(len(f)):
            if f[i] > _EARLY * f_max:
                break
            above = above + 1 if f[i] > on else 0
            below = below + 1 if f[i] < off else 0
            if not touching and above == _RUN:
                touching, peak, at_touch = True, 0.0, h[i - _RUN + 1]
            if touching and f[i] > peak:
                peak, at_peak = f[i], h[i]
            if touching and below == _RUN:
                touching = False
                if h[i] > at_peak:
                    if lost[t] == 0:
                        top[t], where[t] = peak, at_touch
                    lost[t] += 1
    return lost, top, where


def find_events(
    corrected: Corrected,
    segments: Segments,
    raw: tuple[Floats, Floats],
    limits: FlagLimits,
) -> Events:
    """Pop-ins, pop-outs, steps back and lost contacts of every test.

    Parameters
    ----------
    corrected : Corrected
    segments : Segments
    raw : pair of arrays, shape (n_samples,)
        Force and depth as written, any unit of the SI: their last digit is no jump.
    limits : FlagLimits

    Returns
    -------
    Events
    """
    rows = np.flatnonzero((segments.kind == Kind.LOADING) | (segments.kind == Kind.UNLOADING))
    by_depth = segments.control == DEPTH
    n = len(corrected.offsets) - 1
    test, start, stop = segments.test[rows], segments.start[rows], segments.stop[rows]
    down = segments.kind[rows] == Kind.UNLOADING
    raw_force, raw_depth = raw[0] * corrected.force_scale, raw[1] * corrected.depth_scale
    offsets, contact = corrected.offsets, corrected.zero.contact

    def some(a: int, b: int) -> tuple[NDArray[Any], ...]:
        mine, lo = slice(*np.searchsorted(test, [a, b])), slice(offsets[a], offsets[b])
        force, depth = corrected.force[lo], corrected.depth[lo]
        begin = offsets[a]
        jumps = _all_jumps(
            force, depth, raw_force[lo], raw_depth[lo], test[mine] - a, start[mine] - begin,
            stop[mine] - begin, down[mine], by_depth[a:b], contact[a:b] - begin, b - a,
            limits.pop_in_sigma, limits.pop_in_ratio,
        )  # fmt: skip
        count, first, size = (v.T for v in jumps)
        lost = _lost_contacts(
            force, depth, offsets[a : b + 1] - begin, corrected.zero.noise_force[a:b]
        )
        return count, np.where(first >= 0, first + begin, -1), size, *lost

    count, first, size, lost, top, where = together(in_stretches(n, some))
    # Without contact there is nothing to find.
    none = corrected.zero.how == -1
    pop_in, pop_out, back = (
        _as_jumps(corrected, count[:, d], first[:, d], size[:, d], by_depth, none)
        for d in (_IN, _OUT, _BACK)
    )
    return Events(
        pop_in, pop_out, back, np.where(none, 0, lost), np.where(none, np.nan, top),
        np.where(none, np.nan, where),
    )  # fmt: skip


def _as_jumps(
    corrected: Corrected,
    count: Ints,
    first: Ints,
    size: Floats,
    by_depth: NDArray[np.bool_],
    none: NDArray[np.bool_],
) -> Jumps:
    there = (count > 0) & ~none
    at = np.where(there, first, 0)

    def of(values: Floats, where: NDArray[np.bool_]) -> Floats:
        return np.where(where, values, np.nan)

    empty = not len(corrected.force)
    force = np.full(len(count), np.nan) if empty else of(corrected.force[at], there)
    depth = np.full(len(count), np.nan) if empty else of(corrected.depth[at], there)
    return Jumps(
        np.where(there, count, 0), force, depth,
        of(size, there & ~by_depth), of(size, there & by_depth),
    )  # fmt: skip
