"""Kernels that cut a record at the corners of its polygon, and no noise into pieces.

Corners are the largest distances from the chord, applied again and again. A noisy record is
smoothed first, and what it shows beyond is borne out by the other signal
(:mod:`drypoint.records.dips`).
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle
from drypoint.records.dips import dips_of, followed, without_strays

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: A record is noisy where this many standard deviations of its noise exceed the tolerance.
_NOISY = 8.0
#: Tolerance of a noisy record, in standard deviations of the smoothed signal; the second where the
#: noise is slow. Two extremes of white noise lie so far apart in fewer than 1 of 10,000 holds
#: (``benchmarks/bench_segments.py``).
_EXTREMES, _EXTREMES_SLOW = 8.5, 15.0
#: The same about the flat stretches of a record whose noise does not set the tolerance.
_EXTREMES_CLEAN = 8.0
#: Spreads of the depth that bear out a change in such a record.
_SURE = 3.0
#: Fewest samples for which the noise can be told from the shape of the record.
_SHORT = 200
#: Half-width of the running median and mean that smooth a noisy record: one sample in a thousand,
#: between these bounds.
_NARROWEST, _WIDEST, _PER_WIDTH = 2, 8, 1000
#: Share of white noise that a running median and mean of 2 w + 1 samples leave, times the root of
#: that number (simulated, w = 2 to 8); growth with the lag that chance gives white noise.
_LEFT, _GROWTH_OF_WHITE = 0.95, 1.35
#: Places at which differences are taken, at most; longest lag as a share of the signal; fewest
#: samples of a flat stretch.
_PLACES, _LONGEST, _FEW = 2000, 40, 24


@njit(cache=True, nogil=True)
def noise_of(y: Floats) -> float:
    """Noise of a slowly changing signal, robust, same unit as y.

    From its second or its third differences, whichever say less: a curve sampled at few points
    has second differences of its own.
    """
    n = len(y)
    if n < 8:
        return 0.0
    d2 = np.empty(n - 2)
    d3 = np.empty(n - 3)
    for i in range(n - 2):
        d2[i] = (y[i + 2] - y[i + 1]) - (y[i + 1] - y[i])
    for i in range(n - 3):
        d3[i] = abs(d2[i + 1] - d2[i])
    for i in range(n - 2):
        d2[i] = abs(d2[i])
    return 1.4826 * min(middle(d2) / np.sqrt(6.0), middle(d3) / np.sqrt(20.0))


@njit(cache=True, nogil=True)
def _slow_noise(y: Floats) -> tuple[float, float]:
    """Noise of a signal between neighbours and at longer lags, from second differences; robust.

    Neighbouring samples do not show slow noise (autocorrelated, 1/f). The lag is doubled, up
    to a fortieth of the signal, as long as the noise grows more and more slowly,
    and no faster than a random walk; what grows faster and faster is the signal's own shape.
    """
    n = len(y)
    lag, first, noise, most = 1, 0.0, 0.0, np.sqrt(2.0)
    while 3 * lag < n and (lag == 1 or lag <= n // _LONGEST):
        every = max(1, (n - 3 * lag) // _PLACES)
        second = np.empty((n - 3 * lag + every - 1) // every)
        third = np.empty_like(second)
        for j in range(len(second)):
            i = j * every
            one = y[i + 2 * lag] - 2.0 * y[i + lag] + y[i]
            two = y[i + 3 * lag] - 2.0 * y[i + 2 * lag] + y[i + lag]
            second[j], third[j] = abs(two), abs(two - one)
        found = 1.4826 * min(middle(second) / np.sqrt(6.0), middle(third) / np.sqrt(20.0))
        if lag == 1:
            first = found
        elif found > (1.15 * most + 0.03) * noise:
            break
        else:
            most = min(most, max(found / noise, 1.0))
        noise = max(noise, found)
        if noise == 0.0:
            break
        lag *= 2
    return first, noise


@njit(cache=True, nogil=True)
def _smoothed(y: Floats) -> Floats:
    """Running median, then running mean; narrower towards the ends."""
    n = len(y)
    half = min(max(_NARROWEST, n // _PER_WIDTH), _WIDEST)
    first = np.empty(n)
    for i in range(n):
        w = min(half, i, n - 1 - i)
        first[i] = middle(y[i - w : i + w + 1])
    out = np.empty(n)
    for i in range(n):
        w = min(half, i, n - 1 - i)
        out[i] = np.mean(first[i - w : i + w + 1])
    return out


@njit(cache=True, nogil=True)
def _about_line(y: Floats) -> float:
    """Robust standard deviation of a stretch about its least-squares line."""
    n = len(y)
    if n < 6:
        return 0.0
    x = np.arange(n) - 0.5 * (n - 1)
    rest = y - np.mean(y) - np.sum(x * y) / np.sum(x * x) * x
    return 1.4826 * middle(np.abs(rest))


@njit(cache=True, nogil=True)
def _around(y: Floats, edges: Ints, i: int, wide: float) -> tuple[int, int]:
    """First and last of the pieces around piece ``i`` up to the next piece that changes by more
    than four tolerances."""
    lo, hi = i, i
    while lo > 0 and abs(y[edges[lo]] - y[edges[lo - 1]]) < 4.0 * wide:
        lo -= 1
    while hi + 2 < len(edges) and abs(y[edges[hi + 2]] - y[edges[hi + 1]]) < 4.0 * wide:
        hi += 1
    return lo, hi


@njit(cache=True, nogil=True)
def _wander(y: Floats, edges: Ints, trend: Ints, i: int, lo: int, hi: int) -> float:
    """Robust standard deviation of the flat stretches among the pieces ``lo`` to ``hi`` around
    piece ``i``; of all in between where they are shorter than the piece; about its own line where
    large changes lie on both sides."""
    n = 0
    for j in range(lo, hi + 1):
        if trend[j] == 0:
            n += edges[j + 1] - edges[j]
    if hi == lo:
        return _about_line(y[edges[i] : edges[i + 1] + 1])
    if n < max(edges[i + 1] - edges[i], _FEW):
        part = y[edges[lo] : edges[hi + 1]]
        return 1.4826 * middle(np.abs(part - middle(part)))
    flat = np.empty(n)
    n = 0
    for j in range(lo, hi + 1):
        if trend[j] == 0:
            m = edges[j + 1] - edges[j]
            flat[n : n + m] = y[edges[j] : edges[j + 1]]
            n += m
    return 1.4826 * middle(np.abs(flat - middle(flat)))


@njit(cache=True, nogil=True)
def _without_wander(
    y: Floats,
    other: Floats,
    edges: Ints,
    trend: Ints,
    wide: float,
    times: float,
    give: float,
    clean: bool,
) -> tuple[Ints, Ints]:
    """Take back small changes that the other signal does not follow, and where its noise leaves
    that open those no larger than the slow noise of the hold they lie in. In a ``clean`` record
    all changes at less than half the largest value stay."""
    m = len(trend)
    small, borne = np.zeros(m, dtype=np.bool_), np.zeros(m, dtype=np.int64)
    noise, half = np.zeros(2), 0.5 * np.max(y)
    sure = _SURE if clean else np.inf
    for i in range(1, m):
        a, b = edges[i], edges[i + 1]
        if trend[i] == 0 or abs(y[b] - y[a]) >= 4.0 * wide:
            continue
        if clean and min(y[a], y[b]) < half:
            continue
        if noise[0] == 0.0:
            noise[0], noise[1] = _slow_noise(other)
        lo, hi = _around(y, edges, i, wide)
        borne[i] = followed(y, other, a, b, edges[lo], edges[hi + 1], give, noise, sure)
        small[i] = abs(y[b] - y[a]) < times * _wander(y, edges, trend, i, lo, hi)
    out = trend.copy()
    for i in range(1, m):
        if borne[i] < 0 or (small[i] and borne[i] == 0 and not _with_partner(trend, borne, i)):
            out[i] = 0
    return merged(edges, out)


@njit(cache=True, nogil=True)
def _with_partner(trend: Ints, borne: Ints, i: int) -> bool:
    """Whether the change before or after piece ``i``, flat pieces aside, goes the other way and
    is borne out."""
    for way in (-1, 1):
        j = i + way
        while 0 <= j < len(trend) and trend[j] == 0:
            j += way
        if 0 <= j < len(trend) and trend[j] == -trend[i] and borne[j] > 0:
            return True
    return False


@njit(cache=True, nogil=True)
def _with_dips(
    y: Floats, other: Floats, edges: Ints, trend: Ints, wide: float, noise: float, give: float
) -> tuple[Ints, Ints]:
    """Cut holds and loadings at partial unloadings that both signals show; where there are such,
    in the place of small changes that the polygon alone has found."""
    if give <= 0.0:
        return edges, trend
    plain = trend.copy()
    first, last = -1, -1
    for i in range(len(trend)):
        dy = y[edges[i + 1]] - y[edges[i]]
        if abs(dy) < 4.0 * wide:
            plain[i] = 0
        if plain[i] == 1 and first < 0:
            first = edges[i]
        if plain[i] == -1 and -dy > 0.3 * np.max(y):
            last = edges[i]
    if first < 0 or last <= first:
        return edges, trend
    whole, kind = merged(edges, plain)
    out = np.empty(len(edges) + 3 * 64 * len(kind), dtype=np.int64)
    kinds = np.empty(len(out), dtype=np.int64)
    n = 0
    for i in range(len(kind)):
        found = np.empty((0, 3), dtype=np.int64)
        if first <= whole[i] < last and kind[i] >= 0:
            found = dips_of(y, other, whole, kind, i, noise, give)
        start = n
        out[n], kinds[n] = whole[i], kind[i]
        n += 1
        for s, low, e in found:
            if s <= out[n - 1] or e >= whole[i + 1] - 1:
                continue
            if kind[i] == 1 and not _falls(y, s, low, e):
                continue
            out[n], kinds[n] = s, -1
            out[n + 1], kinds[n + 1] = low, 1
            out[n + 2], kinds[n + 2] = e, kind[i]
            n += 3
        if n == start + 1:
            n = start
            for j in range(len(trend)):
                if whole[i] <= edges[j] < whole[i + 1]:
                    out[n], kinds[n] = edges[j], trend[j]
                    n += 1
    out[n] = edges[len(trend)]
    return merged(out[: n + 1].copy(), kinds[:n].copy())


@njit(cache=True, nogil=True)
def _falls(y: Floats, start: int, low: int, end: int) -> bool:
    """Whether a rising signal falls to ``low`` and does not only rise more slowly: by more than
    half of what the dip is below the line over it."""
    k = max(1, (low - start) // 4)
    at = np.mean(y[low - k : low + k + 1])
    before = np.mean(y[max(0, start - k) : start + k + 1])
    after = np.mean(y[end - k : end + k + 1])
    over = before + (after - before) * (low - start) / (end - start)
    return before - at > 0.5 * (over - at)


@njit(cache=True, nogil=True)
def cut(
    y: Floats, other: Floats, noise: float, tolerance: float, give: float
) -> tuple[Ints, Ints, float]:
    """Corner indices and trends of a signal whose noise is ``noise``, and the tolerance.

    The other signal follows it in an unloading by ``give``.

    Where the noise would set the tolerance, two of its extremes look like an unloading: such a
    record is smoothed first, and the tolerance is that of the smoothed signal.
    """
    top = np.max(np.abs(y))
    tol = max(tolerance * top, 6.0 * noise)
    near, far = _slow_noise(y)
    if len(y) < _SHORT or _NOISY * max(noise, far) <= tolerance * top:
        edges, trend = _pieces(y, tol, 2.0)
        edges, trend = _first_cycles(y, edges, trend, tol, tolerance)
        if len(y) < _SHORT:
            return edges, trend, tol
        before, wide = len(trend), tol
        edges, trend = _without_wander(y, other, edges, trend, tol, _EXTREMES_CLEAN, give, True)
        if len(trend) == before:
            return edges, trend, tol
    else:
        smooth = _smoothed(y)
        # What is white becomes less by smoothing, what is slow does not.
        half = min(max(_NARROWEST, len(y) // _PER_WIDTH), _WIDEST)
        white = _LEFT / np.sqrt(2.0 * half + 1.0) * near
        slow = np.sqrt(max(far**2 - (_GROWTH_OF_WHITE * near) ** 2, 0.0))
        times = _EXTREMES if slow == 0.0 else _EXTREMES_SLOW
        wide = max(tolerance * top, times * np.hypot(white, slow))
        edges, trend = _pieces(smooth, wide, 1.0)
        edges, trend = _without_wander(smooth, other, edges, trend, wide, times, give, False)
    plain, follower = without_strays(y, near), without_strays(other, _slow_noise(other)[0])
    edges, trend = _with_dips(plain, follower, edges, trend, wide, noise, give)
    return edges, trend, tol


@njit(cache=True, nogil=True)
def _corners(y: Floats, tol: float) -> Ints:
    n = len(y)
    keep = np.zeros(n, dtype=np.bool_)
    keep[0] = True
    keep[n - 1] = True
    stack = np.empty((n + 2, 2), dtype=np.int64)
    stack[0, 0] = 0
    stack[0, 1] = n - 1
    top = 1
    while top > 0:
        top -= 1
        a = stack[top, 0]
        b = stack[top, 1]
        if b - a < 2:
            continue
        slope = (y[b] - y[a]) / (b - a)
        worst = 0.0
        at = -1
        for i in range(a + 1, b):
            d = abs(y[i] - y[a] - slope * (i - a))
            if d > worst:
                worst = d
                at = i
        if worst > tol:
            keep[at] = True
            stack[top, 0] = a
            stack[top, 1] = at
            stack[top + 1, 0] = at
            stack[top + 1, 1] = b
            top += 2
    return np.flatnonzero(keep)


@njit(cache=True, nogil=True)
def merged(edges: Ints, trend: Ints) -> tuple[Ints, Ints]:
    """The same pieces with neighbours of like trend put together."""
    m = len(trend)
    out = np.empty(m + 1, dtype=np.int64)
    kinds = np.empty(m, dtype=np.int64)
    count = 0
    out[0] = edges[0]
    for i in range(m):
        if count > 0 and kinds[count - 1] == trend[i]:
            out[count] = edges[i + 1]
        else:
            kinds[count] = trend[i]
            count += 1
            out[count] = edges[i + 1]
    return out[: count + 1].copy(), kinds[:count].copy()


@njit(cache=True, nogil=True)
def _pieces(y: Floats, tol: float, small: float) -> tuple[Ints, Ints]:
    """Corner indices and the trend of each piece between them: 1, 0 or -1; like trends merged.

    A short reversal of less than ``small`` tolerances is no reversal.
    """
    corners = _corners(y, tol)
    m = len(corners) - 1
    trend = np.empty(m, dtype=np.int64)
    for i in range(m):
        dy = y[corners[i + 1]] - y[corners[i]]
        trend[i] = 1 if dy > tol else (-1 if dy < -tol else 0)
    # A flat bit shorter than a hundredth of the record between two pieces of one trend is no hold;
    # a reversal hardly above the tolerance inside a trend is noise or a small overshoot.
    n = len(y)
    for i in range(1, m - 1):
        if corners[i + 1] - corners[i] >= max(5, n // 100) or trend[i - 1] != trend[i + 1]:
            continue
        dy = abs(y[corners[i + 1]] - y[corners[i]])
        if trend[i - 1] != 0 and (trend[i] == 0 or dy < small * tol):
            trend[i] = trend[i - 1]
        elif trend[i - 1] == 0 and dy < small * tol:
            trend[i] = 0
    return merged(corners, trend)


@njit(cache=True, nogil=True)
def _first_cycles(
    y: Floats, edges: Ints, trend: Ints, tol: float, tolerance: float
) -> tuple[Ints, Ints]:
    """Look again, with a finer tolerance, at what comes before a low first peak."""
    for _ in range(12):
        m = len(trend)
        last = -1
        for i in range(1, m):
            if trend[i] == -1 and (trend[i - 1] == 1 or (i > 1 and trend[i - 2] == 1)):
                last = i
                break
        if last < 0 or last >= m - 1:
            break
        e = edges[last + 1]
        part = y[: e + 1].copy()
        fine = max(tolerance * np.max(np.abs(part)), 6.0 * noise_of(part))
        if fine > 0.5 * tol:
            break
        tol = fine
        edges_a, trend_a = _pieces(part, fine, 2.0)
        joined = np.concatenate((edges_a, edges[last + 2 :]))
        trends = np.concatenate((trend_a, trend[last + 1 :]))
        edges, trend = merged(joined, trends)
    return edges, trend
