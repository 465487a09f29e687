"""Number of terms by leaving tests out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.fit import Fitted, fit
from drypoint.calibration.model import at
from drypoint.calibration.problems import CalibrationError

Floats = NDArray[np.float64]


def by_cross_validation(f: Fitted, inequalities: tuple[Floats, Floats], folds: int) -> float:
    """-2 times the log density of tests that the fit did not see, whole tests left out in turn.

    Scatter as of the whole fit; folds take every so manyth test, so that each spans all depths.
    Only the contact compliance of the tests left out is judged.
    """
    p = f.problem
    names = np.unique(p.tests.test)
    groups = min(folds, len(names))
    if groups < 2:
        return f.aicc
    order = np.argsort([p.tests.F[p.tests.test == t].max() for t in names], kind="stable")
    fold_of = np.empty(len(names), dtype=np.int64)
    fold_of[order] = np.arange(len(names)) % groups
    fold = fold_of[np.searchsorted(names, p.tests.test)]
    total = 0.0
    sd = row_sd(f)
    for k in range(groups):
        stay, out = fold != k, fold == k
        position = np.cumsum(stay) - 1
        r2 = position[p.r2_rows[stay[p.r2_rows]]]
        part = replace(p, tests=p.tests.take(stay), r2_rows=r2)
        try:
            g = fit(part, f.x, inequalities, f.scatter)
        except (CalibrationError, np.linalg.LinAlgError):
            return np.inf
        z = at(p, g.x).r1[out] / sd[out]
        total += float(np.sum(z * z + 2 * np.log(sd[out])))
    return total


def row_sd(f: Fitted) -> Floats:
    """Standard deviation of each r1 from V's diagonal."""
    V = f.whiten.factor @ np.swapaxes(f.whiten.factor, 1, 2)
    index = f.whiten.blocks.index
    out = np.empty(f.n)
    diagonal = np.diagonal(V, axis1=1, axis2=2)
    out[index[index >= 0]] = np.sqrt(diagonal[index >= 0])
    return out[: len(f.problem.tests)]
