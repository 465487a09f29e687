"""Kernels that find small partial unloadings in a record whose noise would hide them.

An unloading is seen twice: the force falls and the depth recovers, by the compliance of the
unloading. Noise of the force does not move the depth. At each of many lengths L both signals are
compared with themselves, the mean over L samples with the means over the L samples on both sides;
that takes out creep and any steady rise. Each difference is measured against its own spread in the
same record, so that no law of the noise is assumed: slow noise spreads the long differences.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Shortest length, and growth from one length to the next.
_LEAST, _GROWTH = 4, 1.4
#: A dip counts where chance makes it in fewer than exp(-``_CHANCE``) over the square of the number
#: of independent places (the square, since many overlap and several lengths are tried); each signal
#: must bend by ``_EACH`` spreads. Degrees of freedom of a spread for each independent place.
_CHANCE, _EACH, _FREE = 12.0, 2.2, 0.7
#: Spreads of the depth that the dip must be worth for the depth to have a say; where it has none,
#: exp(-``_ALONE``) is asked beyond.
_TELLS, _ALONE = 3.0, 6.0
#: Fall of the spread of white noise over three lengths.
_FALL = _GROWTH**-1.5
#: Smallest and largest recovery as a share of what the compliance of the unloading makes.
_SOFT, _STIFF = 0.25, 8.0
#: Spreads by which the depth would have to follow before its silence denies a change of the force;
#: what counts as silence, as a share of that.
_CLEAR, _SILENT = 1.5, 0.5
#: Places to a length at which the spread is taken.
_OVERLAP = 4
#: Most dips of a piece.
_MOST = 64


@njit(cache=True, nogil=True)
def compliance_of(force: Floats, depth: Floats) -> float:
    """Compliance of the unloading between 0.9 and 0.5 of the largest force; 0 where it has none."""
    n = len(force)
    top = -np.inf
    for i in range(1, n - 1):
        top = max(top, min(force[i - 1], max(force[i], force[i + 1])))
    a = n - 1
    while a > 0 and force[a] < 0.9 * top:
        a -= 1
    b = a
    while b < n and force[b] > 0.5 * top:
        b += 1
    if b >= n or not force[a] > force[b] or not depth[a] > depth[b]:
        return 0.0
    return (depth[a] - depth[b]) / (force[a] - force[b])


@njit(cache=True, nogil=True)
def _sums(y: Floats) -> Floats:
    out = np.zeros(len(y) + 1)
    mean = np.mean(y)
    for i in range(len(y)):
        out[i + 1] = out[i] + (y[i] - mean)
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _bends(sums: Floats, wide: int) -> Floats:
    """Mean over the outer two of three stretches of ``wide`` samples from each sample, less that
    over the middle one: positive in a dip."""
    out = np.empty(len(sums) - 3 * wide)
    for i in range(len(out)):
        outer = sums[i + wide] - sums[i] + sums[i + 3 * wide] - sums[i + 2 * wide]
        out[i] = (0.5 * outer - (sums[i + 2 * wide] - sums[i + wide])) / wide
    return out


@njit(cache=True, nogil=True)
def _spread(bends: Floats, edges: Ints, wide: int, chosen: NDArray[np.bool_]) -> float:
    """Spread of the bends over the chosen pieces, each about its own median or from one place to
    the next that does not overlap it, whichever is less: a curved piece has a course of its own.
    Infinite where the pieces are too short."""
    every = max(1, wide // _OVERLAP)  # places that overlap nearly whole say nothing new
    apart = (3 * wide + every - 1) // every
    total, pairs = 0, 0
    for j in range(len(edges) - 1):
        m = (edges[j + 1] - edges[j] - 3 * wide) // every + 1
        if chosen[j] and m > 0:
            total += m
            pairs += max(0, m - apart)
    if total < 2 * apart:
        return np.inf
    about, steps = np.empty(total), np.empty(pairs)
    at, to = 0, 0
    for j in range(len(edges) - 1):
        m = (edges[j + 1] - edges[j] - 3 * wide) // every + 1
        if not chosen[j] or m < 1:
            continue
        part = np.empty(m)
        for i in range(m):
            part[i] = bends[edges[j] + i * every]
        centre = middle(part)
        for i in range(m):
            about[at + i] = abs(part[i] - centre)
        at += m
        for i in range(m - apart):
            steps[to + i] = abs(part[i + apart] - part[i])
        to += max(0, m - apart)
    spread = 1.4826 * middle(about)
    if pairs > 2 * apart:
        spread = min(spread, 1.4826 / np.sqrt(2.0) * middle(steps))
    return spread


@njit(cache=True, nogil=True)
def _unlikely(t: float, free: float) -> float:
    """-ln of the chance of more than t spreads, when the spread has ``free`` degrees of freedom
    (leading term of Student's distribution; t**2 / 2 where they are many)."""
    return 0.5 * (free + 1.0) * math.log1p(t * t / free)


@njit(cache=True, nogil=True)
def dips_of(
    force: Floats, depth: Floats, edges: Ints, trend: Ints, piece: int, noise: float, give: float
) -> Ints:
    """First and last sample and the lowest one between, of each dip in one piece.

    ``noise`` is that of neighbouring readings of the force, ``give`` the compliance.
    """
    a, b = edges[piece], edges[piece + 1]
    sums_f, sums_h = _sums(force), _sums(depth)
    every, flat = np.ones(len(trend), dtype=np.bool_), trend == 0
    found = np.empty((_MOST, 4))
    count = 0
    wide = _LEAST
    held_f, held_h = np.zeros(3), np.zeros(3)
    while 3 * wide <= b - a:
        bends_f, bends_h = _bends(sums_f, wide), _bends(sums_h, wide)
        spread_f = min(_spread(bends_f, edges, wide, every), _spread(bends_f, edges, wide, flat))
        spread_h = min(_spread(bends_h, edges, wide, every), _spread(bends_h, edges, wide, flat))
        if not max(spread_f, spread_h) < np.inf:  # too long for a spread of its own
            spread_f, spread_h = held_f[2], held_h[2]
        # Three lengths shorter there are nearly three times as many places; no noise falls faster
        # from there on than white noise does.
        spread_f = max(spread_f, noise * np.sqrt(1.5 / wide), _FALL * held_f[0])
        spread_h = max(spread_h, _FALL * held_h[0])
        held_f[:2], held_h[:2] = held_f[1:], held_h[1:]
        held_f[2], held_h[2] = spread_f, spread_h
        if min(spread_f, spread_h) > 0.0:
            end = b - 3 * wide + 1
            level_f, level_h = middle(bends_f[a:end]), middle(bends_h[a:end])
            places = max(len(force) / (3.0 * wide), 4.0)
            free = _FREE * places * (1.0 if held_f[0] == 0.0 else 1.0 / _FALL**2)
            least = _CHANCE + 2.0 * np.log(places)
            # A ramp has a course and corners of its own: each place against the higher one of those
            # on both sides.
            beside = 3 * wide if trend[piece] != 0 else 0
            grown = 1.4 if beside else 1.0
            for i in range(a + beside, b - 3 * wide + 1 - beside):
                if beside:
                    level_f = max(bends_f[i - beside], bends_f[i + beside])
                    level_h = max(bends_h[i - beside], bends_h[i + beside])
                r_f = bends_f[i] - level_f
                if r_f < _EACH * grown * spread_f:
                    continue
                r_h = bends_h[i] - level_h
                t_f, t_h = r_f / (grown * spread_f), r_h / (grown * spread_h)
                due = give * r_f / (grown * spread_h)
                rare = _unlikely(t_f, free) - least
                if due > _TELLS:
                    if t_h < _EACH or not _SOFT <= t_h / due <= _STIFF:
                        continue
                    rare += _unlikely(t_h, free)
                elif t_h < due - _TELLS:
                    continue
                elif _EACH < t_h <= _STIFF * due:
                    rare += _unlikely(t_h, free)
                else:
                    rare -= _ALONE
                if rare > 0.0:
                    count = _entered(found, count, i, wide, rare)
        wide = max(wide + 1, int(wide * _GROWTH))
    out = np.empty((count, 3), dtype=np.int64)
    for k in range(count):
        out[k] = _ends(force, int(found[k, 0]), int(found[k, 1]), a, b)
    return out[np.argsort(out[:, 0])]


@njit(cache=True, nogil=True)
def _rise(y: Floats, a: int, b: int) -> float:
    """Change of a steady ramp from a to b, from the means of its first and last third."""
    third = (b - a) // 3
    if third < 2:
        return y[b] - y[a]
    far, near = np.mean(y[b - third + 1 : b + 1]), np.mean(y[a : a + third])
    return float((far - near) * (b - a) / (b - a + 1 - third))


@njit(cache=True, nogil=True)
def _turn(y: Floats, a: int, b: int, lo: int, hi: int) -> float:
    """Change from a to b less that of a steady rise: of what lies beside it where that is at least
    half as long, else of all from ``lo`` to ``hi`` where that is at least twice as long."""
    long = b - a
    rate, sides = 0.0, 0
    before, after = min(long, a - lo), min(long, hi - b)
    if 2 * before >= long:
        rate += _rise(y, a - before, a) / before
        sides += 1
    if 2 * after >= long:
        rate += _rise(y, b, b + after) / after
        sides += 1
    if sides == 0 and hi - lo >= 2 * long:
        half = (hi - lo) // 2
        rate, sides = (middle(y[hi - half : hi]) - middle(y[lo : lo + half])) / half, 1
    return _rise(y, a, b) - (rate / sides * long if sides else 0.0)


@njit(cache=True, nogil=True)
def followed(
    force: Floats,
    depth: Floats,
    a: int,
    b: int,
    lo: int,
    hi: int,
    give: float,
    noise: Floats,
    sure: float,
) -> int:
    """Whether the depth follows a small change of the force from a to b: 1 it does, by ``sure``
    spreads; -1 it would have to by the compliance ``give`` and does not; 0 its own noise leaves
    that open.

    ``noise`` is that of the depth, between neighbours and at long lags; from ``lo`` to ``hi``
    neither signal changes much.
    """
    if give <= 0.0:
        return 0
    due, seen = give * _turn(force, a, b, lo, hi), _turn(depth, a, b, lo, hi)
    slow = max(noise[1] ** 2 - (1.35 * noise[0]) ** 2, 0.0)
    spread = np.sqrt(noise[0] ** 2 * 9.0 / (b - a) + 3.0 * slow)
    if due * seen > 0.0 and abs(seen) > max(_SILENT * abs(due), sure * spread):
        return 1
    return -1 if abs(due) > _CLEAR * spread and seen / due < _SILENT else 0


@njit(cache=True, nogil=True)
def without_strays(y: Floats, noise: float) -> Floats:
    """The signal with readings that lie more than three ``noise`` from the running median of five
    set to that distance."""
    out = y.copy()
    for i in range(2, len(y) - 2):
        centre = middle(y[i - 2 : i + 3])
        out[i] = min(max(y[i], centre - 3.0 * noise), centre + 3.0 * noise)
    return out


@njit(cache=True, nogil=True)
def _entered(found: Floats, count: int, i: int, wide: int, z: float) -> int:
    """Enter a dip; of those that overlap the most distinct one stays."""
    for k in range(count):
        other, w = found[k, 0], found[k, 1]
        if i + 2 * wide > other + w and other + 2 * w > i + wide and z <= found[k, 2]:
            return count
    kept = 0
    for k in range(count):
        other, w = found[k, 0], found[k, 1]
        if not (i + 2 * wide > other + w and other + 2 * w > i + wide):
            found[kept] = found[k]
            kept += 1
    if kept < _MOST:
        found[kept, 0], found[kept, 1], found[kept, 2] = i, wide, z
        kept += 1
    return kept


@njit(cache=True, nogil=True)
def _ends(force: Floats, i: int, wide: int, a: int, b: int) -> Ints:
    """Start, lowest sample and end of a dip that stands out at ``i`` with length ``wide``: the
    polygon start, bottom, end that fits best by least squares."""
    lo, hi = max(a, i - wide // 2), min(b, i + 3 * wide + wide // 2)
    step = max(1, wide // 6)
    y = force[lo:hi] - np.mean(force[lo:hi])
    n = len(y)
    best = np.inf
    out = np.array([i + wide // 2, i + wide + wide // 2, i + 2 * wide + wide // 2])
    for s in range(0, n - 3, step):
        for e in range(s + 2 * step, n - 1, step):
            if e - s < wide // 2 or s > 2 * wide or e < wide:
                continue
            m = (s + e) // 2
            rest = _misfit(y, s, m, e)
            if rest < best:
                best = rest
                out[0], out[1], out[2] = lo + s, lo + m, lo + e
    return out


@njit(cache=True, nogil=True)
def _misfit(y: Floats, s: int, m: int, e: int) -> float:
    """Sum of squares about a line with a triangle from ``s`` over ``m`` to ``e``."""
    n = len(y)
    # Least squares in level, slope and depth of the triangle.
    a = np.zeros((3, 3))
    r = np.zeros(3)
    sq = 0.0
    v = np.empty(3)
    for k in range(n):
        v[0] = 1.0
        v[1] = (k - 0.5 * n) / n
        v[2] = 0.0
        if s < k <= m:
            v[2] = (k - s) / (m - s)
        elif m < k < e:
            v[2] = (e - k) / (e - m)
        for p in range(3):
            r[p] += v[p] * y[k]
            for q in range(3):
                a[p, q] += v[p] * v[q]
        sq += y[k] * y[k]
    for p in range(3):
        a[p, p] *= 1.0 + 1e-12
    x = np.linalg.solve(a, r)
    return sq - np.sum(x * r)
