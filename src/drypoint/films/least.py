"""Generalised least squares with priors: Gauss-Newton with damping, on a handful of parameters.

The data scatter by themselves (weights) and together: what is shared by all of them is written
as a few columns ``shared``, each with unit variance. Then the covariance of the data is
C = diag(s^2 + scatter^2) + G G', and C^-1 is never formed, only a system of the size of G.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

#: Step of the central differences, in parameters that are logarithms or of the order of one.
STEP = 1e-4


@dataclass(frozen=True)
class Fit:
    """A minimum.

    Parameters
    ----------
    p : array, shape (m,)
    jac : array, shape (n, m)
        Derivative of the model at ``p``.
    weight : array, shape (n,)
        1/(s^2 + scatter^2).
    cov : array, shape (m, m)
        (J'C^-1 J + prior precision)^-1: everything together.
    gain : array, shape (m, n)
        How each datum moves each number: cov J'C^-1.
    pull : array, shape (m,)
        Prior precision of each number, zero where there is none.
    residual : array, shape (n,)
        Data less model.
    own : array, shape (n,)
        The same less what is shared by the data, as the fit finds it.
    scatter : float
        What the stated uncertainties do not explain, in the unit of the data.
    dof : float
        Data less numbers found, what is shared counted by as much as the data tell of it.
    strain, told : float
        Sum of squares of the amounts of the shared columns, and of how many of these the data
        tell: about as large, where what is shared was stated rightly.
    converged, at_bound : bool
    cost : float
        The sum at the minimum, with the logarithm of the determinant of C: of several starts the
        best has the lowest.
    """

    p: Floats
    jac: Floats
    weight: Floats
    cov: Floats
    gain: Floats
    pull: Floats
    residual: Floats
    own: Floats
    scatter: float
    dof: float
    strain: float
    told: float
    converged: bool
    at_bound: bool
    cost: float

    @property
    def random(self) -> Floats:
        """Covariance from what each datum scatters by itself, shape (m, m)."""
        return np.asarray((self.gain / self.weight) @ self.gain.T)


class _Weigher:
    """C^-1 for given weights and shared columns: W - W G (1 + G'WG)^-1 G'W."""

    def __init__(self, weight: Floats, shared: Floats) -> None:
        # Far from any answer columns may be without bounds; a factor of e^1000 is as good as any.
        self.weight, self.shared = weight, np.clip(np.nan_to_num(shared), -1e3, 1e3)
        wide = (self.shared.T * weight) @ self.shared
        w, v = np.linalg.eigh((wide + wide.T) / 2)
        self.large = 1 + np.maximum(w, 0.0)
        self.inner = (v / self.large) @ v.T

    def on(self, x: Floats) -> Floats:
        """C^-1 x for a vector or columns."""
        w = self.weight if x.ndim == 1 else self.weight[:, None]
        first = w * x
        return np.asarray(first - w * (self.shared @ (self.inner @ (self.shared.T @ first))))

    def amounts(self, residual: Floats) -> Floats:
        """How much of each shared column is in the residuals; each has unit variance."""
        return np.asarray(self.inner @ (self.shared.T @ (self.weight * residual)))

    def size(self) -> float:
        """ln of the determinant of C."""
        return float(np.sum(np.log(self.large)) - np.sum(np.log(self.weight)))

    def told(self) -> float:
        """Of how many of the shared columns the data tell."""
        return float(self.shared.shape[1] - np.trace(self.inner))


def jacobian(f: Callable[[Floats], Floats], p: Floats) -> Floats:
    """Central differences, shape (n, m)."""
    out = []
    for j in range(len(p)):
        up, down = p.copy(), p.copy()
        up[j] += STEP
        down[j] -= STEP
        out.append((f(up) - f(down)) / (2 * STEP))
    return np.stack(out, axis=1)


def invert(H: Floats) -> Floats:
    """Inverse of a precision matrix; eigenvalues below 1e-12 of the largest count as that."""
    w, v = np.linalg.eigh((H + H.T) / 2)
    return np.asarray((v / np.maximum(w, max(1e-12 * float(w.max()), 1e-60))) @ v.T)


def fit(
    f: Callable[[Floats], Floats],
    y: Floats,
    s: Floats,
    start: Floats,
    prior: tuple[Floats, Floats],
    bounds: tuple[Floats, Floats],
    shared: Callable[[Floats], Floats] | None = None,
) -> Fit:
    """Minimise r'C^-1 r + sum (p - mean)^2/u^2 with r = y - f(p).

    ``prior`` is (mean, u), u infinite where there is none. ``shared(p)`` gives the columns that all
    data share, shape (n, k). The scatter is that which brings the sum of squares of what is each
    datum's own down to their degrees of freedom, zero where it is below already (the method of
    moments of DerSimonian and Laird's kind, iterated).
    """
    mean, u = prior
    pull = np.where(np.isfinite(u), 1 / np.where(u > 0, u, 1.0) ** 2, 0.0)
    scatter, p, converged = 0.0, start, False
    G: Floats = np.zeros((len(y), 0))
    for turn in range(6):
        by = _Weigher(1 / (s * s + scatter * scatter), G)
        p, converged = _descend(f, y, by, p, mean, pull, bounds)
        if shared is not None:
            G = shared(p)
        by = _Weigher(by.weight, G)
        residual = y - f(p)
        amounts = by.amounts(residual)
        own = residual - by.shared @ amounts
        jac = jacobian(f, p)
        dof = max(len(y) - _told(jac, by, pull) - by.told(), 0.0)
        new = _scatter(own, s, dof)
        settled = abs(new - scatter) <= 0.01 * max(new, scatter) + 1e-9
        if settled and (turn > 1 or shared is None):
            break
        scatter = new
    cov = invert(jac.T @ by.on(jac) + np.diag(pull))
    low, high = bounds
    edge = bool(np.any((p <= low + 1e-6) | (p >= high - 1e-6)))
    gain = cov @ by.on(jac).T
    cost = float(residual @ by.on(residual) + np.sum(pull * (p - mean) ** 2)) + by.size()
    return Fit(
        p,
        jac,
        by.weight,
        cov,
        gain,
        pull,
        residual,
        own,
        scatter,
        dof,
        float(amounts @ amounts),
        by.told(),
        converged,
        edge,
        cost,
    )


def _told(jac: Floats, by: _Weigher, pull: Floats) -> float:
    """Of how many of the numbers the data tell, rather than what was known before."""
    H = jac.T @ by.on(jac)
    return float(np.trace(np.linalg.solve(H + np.diag(np.maximum(pull, 1e-12)), H)))


def _scatter(residual: Floats, s: Floats, dof: float) -> float:
    """Extra standard deviation x with sum r^2/(s^2 + x^2) = dof, by bisection."""
    if dof < 1 or np.sum((residual / s) ** 2) <= dof:
        return 0.0
    low, high = 0.0, float(np.sqrt(np.sum(residual**2) / dof)) + 1e-300
    for _ in range(60):
        mid = (low + high) / 2
        if np.sum(residual**2 / (s * s + mid * mid)) > dof:
            low = mid
        else:
            high = mid
    return (low + high) / 2


def _descend(
    f: Callable[[Floats], Floats],
    y: Floats,
    by: _Weigher,
    p: Floats,
    mean: Floats,
    pull: Floats,
    bounds: tuple[Floats, Floats],
) -> tuple[Floats, bool]:
    """Levenberg-Marquardt within bounds; whether the last step was small."""

    def cost(q: Floats, r: Floats) -> float:
        return float(r @ by.on(r) + np.sum(pull * (q - mean) ** 2))

    low, high = bounds
    residual, damp = y - f(p), 1e-3
    now = cost(p, residual)
    for _ in range(60):
        jac = jacobian(f, p)
        weighed = by.on(jac).T
        H = weighed @ jac + np.diag(pull)
        slope = weighed @ residual - pull * (p - mean)
        for _ in range(12):
            size = np.diag(H) + 1e-9 * float(np.trace(H)) + 1e-300
            step = np.clip(np.linalg.solve(H + damp * np.diag(size), slope), -1.5, 1.5)
            q = np.clip(p + step, low, high)
            r = y - f(q)
            new = cost(q, r)
            if np.isfinite(new) and new <= now:
                break
            damp *= 6
        else:
            return p, True  # no step lowers the sum: this is the minimum to rounding
        moved = float(np.max(np.abs(q - p)))
        gain = now - new
        p, residual, now, damp = q, r, new, damp / 6
        if moved < 1e-7 or gain < 1e-10 * (1 + now):
            return p, True
    return p, False
