"""Unloading curves: F = A (1 + (h - h_ref) / L)^m, fitted to many records at once.

This is Oliver and Pharr's power law F = alpha (h - h_f)^m written with well-scaled parameters:
A is the force at h_ref, L = h_ref - h_f, and S = m A / L is the slope there. Least squares in
force by Levenberg-Marquardt with exact derivatives, then without the bias that noise in depth gives
it (:mod:`drypoint.reduction.refine`); covariance with coloured noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.segments import noise_of
from drypoint.reduction.refine import refine
from drypoint.uncertainty.noise import Quiet, fit_covariances

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Status of a fit, by code.
STATUS = {0: "", 1: "too few samples in the fit window", 2: "the fit did not converge"}


@dataclass(frozen=True)
class Unloading:
    """Fits of all unloading curves, shape (n,) each.

    ``A`` (N), ``L`` (m), ``m`` as in the module's formula with ``h_ref`` (m); ``cov`` has shape
    (n, 3, 3) in the order A, L, m; ``rms`` is the residual's root mean square over A; ``samples``
    were used; ``status`` is a key of :data:`STATUS`. ``force_rate`` (N/s, positive) is the mean
    rate of unloading in the window, NaN without time. ``m_per_C`` (N/m) and ``C_per_C`` say how far
    the fitted exponent and the compliance at the top (1/S) would move with the frame compliance
    taken off the depth; C_per_C is near -1.
    """

    A: Floats
    L: Floats
    m: Floats
    h_ref: Floats
    cov: Floats
    rms: Floats
    samples: Ints
    status: Ints
    force_rate: Floats
    m_per_C: Floats
    C_per_C: Floats

    @property
    def S(self) -> Floats:
        """Slope at ``h_ref``, N/m."""
        return self.m * self.A / self.L

    @property
    def h_f(self) -> Floats:
        """Depth at which the fitted curve reaches zero force, m."""
        return self.h_ref - self.L


@njit(cache=True)
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


@njit(cache=True)
def _solve3(h: Floats, g: Floats, lam: float, free: Floats) -> Floats:
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


@njit(cache=True)
def fit_power_law(
    x: Floats, y: Floats, start: Floats, free: Floats, max_iter: int = 200
) -> tuple[Floats, Floats, float, int]:
    """Least squares of y = A (1 + x / L)^m by Levenberg-Marquardt.

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
        step = _solve3(h, g, lam, free)
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


@njit(cache=True)
def _with_compliance(
    x: Floats, p: Floats, jac: Floats, f_max: float, span: float, linear: bool
) -> tuple[float, float]:
    """Change of m and of 1/S for each unit of compliance taken off the depth (first order).

    The depths relative to the reference move by -dC (F - F_max); least squares answers with
    dp = -(J'J)^-1 J' (f' dx).
    """
    n = len(x)
    h = np.zeros((3, 3))
    g = np.zeros(3)
    free = np.ones(3)
    if linear:
        free[2] = 0.0
    for i in range(n):
        u = 1.0 + x[i] / p[1]
        f = p[0] * np.exp(p[2] * np.log(u))
        push = p[2] * f / (u * p[1]) * (f - 1.0) * f_max / span
        for a in range(3):
            g[a] += jac[i, a] * push
            for b in range(3):
                h[a, b] += jac[i, a] * jac[i, b]
    dp = _solve3(h, g, 0.0, free)
    dm = 0.0 if linear else dp[2]
    c_t = p[1] * span / (p[2] * p[0] * f_max)
    return dm, c_t * (dp[1] / p[1] - dp[0] / p[0] - dm / p[2])


