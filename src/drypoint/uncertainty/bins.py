"""A property against depth, bin by bin."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.series import Method, SeriesResult, series

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Bin:
    """``low <= depth < high`` (m; the last bin holds its upper edge too).

    ``depth`` is the mean over the tests; ``result`` is None where no test has a value.
    """

    low: float
    high: float
    depth: float
    result: SeriesResult | None


def binned(
    depth: Floats,
    values: Floats,
    u_random: Floats,
    sens: Floats,
    joint: Joint,
    edges: Floats,
    *,
    test: NDArray[np.int64] | None = None,
    group: object = None,
    day: object = None,
    method: Method = "mean",
    level: float = 0.95,
) -> tuple[Bin, ...]:
    """One :func:`drypoint.uncertainty.series.series` for each depth bin.

    Values of one test in one bin are not independent: with ``test`` given they are averaged
    first (their random parts too, as if fully correlated), so that n counts tests.

    Parameters
    ----------
    depth : array, shape (n,)
        Metres, as ``edges``.
    edges : array, shape (bins + 1,)
        Rising.
    test : array of int, shape (n,), optional
        Which test each row belongs to; each row its own unless given.
    """
    edges = np.asarray(edges, dtype=float)
    if edges.ndim != 1 or edges.size < 2 or np.any(np.diff(edges) <= 0):
        raise UncertaintyError("Bin edges must rise and be two or more.")
    depth, values = np.asarray(depth, dtype=float), np.asarray(values, dtype=float)
    if depth.shape != values.shape:
        raise UncertaintyError("Depths and values differ in number.")
    row = np.arange(depth.size) if test is None else np.asarray(test)
    good = np.isfinite(values) & np.isfinite(u_random) & np.isfinite(depth)
    out = []
    for i, (low, high) in enumerate(pairwise(edges)):
        last = i == edges.size - 2
        inside = good & (depth >= low) & ((depth <= high) if last else (depth < high))
        if not inside.any():
            out.append(Bin(float(low), float(high), np.nan, None))
            continue
        _, first, label = np.unique(row[inside], return_index=True, return_inverse=True)
        count = np.bincount(label).astype(float)

        def average(x: Floats, label: NDArray[np.int64] = label, count: Floats = count) -> Floats:
            return np.bincount(label, x) / count

        rows = np.flatnonzero(inside)
        result = series(
            average(values[rows]),
            average(np.asarray(u_random, dtype=float)[rows]),
            np.stack([average(c) for c in np.asarray(sens)[rows].T], axis=1)
            if len(joint.names)
            else np.zeros((count.size, 0)),
            joint,
            group=None if group is None else np.asarray(group)[rows][first],
            day=None if day is None else np.asarray(day)[rows][first],
            method=method,
            level=level,
        )
        out.append(Bin(float(low), float(high), float(average(depth[rows]).mean()), result))
    return tuple(out)
