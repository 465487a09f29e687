"""Least squares under linear inequalities, min |E x - f| with G x >= g [lawson1974]."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import nnls

Floats = NDArray[np.float64]

_RIDGE = 1e-9


def solve(E: Floats, f: Floats, G: Floats, g: Floats) -> tuple[Floats, NDArray[np.bool_]]:
    """The minimiser, and which inequalities hold it.

    Free first; where that breaks an inequality the problem is turned into least distance and that
    into non-negative least squares [lawson1974]. A ridge of 1e-9 of the largest singular value
    keeps a direction that the data do not see from running away.
    """
    k = E.shape[1]
    u, sv, vt = np.linalg.svd(E, full_matrices=False)
    sv = np.maximum(sv, _RIDGE * float(sv.max(initial=0.0)) + 1e-300)
    free = vt.T @ ((u.T @ f) / sv)
    held = np.zeros(len(g), dtype=bool)
    if np.all(G @ free >= g - 1e-12):
        return free, held
    # z = diag(sv) vt x - u'f: least |z| with Gz z >= gz.
    Gz = (G @ vt.T) / sv
    gz = g - Gz @ (u.T @ f)
    size = np.linalg.norm(Gz, axis=1)
    size = np.where(size > 0, size, 1.0)
    A = np.vstack([(Gz / size[:, None]).T, gz / size])
    b = np.zeros(k + 1)
    b[-1] = 1.0
    dual, _ = nnls(A, b, maxiter=50 * len(g) + 1000)
    rest = A @ dual - b
    if not abs(rest[-1]) > 1e-14:
        return np.full(k, np.nan), held
    z = -rest[:-1] / rest[-1]
    x: Floats = vt.T @ ((z + u.T @ f) / sv)
    return x, dual > 1e-12 * max(float(dual.max()), 1e-300)
