"""Least squares of the power law y = A (1 + x / L)^m: a quick way, and a careful one behind it.

The quick way is Gauss and Newton's, its loops laid out so that the compiler can take several
samples at once. Where one of its steps does not help, Levenberg and Marquardt's starts afresh.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_FREE = {"reassoc", "contract"}  # sums in the order that the processor does best
_QUICK = 12  # steps of the quick way


@njit(cache=True, nogil=True, error_model="numpy")
def _model(x: Floats, p: Floats, out: Floats, jac: Floats) -> bool:
    """Model and derivatives at x (relative to the reference); False outside its domain."""
    a, length, m = p[0], p[1], p[2]
    n = len(x)
    for i in range(n):
        u = 1.0 + x[i] / length
        if not u > 0.0:
            return False
        lg = np.log(u)
        um = np.exp(m * lg)
        out[i] = a * um
        jac[i, 0] = um
        jac[i, 1] = -a * m * um / u * x[i] / (length * length)
        jac[i, 2] = a * um * lg
    return True


@njit(cache=True, nogil=True, error_model="numpy")
def solve3(h: Floats, g: Floats, lam: float, free: Floats) -> Floats:
    """h^-1 g for the free parameters, the diagonal of h larger by a share ``lam``."""
    k = 3
    mat = np.empty((k, k))
    rhs = np.empty(k)
    for i in range(k):
        rhs[i] = g[i] if free[i] > 0 else 0.0
        for j in range(k):
            mat[i, j] = h[i, j] if (free[i] > 0 and free[j] > 0) else 0.0
        mat[i, i] = h[i, i] * (1.0 + lam) if free[i] > 0 else 1.0
    # Gaussian elimination with pivots; a singular system gives a step that is refused.
    for i in range(k):
        best = i
        for r in range(i + 1, k):
            if abs(mat[r, i]) > abs(mat[best, i]):
                best = r
        for c in range(k):
            mat[i, c], mat[best, c] = mat[best, c], mat[i, c]
        rhs[i], rhs[best] = rhs[best], rhs[i]
        if mat[i, i] == 0.0:
            mat[i, i] = 1e-300
        for r in range(i + 1, k):
            q = mat[r, i] / mat[i, i]
            for c in range(i, k):
                mat[r, c] -= q * mat[i, c]
            rhs[r] -= q * rhs[i]
    step = np.empty(k)
    for i in range(k - 1, -1, -1):
        v = rhs[i]
        for c in range(i + 1, k):
            v -= mat[i, c] * step[c]
        step[i] = v / mat[i, i]
    return step


@njit(cache=True, nogil=True, error_model="numpy")
def careful(
    x: Floats, y: Floats, start: Floats, free: Floats, max_iter: int
) -> tuple[Floats, Floats, float, int]:
    """The same by Levenberg-Marquardt, from its start."""
    n = len(x)
    p = start.copy()
    f = np.empty(n)
    jac = np.empty((n, 3))
    f2 = np.empty(n)
    jac2 = np.empty((n, 3))
    if not _model(x, p, f, jac):
        return p, jac, np.nan, 2
    rss = 0.0
    tiny = 1e-300  # a sum of squares that is rounding: curves without noise end there
    for i in range(n):
        rss += (y[i] - f[i]) ** 2
        tiny += 1e-28 * y[i] * y[i]
    lam = 1e-4
    h = np.empty((3, 3))
    g = np.empty(3)
    fresh = True
    small = 0
    for _ in range(max_iter):
        if fresh:
            for a in range(3):
                g[a] = 0.0
                for b in range(3):
                    h[a, b] = 0.0
            for i in range(n):
                r = y[i] - f[i]
                for a in range(3):
                    g[a] += jac[i, a] * r
                    for b in range(a + 1):
                        h[a, b] += jac[i, a] * jac[i, b]
            for a in range(3):
                for b in range(a + 1, 3):
                    h[a, b] = h[b, a]
                if not h[a, a] > 0.0:
                    h[a, a] = 1e-300
        step = solve3(h, g, lam, free)
        gain = 0.0
        for a in range(3):
            gain += step[a] * g[a] if free[a] > 0 else 0.0
        q = p + step
        inside = q[1] * p[1] > 0.0 and _model(x, q, f2, jac2)
        new = np.inf
        if inside:
            new = 0.0
            for i in range(n):
                new += (y[i] - f2[i]) ** 2
        if new <= rss:
            done = gain <= 1e-13 * rss + tiny
            p = q
            rss = new
            f, f2 = f2, f
            jac, jac2 = jac2, jac
            lam = max(lam * 0.1, 1e-12)
            fresh = True
            small = small + 1 if done else 0
            if small >= 2:
                return p, jac, rss, 0
        else:
            if gain <= 1e-13 * rss + tiny:
                return p, jac, rss, 0
            lam = max(lam, 1e-10) * 10.0
            fresh = False
            if lam > 1e14:
                return p, jac, rss, 2
    return p, jac, rss, 2


@njit(cache=True, nogil=True, error_model="numpy", fastmath=_FREE)
def _sums(x: Floats, y: Floats, p: Floats, lg: Floats, um: Floats, h: Floats, g: Floats) -> float:
    """Fill J'J and J'r, and lg = ln(1 + x/L), um = (1 + x/L)^m; returns the sum of squares r'r."""
    a, length, m = p[0], p[1], p[2]
    n = len(x)
    one = 1.0 / length
    for i in range(n):
        lg[i] = np.log(1.0 + x[i] * one)
    for i in range(n):
        um[i] = np.exp(m * lg[i])
    h00 = h01 = h02 = h11 = h12 = h22 = g0 = g1 = g2 = rss = 0.0
    by_length = -a * m * one * one
    for i in range(n):
        f = um[i]
        r = y[i] - a * f
        j1 = by_length * f * x[i] / (1.0 + x[i] * one)
        j2 = a * f * lg[i]
        rss += r * r
        g0 += f * r
        g1 += j1 * r
        g2 += j2 * r
        h00 += f * f
        h01 += f * j1
        h02 += f * j2
        h11 += j1 * j1
        h12 += j1 * j2
        h22 += j2 * j2
    h[0, 0], h[1, 1], h[2, 2] = h00, h11, h22
    h[0, 1] = h[1, 0] = h01
    h[0, 2] = h[2, 0] = h02
    h[1, 2] = h[2, 1] = h12
    g[0], g[1], g[2] = g0, g1, g2
    return rss


