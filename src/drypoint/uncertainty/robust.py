"""Location that a stray test cannot move, and a remark on strays."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

HUBER_K = 1.345  # 95 % efficiency at the normal distribution [huber1981]
EFFICIENCY = {"mean": 1.0, "huber": 0.95, "median": 2.0 / np.pi}
STRAY = 3.5  # of modified z-scores [iglewicz1993]


def mad_scale(x: Floats) -> float:
    """``1.4826 median |x - median|``: the standard deviation, were the values normal."""
    return float(1.4826 * np.median(np.abs(x - np.median(x))))


def strays(x: Floats) -> NDArray[np.bool_]:
    """Where ``|x - median| > 3.5 * 1.4826 MAD`` [iglewicz1993]. Remark, never dropping.

    With fewer than five values, or more than half of them equal, nothing is said.
    """
    scale = mad_scale(x) if x.size >= 5 else 0.0
    out: NDArray[np.bool_] = (
        np.abs(x - np.median(x)) > STRAY * scale if scale > 0 else np.zeros(x.shape, dtype=bool)
    )
    return out


def huber(x: Floats) -> tuple[float, float, Floats]:
    """Huber's estimate, its standard uncertainty, and each value's weight (sum 1).

    ``sum psi((x - m)/s) = 0`` with ``s`` from the MAD, k = 1.345;
    ``u^2 = s^2 sum psi^2 / (n - 1) / n / mean(psi')^2`` ([huber1981], 6.6).
    The weight is the derivative of ``m`` with respect to the value: 1/n_inside within k s, else 0.
    """
    n = x.size
    m, s = float(np.median(x)), mad_scale(x)
    if s == 0.0:
        return m, float(np.std(x, ddof=1) / np.sqrt(n)) if n > 1 else 0.0, np.full(n, 1.0 / n)
    for _ in range(200):
        w = np.minimum(1.0, HUBER_K * s / np.maximum(np.abs(x - m), 1e-300))
        new = float(np.sum(w * x) / np.sum(w))
        done = abs(new - m) <= 1e-12 * s
        m = new
        if done:
            break
    psi = np.clip((x - m) / s, -HUBER_K, HUBER_K)
    inside = np.abs(x - m) < HUBER_K * s
    share = max(float(inside.mean()), 1.0 / n)
    u = s * float(np.sqrt(np.sum(psi**2) / (n - 1) / n)) / share
    weight = inside / inside.sum() if inside.any() else np.full(n, 1.0 / n)
    return m, u, weight


def median(x: Floats) -> tuple[float, float, Floats]:
    """Median, ``u = sqrt(pi/2) 1.4826 MAD / sqrt(n)``, and the weight on the middle value(s)."""
    n = x.size
    order = np.argsort(x, kind="stable")
    weight = np.zeros(n)
    weight[order[(n - 1) // 2]] += 0.5
    weight[order[n // 2]] += 0.5
    return float(np.median(x)), float(np.sqrt(np.pi / 2 / n)) * mad_scale(x), weight