@njit(cache=True)
def _fit_all(
    force: Floats,
    depth: Floats,
    time: Floats,
    start: Ints,
    stop: Ints,
    f_max: Floats,
    h_ref: Floats,
    low: Floats,
    high: Floats,
    linear: bool,
) -> tuple[Floats, Ints, Floats, Floats, Ints]:
    n = len(start)
    real = np.full((n, 7), np.nan)
    room = 0
    for c in range(n):
        room += stop[c] - start[c]
    all_jac = np.empty((room, 3))
    all_res = np.empty(room)
    used = np.zeros(n + 1, dtype=np.int64)
    whole = np.zeros((n, 2), dtype=np.int64)
    for c in range(n):
        a = start[c]
        b = stop[c]
        fm = f_max[c]
        # From the last sample above the window's top to the first below its bottom.
        i0 = a
        while i0 < b and force[i0] > high[c] * fm:
            i0 += 1
        i1 = i0
        while i1 < b and force[i1] >= low[c] * fm:
            i1 += 1
        k = i1 - i0
        whole[c, 0] = k
        used[c + 1] = used[c]
        if k < 6:
            whole[c, 1] = 1
            continue
        span = depth[i0] - depth[i1 - 1]
        if not span > 0.0:
            whole[c, 1] = 2
            continue
        x = (depth[i0:i1] - h_ref[c]) / span
        y = force[i0:i1] / fm
        if np.isfinite(time[i0]):
            dt = time[i1 - 1] - time[i0]
            if dt > 0.0:
                real[c, 4] = (force[i0] - force[i1 - 1]) / dt
        # Straight line through the data for a start (and for the linear method).
        xm = np.mean(x)
        ym = np.mean(y)
        sxx = 0.0
        sxy = 0.0
        for i in range(k):
            sxx += (x[i] - xm) ** 2
            sxy += (x[i] - xm) * (y[i] - ym)
        slope = sxy / sxx
        p0 = np.empty(3)
        free = np.ones(3)
        if linear:
            at = ym - slope * xm
            p0[0] = at
            p0[1] = at / slope if slope != 0.0 else 1.0
            p0[2] = 1.0
            free[2] = 0.0
        else:
            p0[0] = 1.0
            p0[2] = 1.4
            p0[1] = max(1.4 / max(1.3 * slope, 1e-3), 1.02 * (-np.min(x)))
        p, jac, rss, status = fit_power_law(x, y, p0, free)
        if status != 0 and not linear:
            p0[2] = 2.0
            p0[1] = 1.3 * (-np.min(x)) + 0.2
            p, jac, rss, status = fit_power_law(x, y, p0, free)
        res = np.empty(k)
        for i in range(k):
            u = 1.0 + x[i] / p[1]
            res[i] = y[i] - p[0] * np.exp(p[2] * np.log(u))
        # Where depth is the noisier of the two (all usual records) its noise bends the fit.
        if status == 0 and np.min(y) > 0.0 and slope * noise_of(x) > noise_of(y):
            p, jac, res = refine(x, y, p, free)
            rss = np.sum(res * res)
        whole[c, 1] = status
        real[c, 0] = p[0] * fm
        real[c, 1] = p[1] * span
        real[c, 2] = p[2]
        real[c, 3] = np.sqrt(rss / k) / p[0]
        first = used[c]
        used[c + 1] = first + k
        for i in range(k):
            all_res[first + i] = res[i] * fm
            all_jac[first + i, 0] = jac[i, 0]
            all_jac[first + i, 1] = jac[i, 1] * fm / span
            all_jac[first + i, 2] = jac[i, 2] * fm
        real[c, 5], real[c, 6] = _with_compliance(x, p, jac, fm, span, linear)
    return real, whole, all_jac[: used[n]], all_res[: used[n]], used


def fit_unloading(
    force: Floats,
    depth: Floats,
    time: Floats,
    start: Ints,
    stop: Ints,
    f_max: Floats,
    h_ref: Floats,
    window: tuple[float, float] | Floats,
    *,
    linear: bool = False,
    quiet: tuple[Ints, Ints] | None = None,
) -> Unloading:
    """Fit every unloading curve.

    Parameters
    ----------
    force, depth, time : array, shape (n_samples,)
        Corrected, in N, m, s (time may be NaN).
    start, stop : array, shape (n,)
        Samples of each unloading.
    f_max, h_ref : array, shape (n,)
        Force at the start of unloading (N) and the depth to which A and S refer (m).
    window : pair, or array of shape (n, 2)
        Lowest and highest share of ``f_max`` in the fit.
    linear : bool
        A straight tangent (m = 1) instead of the power law.
    quiet : pair of arrays of shape (n,), optional
        First and stop sample of a hold that shows the colour of the noise in depth.

    Returns
    -------
    Unloading
    """
    w = np.broadcast_to(np.asarray(window, dtype=float), (len(start), 2))
    real, whole, jac, res, used = _fit_all(
        force,
        depth,
        time,
        start,
        stop,
        f_max,
        h_ref,
        np.ascontiguousarray(w[:, 0]),
        np.ascontiguousarray(w[:, 1]),
        linear,
    )
    fitted = np.flatnonzero(np.diff(used) > 0)
    cov = np.full((len(start), 3, 3), np.nan)
    cov[fitted] = 0.0
    p = 2 if linear else 3
    offsets = np.concatenate([used[fitted], used[-1:]])
    cov[fitted[:, None, None], np.arange(p)[:, None], np.arange(p)] = fit_covariances(
        jac[:, :p],
        res,
        offsets,
        None if quiet is None else Quiet(depth, quiet[0][fitted], quiet[1][fitted]),
    )
    return Unloading(
        A=real[:, 0].copy(),
        L=real[:, 1].copy(),
        m=real[:, 2].copy(),
        h_ref=h_ref,
        cov=cov,
        rms=real[:, 3].copy(),
        samples=whole[:, 0].copy(),
        status=whole[:, 1].copy(),
        force_rate=real[:, 4].copy(),
        m_per_C=real[:, 5].copy(),
        C_per_C=real[:, 6].copy(),
    )
