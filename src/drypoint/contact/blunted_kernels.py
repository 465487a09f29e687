"""Evaluates the tabulated law of a blunted tip: Numba kernels on plain arrays.

v = ln(X/X_H), the depth over Hertz's at the same force, is

    v(ln f, ln y, n, k) = s g(ln f, k) + w(q, ln y, n, k)

with f = F/(E* R^2), y = Y/E*, s = (3 f/4)^(1/3) (the root of Hertz's h/R), q = ln f - shear ln y
and k = (1 - 2 nu)/(1 - nu), to which the radial motion of the surface is proportional. g is the
elastic part, w the part due to yielding. Both are polynomials of second degree in k, of k - k_0 for
w, and uniform cubic B-splines in the rest, so that v has two continuous derivatives.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]
#: Elastic coefficients (3, m), coefficients of w (3, q, ln y, n), and numbers: start and step of
#: ln f, q, ln y, n, then shear, k_0, greatest depth.
Table = tuple[Floats, Floats, Floats]

_LN34 = math.log(0.75)
_MOST = 60


@njit(cache=True, error_model="numpy")
def basis(t: float, b: Floats, d: Floats) -> None:
    """The four uniform cubic B-splines at t in [0, 1], and their slopes, filled into b and d."""
    u = 1.0 - t
    b[0] = u * u * u / 6.0
    b[1] = (4.0 - 6.0 * t * t + 3.0 * t * t * t) / 6.0
    b[2] = (4.0 - 6.0 * u * u + 3.0 * u * u * u) / 6.0
    b[3] = t * t * t / 6.0
    d[0] = -0.5 * u * u
    d[1] = -2.0 * t + 1.5 * t * t
    d[2] = 2.0 * u - 1.5 * u * u
    d[3] = 0.5 * t * t


@njit(cache=True, error_model="numpy")
def cell(x: float, count: int) -> int:
    """Interval of a spline of ``count`` coefficients in which x (in steps) lies; the end ones
    reach further."""
    return min(max(int(np.floor(x)), 0), count - 4)


@njit(cache=True, error_model="numpy")
def fold(
    ln_y: float, n: float, k: float, first: int, last: int, table: Table, line: Floats
) -> None:
    """Coefficients of w on a line of constant ln y, n and k, from ``first`` to ``last`` (excluded).

    ``line`` (q, 4) is filled: w and its derivatives by ln y (at constant q), n and k.
    """
    _, w, at = table
    by, dy, bn, dn = np.empty(4), np.empty(4), np.empty(4), np.empty(4)
    y, m = (ln_y - at[4]) / at[5], (n - at[6]) / at[7]
    i, j = cell(y, w.shape[2]), cell(m, w.shape[3])
    basis(y - i, by, dy)
    basis(m - j, bn, dn)
    off = k - at[9]
    for q in range(first, last):
        value, slope_y, slope_n, slope_k = 0.0, 0.0, 0.0, 0.0
        for a in range(4):
            for b in range(4):
                first_k, second_k = w[1, q, i + a, j + b], w[2, q, i + a, j + b]
                c = w[0, q, i + a, j + b] + off * (first_k + off * second_k)
                value += by[a] * bn[b] * c
                slope_y += dy[a] * bn[b] * c
                slope_n += by[a] * dn[b] * c
                slope_k += by[a] * bn[b] * (first_k + 2.0 * off * second_k)
        line[q, 0], line[q, 1] = value, slope_y / at[5]
        line[q, 2], line[q, 3] = slope_n / at[7], slope_k


@njit(cache=True, error_model="numpy")
def along(
    ln_f: float, ln_y: float, k: float, table: Table, line: Floats, ends: Floats,
    b: Floats, d: Floats,
) -> None:  # fmt: skip
    """v and its derivatives by ln f, ln y, n and k, filled into ``ends`` (5,)."""
    elastic, _, at = table
    ends[:] = 0.0
    q = (ln_f - at[8] * ln_y - at[2]) / at[3]
    if q > 0.0:  # below, the solid has not yielded
        i = cell(q, line.shape[0])
        basis(q - i, b, d)
        for a in range(4):
            ends[0] += b[a] * line[i + a, 0]
            ends[1] += d[a] * line[i + a, 0]
            ends[2] += b[a] * line[i + a, 1]
            ends[3] += b[a] * line[i + a, 2]
            ends[4] += b[a] * line[i + a, 3]
        ends[1] /= at[3]
        ends[2] -= at[8] * ends[1]
    root = math.exp((ln_f + _LN34) / 3.0)
    x = max((ln_f - at[0]) / at[1], 0.0)  # the first coefficients are alike
    i = cell(x, elastic.shape[1])
    basis(x - i, b, d)
    g, slope, by_k = 0.0, 0.0, 0.0
    for a in range(4):
        c0, c1, c2 = elastic[0, i + a], elastic[1, i + a], elastic[2, i + a]
        c = c0 + k * (c1 + k * c2)
        g += b[a] * c
        slope += d[a] * c
        by_k += b[a] * (c1 + 2.0 * k * c2)
    ends[0] += root * g
    ends[1] += root * (g / 3.0 + slope / at[1])
    ends[4] += root * by_k


@njit(cache=True, error_model="numpy")
def depth_many(ln_f: Floats, ln_y: float, n: float, nu: float, table: Table) -> Floats:
    """X = h/R at forces ln f of one solid, and its derivatives: columns X, by ln f, ln y, n, nu.

    NaN where X is beyond the table. Ranges of ln y, n and nu are the caller's affair.
    """
    line, ends, b, d = np.empty((table[1].shape[1], 4)), np.empty(5), np.empty(4), np.empty(4)
    k = (1.0 - 2.0 * nu) / (1.0 - nu)
    fold(ln_y, n, k, 0, line.shape[0], table, line)
    out = np.empty((ln_f.shape[0], 5))
    for m in range(ln_f.shape[0]):
        along(ln_f[m], ln_y, k, table, line, ends, b, d)
        X = math.exp(ends[0] + (ln_f[m] + _LN34) * 2.0 / 3.0)
        if not (table[2][10] >= X):
            X = math.nan
        out[m, 0] = X
        out[m, 1] = X * (ends[1] + 2.0 / 3.0)
        out[m, 2] = X * ends[2]
        out[m, 3] = X * ends[3]
        out[m, 4] = -X * ends[4] / ((1.0 - nu) * (1.0 - nu))
    return out


@njit(cache=True, error_model="numpy")
def depth_each(ln_f: Floats, ln_y: Floats, n: Floats, nu: Floats, table: Table) -> Floats:
    """The same for samples each of a solid of its own: all arrays of shape (m,)."""
    line, ends, b, d = np.empty((table[1].shape[1], 4)), np.empty(5), np.empty(4), np.empty(4)
    out = np.empty((ln_f.shape[0], 5))
    at = table[2]
    for m in range(ln_f.shape[0]):
        k = (1.0 - 2.0 * nu[m]) / (1.0 - nu[m])
        i = cell((ln_f[m] - at[8] * ln_y[m] - at[2]) / at[3], line.shape[0])
        fold(ln_y[m], n[m], k, i, i + 4, table, line)
        along(ln_f[m], ln_y[m], k, table, line, ends, b, d)
        X = math.exp(ends[0] + (ln_f[m] + _LN34) * 2.0 / 3.0)
        if not (at[10] >= X):
            X = math.nan
        out[m, 0] = X
        out[m, 1] = X * (ends[1] + 2.0 / 3.0)
        out[m, 2] = X * ends[2]
        out[m, 3] = X * ends[3]
        out[m, 4] = -X * ends[4] / ((1.0 - nu[m]) * (1.0 - nu[m]))
    return out


@njit(cache=True, error_model="numpy")
def phi_many(ln_x: Floats, ln_y: float, n: float, nu: float, table: Table) -> Floats:
    """f = F/(E* R^2) at depths ln(h/R) of one solid: columns f, by ln x, ln y, n, nu.

    The inverse of :func:`depth_many` by Newton's rule, to rounding. Each search starts from the
    last answer, so sorted depths are fastest.
    """
    line, ends, b, d = np.empty((table[1].shape[1], 4)), np.empty(5), np.empty(4), np.empty(4)
    k = (1.0 - 2.0 * nu) / (1.0 - nu)
    fold(ln_y, n, k, 0, line.shape[0], table, line)
    out = np.empty((ln_x.shape[0], 5))
    top = math.log(table[2][10]) + 1e-9
    last_x, last_f, slope = math.nan, math.nan, 1.5
    for m in range(ln_x.shape[0]):
        x = ln_x[m]
        out[m, :] = math.nan
        if not (x <= top and x > -math.inf):
            continue
        ln_f = 1.5 * x - _LN34
        if abs(x - last_x) < 1.0:
            ln_f = last_f + slope * (x - last_x)
        for _ in range(_MOST):
            along(ln_f, ln_y, k, table, line, ends, b, d)
            miss = x - ends[0] - (ln_f + _LN34) * 2.0 / 3.0
            slope = 1.0 / max(ends[1] + 2.0 / 3.0, 0.2)
            ln_f += min(max(slope * miss, -2.0), 2.0)
            if abs(miss) < 1e-8:  # the next step is at 1e-15
                break
        f = math.exp(ln_f)
        last_x, last_f = x, ln_f
        out[m, 0], out[m, 1] = f, f * slope
        out[m, 2], out[m, 3] = -f * slope * ends[2], -f * slope * ends[3]
        out[m, 4] = f * slope * ends[4] / ((1.0 - nu) * (1.0 - nu))
    return out


@njit(cache=True, error_model="numpy")
def phi_each(ln_x: Floats, ln_y: Floats, n: Floats, nu: Floats, table: Table) -> Floats:
    """As :func:`phi_many` for samples each of a solid of its own: all arrays of shape (m,)."""
    out = np.empty((ln_x.shape[0], 5))
    for m in range(ln_x.shape[0]):
        out[m, :] = phi_many(ln_x[m : m + 1], ln_y[m], n[m], nu[m], table)[0]
    return out
