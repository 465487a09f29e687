"""Weighted least squares with priors: Gauss-Newton with damping, on a handful of parameters."""

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
        (J'WJ + prior precision)^-1; a direction that neither data nor prior see is very wide.
    residual : array, shape (n,)
        Data less model.
    scatter : float
        What the stated uncertainties do not explain, in the unit of the data.
    dof : float
    converged, at_bound : bool
    """

    p: Floats
    jac: Floats
    weight: Floats
    cov: Floats
    residual: Floats
    scatter: float
    dof: float
    converged: bool
    at_bound: bool


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
    return np.asarray((v / np.maximum(w, 1e-12 * max(float(w.max()), 1e-300))) @ v.T)


def fit(
    f: Callable[[Floats], Floats],
    y: Floats,
    s: Floats,
    start: Floats,
    prior: tuple[Floats, Floats],
    bounds: tuple[Floats, Floats],
) -> Fit:
    """Minimise sum (y - f(p))^2/(s^2 + scatter^2) + sum (p - mean)^2/u^2.

    ``prior`` is (mean, u), u infinite where there is none. The scatter is that which brings the
    sum over the data down to their degrees of freedom, zero where it is below already
    (the method of moments of DerSimonian and Laird's kind, iterated).
    """
    mean, u = prior
    pull = np.where(np.isfinite(u), 1 / np.where(u > 0, u, 1.0) ** 2, 0.0)
    free = float(np.sum(~np.isfinite(u)))
    dof = max(len(y) - free, 0.0)
    scatter, p, converged = 0.0, start, False
    for _ in range(4):
        weight = 1 / (s * s + scatter * scatter)
        p, converged = _descend(f, y, weight, p, mean, pull, bounds)
        residual = y - f(p)
        new = _scatter(residual, s, dof)
        if abs(new - scatter) <= 0.01 * max(new, scatter) + 1e-9:
            break
        scatter = new
    jac = jacobian(f, p)
    cov = invert((jac.T * weight) @ jac + np.diag(pull))
    low, high = bounds
    edge = bool(np.any((p <= low + 1e-6) | (p >= high - 1e-6)))
    return Fit(p, jac, weight, cov, residual, scatter, dof, converged, edge)


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
    weight: Floats,
    p: Floats,
    mean: Floats,
    pull: Floats,
    bounds: tuple[Floats, Floats],
) -> tuple[Floats, bool]:
    """Levenberg-Marquardt within bounds; whether the last step was small."""

    def cost(q: Floats, r: Floats) -> float:
        return float(np.sum(weight * r * r) + np.sum(pull * (q - mean) ** 2))

    low, high = bounds
    residual, damp = y - f(p), 1e-3
    now = cost(p, residual)
    for _ in range(60):
        jac = jacobian(f, p)
        H = (jac.T * weight) @ jac + np.diag(pull)
        slope = (jac.T * weight) @ residual - pull * (p - mean)
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
