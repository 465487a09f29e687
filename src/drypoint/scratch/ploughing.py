"""Ploughing: the part of friction that goes into pushing material aside, from the tip's shape.

A rigid tip in a rigid plastic body carries the normal force on its front half, A_n = A_p/2, and
pushes with the upright section of its front, A_t. One flow pressure on both gives

    mu_p = A_t / A_n,      cone  (2/pi) cot(alpha),
    sphere  (2/pi) [(R/a)^2 asin(a/R) - sqrt((R/a)^2 - 1)]

[bowden1950]. For any body of revolution A_t = 2 int_0^h r dz, r = sqrt(A_p(z)/pi).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.problems import ScratchError
from drypoint.tips.area import area
from drypoint.tips.tip import Tip
from drypoint.uncertainty.propagation import complex_step

Floats = NDArray[np.float64]

ASSUMPTION = (
    "Ploughing: rigid plastic contact, the load carried by the front half of the contact, one flow "
    "pressure in both directions, no pile-up"
)
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(48)


def cone(half_angle: float) -> float:
    """Ploughing coefficient of a cone, (2/pi) cot(alpha); ``half_angle`` in radians.

    Raises
    ------
    ScratchError
    """
    if not 0 < half_angle < np.pi / 2:
        raise ScratchError("The half angle of a cone lies between 0 and 90 degrees.")
    return float(2 / np.pi / np.tan(half_angle))


def sphere(half_width: Floats | float, radius: float) -> Floats:
    """Ploughing coefficient of a sphere; ``half_width`` a of the groove and ``radius`` R, m.

    4 a/(3 pi R) for a small groove. NaN where a is not between 0 and R.
    """
    s = np.asarray(half_width, dtype=float) / radius
    known = (s >= 0) & (s <= 1)
    safe = np.where(known & (s > 0), s, 1.0)
    exact = 2 / np.pi * (np.arcsin(safe) / safe**2 - np.sqrt(np.maximum(1 / safe**2 - 1, 0.0)))
    # For small s the two terms cancel; the series of the difference serves.
    series = 2 / np.pi * s * (2 / 3 + s**2 / 5 + 3 * s**4 / 28)
    return np.where(known, np.where(s < 0.02, series, exact), np.nan)


def front_section(tip: Tip, depth: Floats, theta: Mapping[str, Any] | None = None) -> NDArray[Any]:
    """Upright section A_t of the tip's front below a surface at ``depth`` (m), m^2.

    ``theta`` puts other values in the place of the tip's, as in :func:`drypoint.tips.area.area`.
    """
    h = np.asarray(depth, dtype=float)
    u = 0.5 * (_NODES + 1)  # z = h u^2: smooth for a round end as for a sharp one
    z = h[..., None] * u**2
    r = np.sqrt(area(tip, theta or {}, z) / np.pi)
    return np.asarray(2 * h * ((r * u) @ _WEIGHTS))


def ploughing(tip: Tip, depth: Floats, u_depth: Floats | float = 0.0) -> tuple[Floats, Floats]:
    """Ploughing coefficient at contact depths (m), and its standard uncertainty.

    The tip counts as the body of revolution with its area function; the uncertainty is that of
    the area function and of the depth. NaN at depths of zero or below, or beyond the tip.

    Raises
    ------
    ScratchError
        For a flat punch, which has no flank.
    """
    if tip.geometry.shape == "flat punch":
        raise ScratchError(
            "A flat punch has no flank to plough with.", remedy="Give the tip that scratched."
        )
    given = np.atleast_1d(np.asarray(depth, dtype=float))
    h = np.where(given > 0, given, np.nan)
    inputs = tip.area.parameters

    def coefficient(values: NDArray[Any], at: Floats) -> NDArray[Any]:
        theta = dict(zip(inputs.names, values, strict=True))
        with np.errstate(divide="ignore", invalid="ignore"):  # no depth, no coefficient
            return np.asarray(2 * front_section(tip, at, theta) / area(tip, theta, at))

    mean = np.asarray(inputs.mean, dtype=float)
    value = np.real(coefficient(mean, h))
    step = 1e-4 * h
    slope = np.real(coefficient(mean, h + step) - coefficient(mean, h - step)) / (2 * step)
    variance = (slope * u_depth) ** 2
    if len(inputs.names) and np.any(inputs.cov):
        jac = complex_step(lambda v: coefficient(v, h), mean)
        variance = variance + np.einsum("ni,ij,nj->n", jac, inputs.cov, jac)
    shape = np.shape(depth)
    return value.reshape(shape), np.sqrt(variance).reshape(shape)
