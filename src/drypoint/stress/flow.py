"""Yield stress against plastic strain, and the return to the yield surface: Numba kernels.

Logarithmic (Hencky) strain, von Mises yield, isotropic hardening. In principal axes the update is
that of small strains, also for large ones, when the stress is Kirchhoff's and the trial strain is
half the logarithm of the trial left Cauchy-Green tensor [simo1992]. The yield stress holds for
Cauchy's stress, so Kirchhoff's yields at J times it; that J is the one at the step's start, which
keeps the tangent symmetric.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit
from numpy.typing import NDArray

Floats = NDArray[np.float64]


#: Kinds of hardening, as the kernels count them.
ELASTIC, LINEAR, POWER, TABLE = 0, 1, 2, 3

# Columns of a row of ``solids``: shear modulus, bulk modulus, kind, Y_0, slope or exponent,
# Young's modulus, first and one-past-last row of the table.
COLUMNS = 8


@njit(cache=True, error_model="numpy")
def yield_stress(strain: float, m: int, solids: Floats, table: Floats) -> tuple[float, float]:
    """Yield stress and its slope at a plastic strain; ``m`` is the row of ``solids``."""
    kind, Y = solids[m, 2], solids[m, 3]
    if kind == LINEAR:
        return Y + solids[m, 4] * strain, solids[m, 4]
    if kind == POWER:
        t = 1.0 + solids[m, 5] / Y * strain
        y = Y * t ** solids[m, 4]
        return y, solids[m, 4] * solids[m, 5] * y / (Y * t)
    if kind == ELASTIC:
        return math.inf, 0.0
    k, last = int(solids[m, 6]), int(solids[m, 7]) - 1
    if strain >= table[last, 0]:
        return table[last, 1], 0.0
    while strain >= table[k + 1, 0]:
        k += 1
    slope = (table[k + 1, 1] - table[k, 1]) / (table[k + 1, 0] - table[k, 0])
    return table[k, 1] + slope * (strain - table[k, 0]), slope


@njit(cache=True, error_model="numpy")
def multiplier(
    q: float, strain: float, J: float, m: int, solids: Floats, table: Floats
) -> tuple[float, float, float, float]:
    """Plastic strain of the step: the root of q - 3 G x - J Y(strain + x), x in [0, q/(3 G)].

    Returns it with the trial ratio q/(J Y), and the yield stress and slope after it, times J.
    """
    y, slope = yield_stress(strain, m, solids, table)
    ratio = q / (J * y)
    if ratio <= 1 + 1e-10:
        return 0.0, ratio, J * y, J * slope
    three_G = 3.0 * solids[m, 0]
    low, high, x = 0.0, q / three_G, 0.0
    for _ in range(60):
        y, slope = yield_stress(strain + x, m, solids, table)
        r = q - three_G * x - J * y
        if abs(r) <= 1e-12 * q:
            break
        if r > 0:
            low = x
        else:
            high = x
        x += r / (three_G + J * slope)
        if x <= low or x >= high:
            x = 0.5 * (low + high)
    return x, ratio, J * y, J * slope


@njit(cache=True, error_model="numpy")
def principal(rr: float, rz: float, zz: float) -> tuple[float, float, float, float]:
    """Principal values of an in-plane tensor and the first axis: (b_1, b_2, cos, sin)."""
    half, diff = 0.5 * (rr + zz), 0.5 * (rr - zz)
    radius = math.sqrt(diff * diff + rz * rz)
    if radius <= 1e-300:
        return half, half, 1.0, 0.0
    cos2 = diff / radius
    if cos2 >= 0:
        cs = math.sqrt(0.5 * (1 + cos2))
        sn = 0.5 * rz / (radius * cs)
    else:
        sn = math.copysign(math.sqrt(0.5 * (1 - cos2)), rz)
        cs = 0.5 * rz / (radius * sn)
    return half + radius, half - radius, cs, sn
