"""Tests that lie far from their series, by a robust rule. A remark, never a reason to drop.

In a series (one specimen, one level of force) a value x_i with random uncertainty u_i is far when

    |x_i - median| > c (1 + 4/n) s_i,   s_i^2 = s^2 + max(u_i^2 - median(u^2), 0),

with s = 1.4826 median |x - median|, c = 3.5 [iglewicz1993], n the number of tests. The widening
for few tests is our own: it keeps the false alarms of a normal series below one in a hundred
tests at every n (``benchmarks/bench_flags.py``). A test that knows itself to be less certain than
its neighbours is judged more mildly. The rule assumes one population: where more than a stated
share of a series would be flagged, there are several, and nothing is said.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.grounds import raise_flag
from drypoint.reduction.options import FlagLimits
from drypoint.reduction.result import Flag

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Forces (or depths) that differ by no more than this share are one level.
LEVEL = 0.05
_WIDER = 4.0


def levels(size: Floats) -> Ints:
    """Number of the level of each largest force (or depth): a gap of more than 5 % parts two."""
    order = np.argsort(size, kind="stable")
    out = np.zeros(len(size), dtype=np.int64)
    with np.errstate(divide="ignore", invalid="ignore"):
        jumps = size[order][1:] > (1.0 + LEVEL) * size[order][:-1]
    out[order[1:]] = np.cumsum(jumps)
    return out


def distances(x: Floats, u: Floats, counted: NDArray[np.bool_], limits: FlagLimits) -> Floats:
    """Distance of each value from the median in robust standard deviations, shape (n,).

    Zero where the rule says nothing: too few tests, no spread, or too many far away.

    Parameters
    ----------
    x, u : array, shape (n,)
        Values of one series and their random standard uncertainties.
    counted : array, shape (n,)
        Which of them make up median and spread; the others are only judged.
    """
    known = np.isfinite(x)
    base = known & counted
    n = int(base.sum())
    out = np.zeros(len(x))
    if n < limits.outlier_tests:
        return out
    middle = float(np.median(x[base]))
    s = 1.4826 * float(np.median(np.abs(x[base] - middle)))
    if not s > 0:
        return out
    var = np.where(np.isfinite(u), u, 0.0) ** 2
    own = np.sqrt(s * s + np.maximum(var - np.median(var[base]), 0.0))
    out[known] = np.abs(x[known] - middle) / own[known]
    far = out > limits.outlier_sigma * (1.0 + _WIDER / n)
    if far[base].sum() > max(1.0, limits.outlier_share * n):
        return np.zeros(len(x))
    return np.where(far, out, 0.0)


def outlier_flags(
    values: Mapping[str, tuple[Floats, Floats]],
    units: Mapping[str, tuple[float, str]],
    level: Ints,
    counted: NDArray[np.bool_],
    limits: FlagLimits,
) -> list[list[Flag]]:
    """Flags of tests of one specimen.

    Parameters
    ----------
    values : mapping
        Symbol -> (values, random standard uncertainties), SI, shape (n,).
    units : mapping
        Symbol -> (SI value of the unit, unit) in which it is told.
    level : array, shape (n,)
        See :func:`levels`.
    counted : array, shape (n,)
        False for tests that a person excluded: they are judged, but judge no other.
    """
    n = len(level)
    words: list[list[str]] = [[] for _ in range(n)]
    if not limits.outlier:
        return [[] for _ in range(n)]
    number = np.zeros(n, dtype=np.int64)
    for one in np.unique(level):
        rows = np.flatnonzero(level == one)
        for symbol, (x, u) in values.items():
            z = distances(x[rows], u[rows], counted[rows], limits)
            base = x[rows][np.isfinite(x[rows]) & counted[rows]]
            for r in np.flatnonzero(z):
                factor, unit = units[symbol]
                number[rows[r]] = max(number[rows[r]], len(base))
                words[rows[r]].append(
                    f"{symbol} = {x[rows[r]] / factor:.4g} {unit} lies {z[r]:.1f} robust standard "
                    f"deviations from the median of {np.median(base) / factor:.4g} {unit}"
                )
    return [
        [
            raise_flag(
                "outlier",
                f"{' and '.join(w)} (series of {k} tests, taken as one population).",
            )
        ]
        if w
        else []
        for w, k in zip(words, number, strict=True)
    ]
