"""Variance of a mean when tests hang together: positions on a specimen, days of measuring.

One-way random-effects analysis of variance, applied from the outermost level inward
([searle1992], ch. 3; GUM H.5 for the between-day case, [gum2008]).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]


@dataclass(frozen=True)
class MeanVariance:
    """Variance of an equal-weight mean (unit of the value squared), its dof, and its parts.

    ``level`` names what carries it: "day", "position" or "test". ``components`` holds standard
    deviations by level, unit of the value; a level is there only
    when it has two labels or more and fewer labels than tests (else it is one with the tests).
    """

    variance: float
    dof: float
    level: str
    components: dict[str, float]


def labels(values: NDArray[np.generic] | list[object] | tuple[object, ...] | None) -> Labels | None:
    """Whole numbers 0, 1, 2 ... for any kind of label."""
    if values is None:
        return None
    return np.unique(np.asarray(values), return_inverse=True)[1].astype(np.int64)


def mean_variance(x: Floats, position: Labels | None, day: Labels | None) -> MeanVariance:
    """Variance of the equal-weight mean of ``x``, shape (n,), n >= 2.

    With clusters of n_d tests, ``MSB``, ``MSW`` the mean squares and
    ``n0 = (n - sum n_d^2/n)/(D - 1)``: ``s_B^2 = (MSB - MSW)/n0`` and
    ``u^2 = s_B^2 sum n_d^2/n^2 + MSW/n`` with Welch-Satterthwaite dof (balanced: ``MSB/n``,
    D - 1). Where ``MSB <= MSW`` the clusters show nothing and the next level inward stands; last
    of all ``s^2/n`` with n - 1. Positions are nested in days when both are given.
    """
    n = x.size
    levels: list[tuple[str, Labels]] = []
    if day is not None and _several(day):
        levels.append(("day", day))
    if position is not None:
        inner = labels_pair(levels[0][1], position) if levels else position
        if _several(inner):
            levels.append(("position", inner))
    components = {}
    found: MeanVariance | None = None
    plain = float(np.var(x, ddof=1))
    within = plain
    for name, label in levels:
        between, variance, dof = _one_way(x, label)
        components[name] = float(np.sqrt(max(between, 0.0)))
        within = _within(x, label)
        if found is None and between > 0:
            found = MeanVariance(variance, dof, name, components)
    components["test"] = float(np.sqrt(within))
    return found or MeanVariance(plain / n, n - 1.0, "test", components)


def _several(label: Labels) -> bool:
    """Two labels or more, and not a label of its own for every test."""
    return 1 < np.unique(label).size < label.size


def labels_pair(outer: Labels, inner: Labels) -> Labels:
    """One label for each pair: position 1 of day 1 is not position 1 of day 2."""
    return np.unique(np.stack([outer, inner]), axis=1, return_inverse=True)[1].astype(np.int64)


def _sums(x: Floats, label: Labels) -> tuple[Floats, Floats, float]:
    count = np.bincount(label).astype(float)
    mean = np.bincount(label, x) / count
    return count, mean, float(np.sum((x - mean[label]) ** 2))


def _within(x: Floats, label: Labels) -> float:
    count, _, ssw = _sums(x, label)
    return ssw / (x.size - count.size)


def _one_way(x: Floats, label: Labels) -> tuple[float, float, float]:
    """Between-cluster variance, variance of the mean, and its degrees of freedom."""
    if label.shape != x.shape:
        raise UncertaintyError("Labels and values differ in number.")
    n = x.size
    count, mean, ssw = _sums(x, label)
    d = count.size
    msb = float(np.sum(count * (mean - x.mean()) ** 2)) / (d - 1)
    msw = ssw / (n - d)
    n0 = (n - np.sum(count**2) / n) / (d - 1)
    between = float((msb - msw) / n0)
    weight = float(np.sum(count**2)) / n**2
    a = weight / n0 * msb
    b = (1 / n - weight / n0) * msw
    total = a + b
    dof = total**2 / (a**2 / (d - 1) + b**2 / (n - d)) if total > 0 else n - 1.0
    return between, total, float(dof)
