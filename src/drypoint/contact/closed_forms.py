"""Rigid indenters on an elastic half-space: sphere, cone, flat punch, point force.

Symbols: E* plane-strain (or reduced) modulus in Pa, h depth below the undeformed surface in m,
a contact radius in m, P force in N, S = dP/dh in N/m. For every smooth body of revolution
S = 2 a E* [sneddon1965]. A depth below zero is "not yet in contact": force, radius and stiffness
are zero there. NaN stays NaN. All functions broadcast and accept complex numbers.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]


def _touching(depth: ArrayLike) -> Array:
    h = np.asarray(depth)
    return np.where(h.real < 0, 0.0, h)


def sphere_force(E_star: ArrayLike, radius: ArrayLike, depth: ArrayLike) -> Array:
    """Force on a sphere, P = (4/3) E* R^(1/2) h^(3/2), N [hertz1881] [johnson1985]."""
    h = _touching(depth)
    return np.asarray(4 / 3 * np.asarray(E_star) * np.sqrt(np.asarray(radius) * h) * h)


def sphere_depth(E_star: ArrayLike, radius: ArrayLike, force: ArrayLike) -> Array:
    """Depth of a sphere under a force, h = (9 P^2 / (16 E*^2 R))^(1/3), m [hertz1881]."""
    x = 3 / 4 * _touching(force) / (np.asarray(E_star) * np.sqrt(np.asarray(radius)))
    return np.asarray(x ** (2 / 3))


def sphere_contact_radius(radius: ArrayLike, depth: ArrayLike) -> Array:
    """Contact radius of a sphere, a = sqrt(R h), m; the contact depth is h/2 [hertz1881]."""
    return np.sqrt(np.asarray(radius) * _touching(depth))


def sphere_stiffness(E_star: ArrayLike, radius: ArrayLike, depth: ArrayLike) -> Array:
    """Stiffness of a sphere, S = 2 E* sqrt(R h), N/m [hertz1881] [sneddon1965]."""
    return 2 * np.asarray(E_star) * sphere_contact_radius(radius, depth)


def sphere_peak_pressure(E_star: ArrayLike, radius: ArrayLike, depth: ArrayLike) -> Array:
    """Pressure at the centre under a sphere, Pa [hertz1881] [johnson1985].

    p_0 = 3 P / (2 pi a^2) = (2/pi) E* sqrt(h/R) = (6 P E*^2 / (pi^3 R^2))^(1/3); 3/2 of the mean.
    """
    return 2 / np.pi * np.asarray(E_star) * np.sqrt(_touching(depth) / np.asarray(radius))


def sphere_force_at_pressure(E_star: ArrayLike, radius: ArrayLike, p_0: ArrayLike) -> Array:
    """Force at which the peak pressure is p_0: P = pi^3 R^2 p_0^3 / (6 E*^2), N [johnson1985]."""
    p, R, E = np.asarray(p_0), np.asarray(radius), np.asarray(E_star)
    return np.asarray(np.pi**3 / 6 * R * R * p * p * p / (E * E))


def cone_force(E_star: ArrayLike, half_angle: ArrayLike, depth: ArrayLike) -> Array:
    """Force on a cone of half angle psi (rad), P = (2/pi) E* tan(psi) h^2, N [sneddon1965]."""
    h = _touching(depth)
    return 2 / np.pi * np.asarray(E_star) * np.tan(half_angle) * h * h


def cone_depth(E_star: ArrayLike, half_angle: ArrayLike, force: ArrayLike) -> Array:
    """Depth of a cone under a force, h = sqrt(pi P / (2 E* tan(psi))), m [sneddon1965]."""
    return np.sqrt(np.pi / 2 * _touching(force) / (np.asarray(E_star) * np.tan(half_angle)))


def cone_contact_radius(half_angle: ArrayLike, depth: ArrayLike) -> Array:
    """Contact radius of a cone, a = (2/pi) tan(psi) h, m; h_c = 2 h / pi [sneddon1965]."""
    return np.asarray(2 / np.pi * np.tan(half_angle) * _touching(depth))


def cone_stiffness(E_star: ArrayLike, half_angle: ArrayLike, depth: ArrayLike) -> Array:
    """Stiffness of a cone, S = (4/pi) E* tan(psi) h, N/m [sneddon1965]."""
    return 2 * np.asarray(E_star) * cone_contact_radius(half_angle, depth)


def cone_mean_pressure(E_star: ArrayLike, half_angle: ArrayLike) -> Array:
    """Mean pressure under a cone, p_m = (E*/2) cot(psi), Pa: the highest elastic "hardness".

    Independent of depth [sneddon1965].
    """
    return np.asarray(np.asarray(E_star) / (2 * np.tan(half_angle)))


def punch_force(E_star: ArrayLike, radius: ArrayLike, depth: ArrayLike) -> Array:
    """Force on a flat-ended cylinder of radius a, P = 2 a E* h, N [sneddon1965]."""
    return punch_stiffness(E_star, radius) * _touching(depth)


def punch_stiffness(E_star: ArrayLike, radius: ArrayLike) -> Array:
    """Stiffness of a flat-ended cylinder of radius a, S = 2 a E*, N/m [sneddon1965]."""
    return np.asarray(2 * np.asarray(radius) * np.asarray(E_star))


def punch_pressure(force: ArrayLike, radius: ArrayLike, r: ArrayLike) -> Array:
    """Pressure under a flat-ended cylinder, p(r) = P / (2 pi a sqrt(a^2 - r^2)), Pa.

    Infinite at the edge r = a, zero outside [sneddon1965] [johnson1985].
    """
    P, a, x = np.asarray(force), np.asarray(radius), np.asarray(r)
    inside = np.abs(x.real) <= a.real
    gap = np.where(inside, a * a - x * x, 1.0)
    with np.errstate(divide="ignore"):
        return np.where(inside, P / (2 * np.pi * a * np.sqrt(gap)), 0.0)


def point_force_displacement(E: ArrayLike, nu: ArrayLike, force: ArrayLike, r: ArrayLike) -> Array:
    """Sinking of the surface at distance r from a point force, m [boussinesq1885] [johnson1985].

    w(r) = (1 - nu^2) P / (pi E r).
    """
    v = np.asarray(nu)
    return np.asarray((1 - v * v) * np.asarray(force) / (np.pi * np.asarray(E) * np.asarray(r)))
