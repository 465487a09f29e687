"""Stress in the half-space under a sphere, in units of the peak pressure p_0.

Lengths are in units of the contact radius a, nu is Poisson's ratio of the half-space. Tension is
positive. Formulas: [johnson1985] section 3.4 (surface and axis) and 6.1 (first yield).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from drypoint.contact.closed_forms import sphere_force_at_pressure

Array = NDArray[Any]


def axis_stress(depth_ratio: ArrayLike, nu: ArrayLike) -> tuple[Array, Array]:
    """Stresses on the axis at z = ``depth_ratio`` * a: (sigma_r / p_0, sigma_z / p_0).

    sigma_z = -1/(1 + z^2); sigma_r = sigma_theta = -(1 + nu)(1 - z atan(1/z)) + 1/(2 (1 + z^2))
    [johnson1985].
    """
    z, v = np.asarray(depth_ratio), np.asarray(nu)
    vertical = 1 / (1 + z * z)
    radial = -(1 + v) * (1 - z * (np.pi / 2 - np.arctan(z))) + vertical / 2
    return np.asarray(radial), np.asarray(-vertical)


def surface_stress(radius_ratio: ArrayLike, nu: ArrayLike) -> tuple[Array, Array, Array]:
    """Stresses on the surface at r = ``radius_ratio`` * a: (sigma_r, sigma_theta, sigma_z) / p_0.

    With s = sqrt(1 - r^2) inside the contact:
    sigma_r = (1 - 2 nu)/3 (1 - s^3)/r^2 - s, sigma_theta = -(1 - 2 nu)/3 (1 - s^3)/r^2 - 2 nu s,
    sigma_z = -s; outside sigma_r = -sigma_theta = (1 - 2 nu)/(3 r^2) [johnson1985].
    (1 - s^3)/r^2 is computed as (1 + s + s^2)/(1 + s), which is exact down to r = 0.
    """
    r, v = np.asarray(radius_ratio), np.asarray(nu)
    q = r * r
    inside = q.real <= 1
    s = np.sqrt(np.where(inside, 1 - q, 0.0))
    ring = np.where(inside, (1 + s + s * s) / (1 + s), 1 / np.where(inside, 1.0, q))
    bend = (1 - 2 * v) / 3 * ring
    return bend - s, -bend - 2 * v * s, -s


def max_shear(nu: float) -> tuple[float, float]:
    """Largest shear stress and its depth on the axis: (tau / p_0, z / a) [johnson1985].

    The zero of d(sigma_r - sigma_z)/dz; for nu = 0.3: 0.310 at 0.481.
    """

    def slope(z: float) -> float:
        acot = np.pi / 2 - np.arctan(z)
        return float((1 + nu) * (acot - z / (1 + z * z)) - 3 * z / (1 + z * z) ** 2)

    z = float(brentq(slope, 1e-3, 3.0, xtol=1e-14))
    radial, vertical = axis_stress(z, nu)
    return float(radial - vertical) / 2, z


def first_yield_force(E_star: float, radius: float, yield_stress: float, nu: float) -> float:
    """Force at which a sphere first makes the half-space yield, N [johnson1985].

    P_Y = pi^3 R^2 p_0^3 / (6 E*^2) with p_0 = Y / (2 tau_max/p_0). Tresca and von Mises agree,
    because two principal stresses are equal on the axis. p_0 = 1.613 Y for nu = 0.3.
    """
    p_0 = yield_stress / (2 * max_shear(nu)[0])
    return float(sphere_force_at_pressure(E_star, radius, p_0))