@njit(cache=True, nogil=True, error_model="numpy")
def cholesky3(h: Floats, g: Floats, free: Floats, step: Floats) -> float:
    """Solve h step = g for the free parameters; returns g' step, NaN where h is not positive
    definite. ``h`` is spoiled."""
    for a in range(3):
        if free[a] == 0.0:
            for b in range(3):
                h[a, b] = 0.0
                h[b, a] = 0.0
            h[a, a] = 1.0
            g[a] = 0.0
    d0 = h[0, 0]
    l10 = h[1, 0] / d0
    l20 = h[2, 0] / d0
    d1 = h[1, 1] - l10 * h[1, 0]
    t = h[2, 1] - l20 * h[1, 0]
    l21 = t / d1
    d2 = h[2, 2] - l20 * h[2, 0] - l21 * t
    # Divisions by zero give what is no number here.
    if not (d0 > 0.0 and d1 > 1e-15 * h[1, 1] and d2 > 1e-15 * h[2, 2]):
        return np.nan
    z1 = g[1] - l10 * g[0]
    z2 = g[2] - l20 * g[0] - l21 * z1
    step[2] = z2 / d2
    step[1] = z1 / d1 - l21 * step[2]
    step[0] = g[0] / d0 - l10 * step[1] - l20 * step[2]
    return g[0] * step[0] + g[1] * step[1] + g[2] * step[2]


@njit(cache=True, nogil=True, error_model="numpy")
def _quick(
    x: Floats, y: Floats, p: Floats, free: Floats, enough: float, lg: Floats, um: Floats
) -> tuple[float, bool]:
    """Move p by Gauss-Newton steps until one is foreseen to gain less than ``enough`` of the sum
    of squares. Returns the last sum of squares, and False where a step did not help.

    On success ``lg`` and ``um`` belong to p.
    """
    h = np.empty((3, 3))
    g = np.empty(3)
    step = np.empty(3)
    q = p.copy()
    low, high = np.min(x), np.max(x)
    tiny = 1e-300  # a sum of squares that is rounding: curves without noise end there
    for i in range(len(y)):
        tiny += 1e-28 * y[i] * y[i]
    before = np.inf
    last = False
    for _ in range(_QUICK):
        if not (q[1] > -low and q[1] > 0.0 and 1.0 + high / q[1] > 0.0):
            return before, False
        rss = _sums(x, y, q, lg, um, h, g)
        if not rss <= before * (1.0 + 1e-12) + tiny:
            return before, False
        p[:] = q
        if last:
            return rss, True
        before = rss
        gain = cholesky3(h, g, free, step)
        if not gain >= 0.0:
            return before, False
        last = gain <= enough * rss + tiny
        for a in range(3):
            q[a] = p[a] + step[a] * free[a]
    return before, False


@njit(cache=True, nogil=True, error_model="numpy")
def start_near(x: Floats, y: Floats, start: Floats, free: Floats) -> tuple[Floats, bool]:
    """Parameters near those of least squares (a small share of their uncertainty off), and whether
    the quick way came there."""
    p = start.copy()
    _, good = _quick(x, y, p, free, 1e-3, np.empty(len(x)), np.empty(len(x)))
    return p, good


@njit(cache=True, nogil=True, error_model="numpy")
def fit_power_law(
    x: Floats, y: Floats, start: Floats, free: Floats, max_iter: int = 200
) -> tuple[Floats, Floats, float, int]:
    """Least squares of y = A (1 + x / L)^m.

    Parameters
    ----------
    x : array, shape (n,)
        Abscissa relative to the reference point.
    y : array, shape (n,)
    start : array, shape (3,)
        A, L, m to start from; 1 + x/L must be positive for all x.
    free : array, shape (3,)
        1 where the parameter is fitted, 0 where it is held.
    max_iter : int
        Most steps of the careful way.

    Returns
    -------
    p : array, shape (3,)
    jac : array, shape (n, 3)
    rss : float
        Residual sum of squares.
    status : int
        0, or 2 when it did not converge.
    """
    n = len(x)
    p = start.copy()
    lg = np.empty(n)
    um = np.empty(n)
    rss, good = _quick(x, y, p, free, 1e-13, lg, um)
    if not good:
        return careful(x, y, start, free, max_iter)
    jac = np.empty((n, 3))
    for i in range(n):
        jac[i, 0] = um[i]
        jac[i, 1] = -p[0] * p[2] * um[i] / (1.0 + x[i] / p[1]) * x[i] / (p[1] * p[1])
        jac[i, 2] = p[0] * um[i] * lg[i]
    return p, jac, rss, 0
