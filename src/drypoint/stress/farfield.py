"""What lies outside the mesh: the half-space's answer to the whole force, one number.

Far from the contact every field is that of a point force on the surface, whatever the tip and
whatever yields beneath it. The nodes on the outer edge of the mesh follow that field with one
unknown amplitude, and the outside resists with its own stiffness.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]


def point_force_displacement(
    E: float, nu: float, r: ArrayLike, z: ArrayLike
) -> tuple[Array, Array]:
    """Displacement (u_r, u_z) a unit force along -z gives at (r, z), z <= 0; m/N.

    With depth d = -z and R = sqrt(r^2 + d^2): u_r = (1 + nu)/(2 pi E R) [r d/R^2 -
    (1 - 2 nu) r/(R + d)], u_z = -(1 + nu)/(2 pi E R) [d^2/R^2 + 2 (1 - nu)]
    [boussinesq1885] [johnson1985].
    """
    r, d = np.asarray(r), -np.asarray(z)
    R = np.hypot(r, d)
    c = (1 + nu) / (2 * np.pi * E * R)
    u_r = c * (r * d / R**2 - (1 - 2 * nu) * r / (R + d))
    return u_r, -c * (d * d / R**2 + 2 * (1 - nu))


def point_force_stress(nu: float, r: ArrayLike, z: ArrayLike) -> tuple[Array, Array, Array, Array]:
    """Stress (rr, rz, zz, theta theta) of a unit force along -z at (r, z), z <= 0; Pa/N.

    sigma_r = [(1 - 2 nu) R/(R + d) - 3 r^2 d/R^3]/(2 pi R^2), sigma_z = -3 d^3/(2 pi R^5),
    sigma_theta = (1 - 2 nu)/(2 pi R^2) [d/R - R/(R + d)], |tau_rz| = 3 r d^2/(2 pi R^5)
    [boussinesq1885] [johnson1985].
    """
    r, d = np.asarray(r), -np.asarray(z)
    R = np.hypot(r, d)
    c = 1 / (2 * np.pi * R**2)
    rr = c * ((1 - 2 * nu) * R / (R + d) - 3 * r * r * d / R**3)
    tt = c * (1 - 2 * nu) * (d / R - R / (R + d))
    return rr, 3 * r * d * d / (2 * np.pi * R**5), -3 * d**3 / (2 * np.pi * R**5), tt


def outside_stiffness(E: float, nu: float, r: float, z: float, points: int = 40) -> float:
    """Stiffness of all that lies outside the cylinder of radius ``r`` and depth ``-z``, m/N.

    Twice the strain energy of a unit force's field there: minus the work its tractions do on the
    cylinder's wall and floor. Gauss points in the angle, where the integrand is smooth.
    """
    x, w = np.polynomial.legendre.leggauss(points)
    t, share = 0.5 * (x + 1), 0.5 * w
    d = -z * t
    u_r, u_z = point_force_displacement(E, nu, r, -d)
    rr, rz, _, _ = point_force_stress(nu, r, -d)
    wall = 2 * np.pi * r * np.sum(share * -z * (rr * u_r + rz * u_z))
    s = r * t
    u_r, u_z = point_force_displacement(E, nu, s, z)
    _, rz, zz, _ = point_force_stress(nu, s, z)
    floor = 2 * np.pi * np.sum(share * r * s * -(rz * u_r + zz * u_z))
    return float(-(wall + floor))
