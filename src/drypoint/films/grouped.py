"""What estimates scatter by when values of one test go together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Grouped:
    """Covariance of some estimates, shape (m, m), and its degrees of freedom."""

    cov: Floats
    dof: float


def by_group(pull: Floats, group: NDArray[np.int64]) -> Grouped:
    """Covariance of linear estimates from how far each group of values pulls them.

    The pulls of a group are added before they are squared, so that whatever its values share is
    counted as often as there are groups: G/(G - 1) sum_g p_g p_g' [liang1986].

    Parameters
    ----------
    pull : array, shape (n, m)
        Weight of each value in each estimate, times its residual.
    group : array of int, shape (n,)
    """
    names, at = np.unique(group, return_inverse=True)
    G = len(names)
    if G < 2:
        return Grouped(np.zeros((pull.shape[1],) * 2), np.inf)
    sums = np.zeros((G, pull.shape[1]))
    np.add.at(sums, at, pull)
    return Grouped(G / (G - 1) * sums.T @ sums, float(G - 1))
