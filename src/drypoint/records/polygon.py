"""Kernels that name the pieces between the corners of a record.

The pieces are named by what the controlled signal does (rise, fall, stay) and by what came
before. Kinds are those of :class:`drypoint.records.segments.Kind`.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.medians import middle, middle_of_lowest
from drypoint.records.corners import cut, merged, noise_of
from drypoint.records.dips import compliance_of

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

APPROACH, LOADING, HOLD, UNLOADING, DRIFT_HOLD = 0, 1, 2, 3, 4
#: Samples below which a stretch before contact is no approach.
LEAST_APPROACH = 8


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
    return merged(edges, out)


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
        edges, trend, tol = cut(f, depth, sf, tolerance, give)
    else:
        edges, trend, tol = cut(depth, f, sh, tolerance, 1.0 / give if give > 0.0 else 0.0)
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
