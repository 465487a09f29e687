"""Kernels that cut a record at the corners of its polygon and name the pieces.

The pieces are named by what the controlled signal does (rise, fall, stay) and by what came
before. Kinds are those of :class:`drypoint.records.segments.Kind`.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle, middle_of_lowest
from drypoint.records.dips import compliance_of, dips_of, followed, without_strays

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

APPROACH, LOADING, HOLD, UNLOADING, DRIFT_HOLD = 0, 1, 2, 3, 4
#: Samples below which a stretch before contact is no approach.
LEAST_APPROACH = 8
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
    return _merged(edges, out)


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
    whole, kind = _merged(edges, plain)
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
    return _merged(out[: n + 1].copy(), kinds[:n].copy())


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
def _cut(
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
def _merged(edges: Ints, trend: Ints) -> tuple[Ints, Ints]:
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
    return _merged(corners, trend)


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
        edges, trend = _merged(joined, trends)
    return edges, trend


@njit(cache=True, nogil=True)
def control_of(force: Floats, depth: Floats, tolerance: float, sf: float, sh: float) -> int:
    """1 (depth control) where the force falls far while the depth stays; otherwise 0.

    Under depth control the force relaxes in the hold. Under force control a falling force means
    elastic recovery, at the compliance of the unloading. Where noise hides the difference the
    answer is 0: then both signals have the same corners. ``sf`` and ``sh`` are the noise of both.
    """
    n = len(force)
    top = -np.inf
    for i in range(1, n - 1):
        top = max(top, min(force[i - 1], max(force[i], force[i + 1])))
    deep = -np.inf
    for i in range(1, n - 1):
        deep = max(deep, min(depth[i - 1], max(depth[i], depth[i + 1])))
    # Compliance of the unloading between 0.9 and 0.5 of the largest force.
    a = n - 1
    while a > 0 and force[a] < 0.9 * top:
        a -= 1
    b = a
    while b < n and force[b] > 0.5 * top:
        b += 1
    if b >= n or not force[a] > force[b] or not depth[a] > depth[b]:
        return 0
    give = (depth[a] - depth[b]) / (force[a] - force[b])
    flat = max(0.0005 * deep, 3.0 * sh)
    near = max(tolerance * top, 6.0 * sf)
    count_h = 0
    count_f = 0
    last = -1
    for i in range(n):
        if force[i] > top - near:
            count_f += 1
        if depth[i] > deep - flat and force[i] > 0.5 * top:
            count_h += 1
            last = i
    if last < 0:
        return 0
    k = max(0, last - 4)
    drop = top - middle(force[k : last + 1])
    recovered = (deep - middle(depth[k : last + 1])) / give
    if count_h > 5 and count_h > 1.5 * count_f and drop > 1.5 * max(recovered, 0.0) + near:
        return 1
    return 0


@njit(cache=True, nogil=True)
def _contact_in(f: Floats) -> int:
    """Samples of ``f``, from its start to the end of the first loading, that lie before contact."""
    n = len(f)
    k = max(LEAST_APPROACH, n // 16)
    if n < 2 * k:
        return 0
    first = f[:k]
    base = middle(first)
    top = np.max(f)
    s = max(noise_of(first), 1e-12 * abs(top))
    rise = middle(first[k // 2 :]) - middle(first[: k // 2])
    if rise > 8.0 * s / np.sqrt(k) + 2e-4 * (top - base):
        return 0  # rising from the first sample on
    floor = base + max(5.0 * max(s, 1.4826 * middle(np.abs(first - base))), 1e-4 * (top - base))
    at = 0
    for i in range(n):
        if f[i] <= floor:
            at = i + 1
    return at


@njit(cache=True, nogil=True)
def _starts_in_contact(f: Floats) -> bool:
    """Whether a nearly flat first piece is the foot of a steadily growing load."""
    n = len(f)
    k = n // 8
    if k < 4 or n < 24:
        return False
    s = noise_of(f)
    early = middle(f[k // 2 : k]) - middle(f[: k // 2])
    t = n // 3
    d1 = middle(f[t : 2 * t]) - middle(f[:t])
    d2 = middle(f[2 * t :]) - middle(f[t : 2 * t])
    return early > 8.0 * s / np.sqrt(k) and d1 > 4.0 * s / np.sqrt(t) and d2 > 1.2 * d1


@njit(cache=True, nogil=True)
def _with_approach(force: Floats, edges: Ints, trend: Ints) -> tuple[Ints, Ints]:
    """Put the boundary between approach and first loading where the force leaves its floor."""
    m = len(trend)
    up = 0
    while up < m and trend[up] == 0:
        up += 1
    if up > 1 or up >= m or trend[up] != 1:
        return edges, trend
    e = edges[up + 1]
    if up == 1 and _starts_in_contact(force[: edges[1] + 1]):
        at = 0
    else:
        at = _contact_in(force[: e + 1])
        if at == 0 and up == 1:
            at = edges[1]  # a floor that is not flat: as the polygon has it
    if at >= e:
        return edges, trend
    if at < LEAST_APPROACH:
        keep = np.concatenate((edges[:1], edges[up + 1 :]))
        return keep, trend[up:].copy()
    keep = np.concatenate((edges[:1], np.array([at]), edges[up + 1 :]))
    return keep, np.concatenate((np.zeros(1, dtype=np.int64), trend[up:]))


@njit(cache=True, nogil=True)
def _still_under_depth_control(
    force: Floats, edges: Ints, trend: Ints, ftol: float
) -> tuple[Ints, Ints]:
    """Under depth control a stretch of even force after the first loading is a hold as well."""
    out = trend.copy()
    loaded = False
    for i in range(len(trend)):
        a, b = edges[i], edges[i + 1]
        if loaded and b - a >= 5 and abs(force[b] - force[a]) < ftol:
            out[i] = 0
        loaded = loaded or trend[i] == 1
    return _merged(edges, out)


@njit(cache=True, nogil=True)
def _name(force: Floats, edges: Ints, trend: Ints, tol: float) -> Ints:
    """Kind of each piece; levels are those of the force."""
    m = len(trend)
    kind = np.empty(m, dtype=np.int64)
    level = np.zeros(m)  # of what is flat
    for i in range(m):
        if trend[i] == 0:
            level[i] = middle(force[edges[i] : edges[i + 1] + 1])
    top = np.max(force)
    last_peak_piece = -1
    for i in range(m):
        if trend[i] == 1:
            last_peak_piece = i
    loaded = False
    unloaded = True
    for i in range(m):
        if trend[i] == 1:
            unloaded = False
            kind[i] = LOADING
            loaded = True
        elif trend[i] == -1:
            kind[i] = UNLOADING if loaded else APPROACH
            unloaded = unloaded or loaded
        elif not loaded:
            kind[i] = APPROACH
        elif unloaded and i > last_peak_piece and level[i] < 0.5 * top:
            kind[i] = DRIFT_HOLD
        else:
            kind[i] = HOLD
    # A flat low stretch in contact before the main loading is a drift hold as well.
    for i in range(m):
        if kind[i] == UNLOADING:
            break
        if kind[i] != HOLD or level[i] >= 0.2 * top:
            continue
        for j in range(i + 1, m):
            if kind[j] == LOADING and force[edges[j + 1]] > 4.0 * level[i]:
                kind[i] = DRIFT_HOLD
            if kind[j] == UNLOADING:
                break
    # A record that ends flat at no force has left the surface: that stretch is no drift hold.
    if m > 0 and kind[m - 1] == DRIFT_HOLD and abs(level[m - 1]) < 2.0 * tol:
        kind[m - 1] = UNLOADING
    return kind


@njit(cache=True, nogil=True)
def _refine(y: Floats, edges: Ints, kind: Ints, tol: float) -> None:
    """Move the start of each hold to the first sample at its level, and the start of each
    unloading to the last sample still at the top."""
    for i in range(1, len(kind)):
        before, e = kind[i - 1], edges[i]
        a = edges[i - 1]
        b = min(edges[i + 1], e + max(3, (edges[i + 1] - e) // 4))
        if kind[i] == HOLD and before == LOADING:
            z = edges[i + 1]
            tail = y[e + (z - e) // 3 : z + 1]
            low = middle(tail) - min(0.25 * tol, 3.5 * noise_of(tail) + 1e-6 * np.max(y))
            for j in range(a + (e - a) // 2, min(z, e + max(3, (e - a) // 50))):
                if y[j] >= low:
                    edges[i] = j
                    break
        elif kind[i] == UNLOADING and before == HOLD:
            tail = y[a + 2 * (e - a) // 3 : e + 1]
            level = middle(tail)
            floor = level - min(0.25 * tol, 3.5 * noise_of(tail) + 1e-6 * abs(level))
            last = e
            while last > a and y[last] < floor:
                last -= 1
            for j in range(e, b):
                if y[j] >= floor:
                    last = j
            edges[i] = last
        elif kind[i] == UNLOADING and before == LOADING:
            a = max(a, e - max(3, (e - a) // 4))
            edges[i] = a + int(np.argmax(y[a : b + 1]))


@njit(cache=True, nogil=True)
def _floor_of(force: Floats) -> float:
    """Median of the lowest fiftieth of the force."""
    n = max(3, len(force) // 50)
    return middle_of_lowest(force, min(n, len(force)), np.empty(len(force)))


@njit(cache=True, nogil=True)
def _segments_of(
    force: Floats, depth: Floats, control: int, tolerance: float, sf: float, sh: float
) -> tuple[Ints, Ints]:
    """Edges and kinds of one record whose noise is ``sf`` and ``sh``."""
    base = _floor_of(force)
    f = force - (base if base < 0.0 else 0.0)
    y = f if control == 0 else depth
    ftol = max(tolerance * np.max(f), 6.0 * sf)
    give = compliance_of(f, depth)
    if control == 0:
        edges, trend, tol = _cut(f, depth, sf, tolerance, give)
    else:
        edges, trend, tol = _cut(depth, f, sh, tolerance, 1.0 / give if give > 0.0 else 0.0)
    edges, trend = _with_approach(f, edges, trend)
    if control == 1:
        edges, trend = _still_under_depth_control(f, edges, trend, ftol)
    kind = _name(f, edges, trend, ftol)
    _refine(y, edges, kind, tol)
    return edges, kind


@njit(cache=True, nogil=True)
def cycles_of(kind: Ints, first: Ints) -> Ints:
    """Cycle of each segment: unloadings are counted from 1 in each test, 0 before the first
    loading. Segments of test t are ``first[t]:first[t + 1]``."""
    cycle = np.zeros(len(kind), dtype=np.int64)
    for t in range(len(first) - 1):
        now = 0
        fresh = True
        for i in range(first[t], first[t + 1]):
            if kind[i] == LOADING and fresh:
                now += 1
                fresh = False
            if kind[i] == UNLOADING:
                fresh = True
            cycle[i] = now
    return cycle


@njit(cache=True, nogil=True)
def find(
    force: Floats, depth: Floats, offsets: Ints, control: Ints, tolerance: float
) -> tuple[Ints, Ints, Ints, Ints, Ints]:
    """Test, kind, first and stop sample of every segment, and the control of every test.

    ``control`` holds 0 (force), 1 (depth) or -1 (to be found) for each test.
    """
    n_tests = len(offsets) - 1
    out: Ints = np.empty((16 * n_tests + 64, 4), dtype=np.int64)
    found = np.empty(n_tests, dtype=np.int64)
    count = 0
    for t in range(n_tests):
        a, b = offsets[t], offsets[t + 1]
        f = force[a:b]
        h = depth[a:b]
        c = control[t]
        sf, sh = noise_of(f), noise_of(h)
        if c < 0:
            c = control_of(f, h, tolerance, sf, sh)
        found[t] = c
        edges, kind = _segments_of(f, h, c, tolerance, sf, sh)
        while count + len(kind) > len(out):
            out = np.concatenate((out, np.empty_like(out)))
        fresh = True
        for i in range(len(kind)):
            stop = a + edges[i + 1] + (1 if i == len(kind) - 1 else 0)
            if not fresh and kind[i] == out[count - 1, 1]:
                out[count - 1, 3] = stop
                continue
            out[count, 0] = t
            out[count, 1] = kind[i]
            out[count, 2] = a + edges[i]
            out[count, 3] = stop
            count += 1
            fresh = False
    o = out[:count]
    return o[:, 0].copy(), o[:, 1].copy(), o[:, 2].copy(), o[:, 3].copy(), found
