"""What the choice of the number of terms adds to the uncertainty."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.fit import Fitted
from drypoint.tips.area import area, parameter_names

Floats = NDArray[np.float64]

_LEAST_WEIGHT, _POINTS = 1e-3, 60


def between_candidates(fits: list[tuple[Fitted, float]], weights: Floats) -> Floats:
    """Covariance of the best fit's unknowns (scaled) from the spread of the other candidates.

    sum_m w_m d_m d_m', w_m the Akaike weights [burnham2002] and d_m what brings the best fit
    nearest to candidate m: its compliance and hardness as they are, its area by least squares of
    the relative difference over the range of depths.
    """
    best = fits[0][0]
    p, k = best.problem, len(best.x)
    out = np.zeros((k, k))
    mine = [n for n in p.unknown if n in p.template.area.parameters.names]
    at = [p.unknown.index(n) for n in mine]
    low, high = float(best.seen.h_c.min()), float(best.seen.h_c.max())
    h = np.asarray(np.geomspace(low, high, _POINTS), dtype=np.float64)
    A, J = _area(best, h), np.zeros((_POINTS, len(at)))
    for j, i in enumerate(at):
        moved = {n: np.asarray(complex(v)) for n, v in p.theta(best.x).items()}
        moved[p.unknown[i]] = moved[p.unknown[i]] + 1e-30j * p.scale[i]
        J[:, j] = np.imag(area(p.template, moved, h.astype(complex))) / 1e-30 / A
    for (f, _), w in zip(fits[1:], weights[1:], strict=True):
        if not w > _LEAST_WEIGHT:
            continue
        q, d = f.problem, np.zeros(k)
        for i, name in enumerate(p.unknown):
            if name in q.unknown and i not in at:
                there = q.unknown.index(name)
                d[i] = f.x[there] * q.scale[there] / p.scale[i] - best.x[i]
        if at:
            d[at] = np.linalg.pinv(J, rcond=1e-8) @ (_area(f, h) / A - 1)
        out += w * np.outer(d, d)
    return out


def _area(f: Fitted, h: Floats) -> Floats:
    p = f.problem
    t = p.template.area
    names = parameter_names(
        t.kind, len(t.knots) if t.kind == "table" else len(t.parameters.names),
        p.template.geometry.shape,
    )  # fmt: skip
    theta = p.theta(f.x)
    return np.asarray(area(p.template, {n: theta[n] for n in names}, h), dtype=np.float64)


def akaike_weights(criteria: Floats) -> Floats:
    """exp(-difference/2), normed to one [burnham2002]; even where no criterion is finite."""
    if not np.isfinite(criteria.min()):
        return np.full(len(criteria), 1 / len(criteria))
    weight = np.exp(-(criteria - criteria.min()) / 2)
    return np.asarray(weight / weight.sum())
