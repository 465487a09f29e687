"""Vickers numbers. HV is force over contact surface in kgf/mm^2, H_IT force over projected area."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]

#: Standard acceleration of free fall: newtons in one kilogram-force.
NEWTON_PER_KGF = 9.80665
#: HV (kgf/mm^2) per H_IT (N/mm^2): sin(68 deg)/9.80665, from the pyramid's geometry.
HV_PER_H_IT = float(np.sin(np.radians(68.0))) / NEWTON_PER_KGF


def vickers_estimate(H_IT: ArrayLike) -> Array:
    """Estimate of HV in kgf/mm^2 from H_IT in Pa: HV = 0.09455 H_IT[N/mm^2] [iso14577-1-2015].

    Pure geometry: it takes the contact surface to be that of an ideal Vickers pyramid and knows
    nothing of pile-up or sink-in.
    """
    return np.asarray(HV_PER_H_IT * 1e-6 * np.asarray(H_IT))


def vickers_number(force: ArrayLike, diagonal: ArrayLike) -> Array:
    """HV in kgf/mm^2 from force (N) and mean diagonal (m) of the impression.

    HV = 2 sin(68 deg) F / (9.80665 d^2) = 0.18909 F[N] / d[mm]^2 (contact surface of the pyramid).
    """
    d = np.asarray(diagonal)
    return np.asarray(2e-6 * HV_PER_H_IT * np.asarray(force) / (d * d))
