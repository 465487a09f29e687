"""Frame compliance without an area function, as a cross-check of the joint fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.calibration.problems import CalibrationError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """A straight line C = C_f + slope * x with the covariance of (C_f, slope).

    ``curvature`` is the estimate of a further term in x^2, in units of its standard uncertainty:
    far from zero, the line is no line and its intercept no compliance.
    """

    C_f: float
    u_C_f: float
    slope: float
    u_slope: float
    cov: Floats
    residual: Floats
    curvature: float
    used: int


def _weighted_line(x: Floats, C: Floats, u: Floats | None) -> Line:
    if len(x) < 3 or np.ptp(x) < 0.05 * np.abs(x).max():
        raise CalibrationError(
            "Too few forces for an extrapolation of the compliance.",
            remedy="Measure at three forces or more that differ by a factor of four.",
        )
    # The contact compliance scatters in proportion to itself: relative weights unless u is given.
    w = 1 / (C if u is None else u)
    J = np.column_stack([np.ones_like(x), x]) * w[:, None]
    inverse = np.linalg.inv(J.T @ J)
    theta = inverse @ (J.T @ (C * w))
    rest = C * w - J @ theta
    spread = float(rest @ rest) / max(len(x) - 2, 1)
    scale = spread if u is None else max(1.0, spread)
    cov = inverse * scale
    curvature = 0.0
    if len(x) > 3:
        K = np.column_stack([J, x * x * w])
        more = np.linalg.pinv(K.T @ K)
        bent = more @ (K.T @ (C * w))
        left = C * w - K @ bent
        s2 = float(left @ left) / max(len(x) - 3, 1)
        u_bent = float(np.sqrt(more[2, 2] * (s2 if u is None else max(1.0, s2))))
        curvature = float(bent[2] / u_bent) if u_bent > 0 else 0.0
    return Line(
        float(theta[0]), float(np.sqrt(cov[0, 0])), float(theta[1]), float(np.sqrt(cov[1, 1])),
        np.asarray(cov), C - theta[0] - theta[1] * x, curvature, len(x),
    )  # fmt: skip


def compliance_from_force(F: ArrayLike, C: ArrayLike, u: ArrayLike | None = None) -> Line:
    """C = C_f + (sqrt(pi)/(2 beta E_r)) sqrt(H) F^(-1/2): one hardness and modulus at all depths.

    The slope squared is F/S^2 of the contact, pi H/(4 beta^2 E_r^2) [oliver1992] [joslin1990].
    ``u`` are standard uncertainties of C; without them the scatter is taken as relative.
    """
    force, total = np.asarray(F, dtype=np.float64), np.asarray(C, dtype=np.float64)
    return _weighted_line(force**-0.5, total, None if u is None else np.asarray(u, np.float64))


def compliance_from_depth(h_r: ArrayLike, C: ArrayLike, u: ArrayLike | None = None) -> Line:
    """C = C_f + b / h_r: a sharp tip's compliance against the tangent's intercept depth.

    b = sqrt(pi)/(2 E_r sqrt(c)), c = A/h^2 of the ideal tip; holds at depths where the tip is
    sharp [doerner1986].
    """
    depth, total = np.asarray(h_r, dtype=np.float64), np.asarray(C, dtype=np.float64)
    return _weighted_line(1 / depth, total, None if u is None else np.asarray(u, np.float64))


def modulus_hardness_ratio(F: ArrayLike, C: ArrayLike, C_f: float) -> Floats:
    """F/S^2 of the contact at a frame compliance, 1/Pa: F (C - C_f)^2 [joslin1990]."""
    force, contact = np.asarray(F, dtype=np.float64), np.asarray(C, dtype=np.float64) - C_f
    return np.asarray(force * contact * contact)
