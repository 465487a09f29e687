"""Contrasts that answer to one change and to nothing smoother, at every place and scale.

In a window of w bins to each side of a place, with -1 < u < 1 along it: a step, sign(u), and a
kink, |u|, both made orthogonal to 1, u and u^2 and to each other. A straight or evenly bent
background gives them nothing.

The noise of a contrast is not modelled but taken from the same contrast elsewhere in the segment:
whatever colour the noise has is in it.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Half-widths of the windows, in bins.
SCALES = np.array([6, 12, 24, 48], dtype=np.int64)


@njit(cache=True, nogil=True, error_model="numpy")
def orthonormal(rows: Floats) -> None:
    """Gram and Schmidt in place, twice over; a row that the ones before it span becomes zero."""
    m, n = rows.shape
    for a in range(m):
        for _ in range(2):
            for b in range(a):
                dot = 0.0
                for i in range(n):
                    dot += rows[a, i] * rows[b, i]
                for i in range(n):
                    rows[a, i] -= dot * rows[b, i]
        size = 0.0
        for i in range(n):
            size += rows[a, i] * rows[a, i]
        size = np.sqrt(size)
        for i in range(n):
            rows[a, i] = rows[a, i] / size if size > 1e-9 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def shapes(w: int) -> tuple[Floats, Floats]:
    """Step and kink for a half-width of w bins, of unit length."""
    n = 2 * w
    basis = np.empty((5, n))
    for i in range(n):
        u = (i + 0.5) / w - 1.0
        basis[0, i] = 1.0
        basis[1, i] = u
        basis[2, i] = u * u
        basis[3, i] = 1.0 if u > 0.0 else -1.0
        basis[4, i] = abs(u)
    orthonormal(basis)
    return basis[3], basis[4]


@njit(cache=True, nogil=True, error_model="numpy")
def all_contrasts(y: Floats, scales: Ints) -> Floats:
    """Step and kink of a series, shape (scales, 2, bins + 1): place c lies between bins c - 1 and
    c. 0 where the window does not fit."""
    n = len(y)
    out = np.zeros((len(scales), 2, n + 1))
    for j in range(len(scales)):
        w = scales[j]
        if 2 * w > n // 2:
            continue
        step, kink = shapes(w)
        for c in range(w, n - w + 1):
            a = 0.0
            b = 0.0
            for i in range(2 * w):
                a += step[i] * y[c - w + i]
                b += kink[i] * y[c - w + i]
            out[j, 0, c] = a
            out[j, 1, c] = b
    return out


@njit(cache=True, nogil=True, error_model="numpy")
def _size(T: Floats, share: float, room: Floats) -> float:
    """Robust deviation of values about zero: the larger of what the median of |T| says, and what
    its upper ``share`` does (a restless stretch has more of large values)."""
    n = len(T)
    for i in range(n):
        room[i] = abs(T[i])
    part = room[:n]
    part.sort()
    upper = part[min(n - 1, int((1.0 - share) * n))] / ndtri_upper(0.5 * share)
    return max(1.4826 * part[n // 2], upper)


@njit(cache=True, nogil=True)
def ndtri_upper(p: float) -> float:
    """Normal deviate with the upper tail p, 0 < p <= 0.25 (Hastings' approximation
    [abramowitz1964], 26.2.23; error below 5e-4)."""
    t = np.sqrt(-2.0 * np.log(p))
    top = 2.515517 + 0.802853 * t + 0.010328 * t * t
    return float(t - top / (1.0 + 1.432788 * t + 0.189269 * t * t + 0.001308 * t * t * t))


@njit(cache=True, nogil=True, error_model="numpy")
def _local(T: Floats, first: int, last: int, w: int, out: Floats) -> None:
    """Robust size of T[first:last] over half of it, at five places, and lines between; never
    below half of that over all."""
    n = last - first
    room = np.empty(n)
    half = max(n // 2, 1)
    # One change shows in about two windows' width of places, which must not count as noise.
    share = min(0.5, max(0.1, 2.5 * w / half))
    least = 0.5 * _size(T[first:last], share, room)
    places = 5
    value = np.empty(places)
    for p in range(places):
        middle = p * (n - 1) // (places - 1)
        a = max(0, min(middle - n // 4, n - half))
        value[p] = max(_size(T[first + a : first + min(n, a + half)], share, room), least)
    for i in range(first, last):
        at = (i - first) / max(n - 1, 1) * (places - 1)
        p = min(int(at), places - 2)
        out[i] = value[p] + (at - p) * (value[p + 1] - value[p])


@njit(cache=True, nogil=True, error_model="numpy")
def deviates(T: Floats, scales: Ints, low: int, high: int) -> tuple[Floats, Floats]:
    """Normal deviates of all contrasts whose windows lie in bins low to high, and their noise.

    Parameters
    ----------
    T : array, shape (m, 2, bins + 1)
        From :func:`all_contrasts`.
    scales : array of int, shape (m,)
    low, high : int

    Returns
    -------
    z, s : array, shape (m, 2, bins + 1)
        0 and NaN elsewhere. The noise is known from few independent windows, so that Student's t is
        turned into a normal deviate by Wallace's formula [wallace1959]. From one scale to the next
        noise grows at most by the factor before it: what grows more is the change itself.
    """
    m = T.shape[0]
    z = np.zeros(T.shape)
    s = np.full(T.shape, np.nan)
    for j in range(m):
        w = scales[j]
        first = low + w
        last = high - w + 1
        if last - first < 1 or (j == 0 and last - first < 8):
            continue
        told = last - first >= 4 * w or j == 0
        dof = max(10.0, 2.0 * (high - low) / min(w, scales[min(1, m - 1)]))
        for k in range(2):
            if told:
                _local(T[j, k], first, last, w, s[j, k])
            for c in range(first, last):
                if j > 0:
                    shorter = s[j - 1, k, c]
                    # Growth with the scale falls off: at most that of the step before.
                    most = shorter * shorter / s[j - 2, k, c] if j > 1 else 2.0 * shorter
                    own = s[j, k, c] if told else shorter
                    s[j, k, c] = max(shorter, min(own, most))
                if s[j, k, c] > 0.0:
                    t = T[j, k, c] / s[j, k, c]
                    v = np.sqrt(dof * np.log1p(t * t / dof)) * (8 * dof + 1) / (8 * dof + 3)
                    z[j, k, c] = v if t > 0.0 else -v
    return z, s


@njit(cache=True, nogil=True, error_model="numpy")
def _poisson(n: float, length: float, total: float, whole: float) -> float:
    """n ln of the rate on a stretch over the rate on the whole."""
    return n * np.log(n / length / (total / whole)) if n > 0.0 else 0.0


@njit(cache=True, nogil=True, error_model="numpy")
def rate_gains(counts: Floats, windows: Ints, low: int, high: int) -> Floats:
    """Gain in log-likelihood of a burst rate that changes at a place, shape (bins + 1,).

    Poisson counts; the stretches to both sides reach as far as each of ``windows`` (bins) or the
    segment's ends allow; the best over sizes and windows.
    """
    m, n = counts.shape
    out = np.zeros(n + 1)
    total = np.zeros(n + 1)
    for q in range(m):
        for i in range(n):
            total[i + 1] = total[i] + counts[q, i]
        if total[high] == total[low]:
            continue
        for w in windows:
            for c in range(low + 2, high - 1):
                a = max(low, c - w)
                b = min(high, c + w)
                left = total[c] - total[a]
                right = total[b] - total[c]
                gain = _poisson(left, c - a, left + right, b - a)
                gain += _poisson(right, b - c, left + right, b - a)
                out[c] = max(out[c], gain)
    return out
