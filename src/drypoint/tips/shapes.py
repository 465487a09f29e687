"""Area and slope of each closed form: every function returns (A_p, dA_p/dh), SI.

All broadcast and accept complex depths and parameters; branches look at the real part, so a
complex step gives the right first derivative [squire1998]. Depths are zero or above: the caller
(:mod:`drypoint.tips.area`) keeps the others out.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[Any]


def sharp(h: Array, factor: float, angle: Array) -> tuple[Array, Array]:
    """Pyramid or cone, A = c tan^2(angle) h^2; c = 3 sqrt(3), 4 or pi [iso14577-1-2015]."""
    c = factor * np.tan(angle) ** 2
    return np.asarray(c * h * h), np.asarray(2 * c * h)


def sphere(h: Array, radius: Array) -> tuple[Array, Array]:
    """Sphere, A = pi (2 R h - h^2) for h <= R. NaN deeper, where the shank is not known."""
    known = np.where(h.real <= radius.real, 1.0, np.nan)  # a factor: both parts become NaN
    return np.asarray(known * np.pi * (2 * radius - h) * h), 2 * np.pi * known * (radius - h)


def sphere_cone_depth(radius: Array, tan_psi: Array) -> Array:
    """Depth at which a sphere goes over into its tangent cone, h_t = R (1 - sin psi), m."""
    return np.asarray(radius * (1 - tan_psi / np.sqrt(1 + tan_psi * tan_psi)))


def sphere_cone(h: Array, radius: Array, tan_psi: Array) -> tuple[Array, Array]:
    """Cone of half angle psi with a spherical end, tangent to it at h_t = R (1 - sin psi).

    A = pi (2 R h - h^2) up to h_t, then pi tan^2(psi) (h + R (1/sin(psi) - 1))^2. Continuous with
    a continuous slope (plane geometry).
    """
    cap = h.real <= sphere_cone_depth(radius, tan_psi).real
    lost = radius * (np.sqrt(1 + tan_psi * tan_psi) / tan_psi - 1)
    c = np.pi * tan_psi * tan_psi
    value = np.where(cap, np.pi * (2 * radius - h) * h, c * (h + lost) ** 2)
    return value, np.where(cap, 2 * np.pi * (radius - h), 2 * c * (h + lost))


def flat_punch(h: Array, radius: Array) -> tuple[Array, Array]:
    """Flat-ended cylinder, A = pi R^2 at every depth."""
    return np.asarray(np.pi * radius * radius + 0 * h), np.asarray(0 * (h + radius))


def series_power(k: int) -> float:
    """Power of h that goes with C_k: 2, 1, 1/2, 1/4 ... = 2^(1 - k)."""
    return 2.0 ** (1 - k)


def series(h: Array, coefficients: Sequence[Array]) -> tuple[Array, Array]:
    """A = C0 h^2 + C1 h + C2 h^(1/2) + C3 h^(1/4) + ... + C8 h^(1/128) [oliver1992], in SI.

    C_k has the unit m^(2 - p), p = 2^(1 - k). At h = 0 the area is zero; its slope there is
    C1 plus infinity for every root with a coefficient (NaN where those are complex).
    """
    value: Array = np.zeros_like(h)
    slope: Array = np.zeros_like(h)
    root = h
    with np.errstate(divide="ignore", invalid="ignore"):
        for k, c in enumerate(coefficients):
            if k == 0:
                value, slope = value + c * h * h, slope + 2 * c * h
                continue
            if k > 1:
                root = np.sqrt(root)
            value = value + c * root
            if k == 1:
                slope = slope + c
            elif np.any(c != 0):
                slope = slope + np.where(c != 0, series_power(k) * c * (root / h), 0.0)
    return value, slope
