"""Profiles of rigid bodies of revolution: height f(r) above the tip, and its Abel transform.

The transform is g(x) = x times the integral from 0 to x of f'(r) / sqrt(x^2 - r^2) dr: on a
homogeneous half-space the depth at contact radius a is g(a) [sneddon1965]. Lengths in m. Only
convex profiles: of others the contact could be a ring.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.errors import ContactError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Profile:
    """A convex body of revolution; build it with the functions of this module.

    Parameters
    ----------
    name : str
    height, transform : callable
        f(r) and g(x), m to m, for arrays from zero up.
    breaks : tuple of float
        Radii (m) at which f is not smooth, other than 0.
    reach : float
        Largest radius (m) for which the profile is known.
    """

    name: str
    height: Callable[[Floats], Floats]
    transform: Callable[[Floats], Floats]
    breaks: tuple[float, ...] = ()
    reach: float = np.inf


def _positive(value: float, what: str) -> float:
    if not 0 < value < np.inf:
        raise ContactError(
            f"The {what} of a tip is a positive number, not {value:.4g}.",
            remedy="Give it in SI units.",
        )
    return float(value)


def _cot(half_angle: float) -> float:
    if not 0 < half_angle < np.pi / 2:
        raise ContactError(
            f"The half angle of a cone lies between 0 and 90 degrees, not at {half_angle:.4g} rad.",
            remedy="Give the angle between axis and flank, in rad.",
        )
    return float(1 / np.tan(half_angle))


def cone(half_angle: float) -> Profile:
    """Cone of half angle psi (rad): f = r cot(psi), g = (pi/2) x cot(psi) [sneddon1965]."""
    c = _cot(half_angle)
    return Profile("cone", lambda r: c * r, lambda x: np.pi / 2 * c * x)


def paraboloid(radius: float) -> Profile:
    """The sphere of [hertz1881]: f = r^2 / (2R), g = x^2 / R."""
    R = _positive(radius, "radius")
    return Profile("paraboloid", lambda r: r * r / (2 * R), lambda x: x * x / R)


def sphere(radius: float) -> Profile:
    """A true sphere: f = R - sqrt(R^2 - r^2), g = (x/2) ln((R + x)/(R - x)) [sneddon1965]."""
    R = _positive(radius, "radius")
    return Profile(
        "sphere",
        lambda r: r * r / (R + np.sqrt(R * R - r * r)),
        lambda x: x * np.arctanh(x / R),
        (R,),
        R * (1 - 1e-9),
    )


def power(exponent: float, scale: float) -> Profile:
    """f = L (r/L)^n with exponent n >= 1 and scale L (m) [sneddon1965].

    g = L (x/L)^n n sqrt(pi)/2 Gamma(n/2) / Gamma((n + 1)/2).
    """
    from scipy.special import gamma

    n, L = float(exponent), _positive(scale, "scale")
    if not 1 <= n < np.inf:
        raise ContactError(
            f"A power profile with exponent {n:.4g} is not convex.", remedy="Use 1 or more."
        )
    factor = n * np.sqrt(np.pi) / 2 * gamma(n / 2) / gamma((n + 1) / 2)
    return Profile("power", lambda r: L * (r / L) ** n, lambda x: factor * L * (x / L) ** n)


def blunted_cone(half_angle: float, radius: float) -> Profile:
    """Cone whose end is a paraboloid of radius R, tangent to it at b = R cot(psi).

    Up to b: g = x^2/R; beyond: g = x [(x - sqrt(x^2 - b^2))/R + cot(psi) acos(b/x)]
    (elementary integrals of the definition).
    """
    c, R = _cot(half_angle), _positive(radius, "radius")
    b = R * c

    def height(r: Floats) -> Floats:
        return np.where(r < b, r * r / (2 * R), c * r - b * c / 2)

    def transform(x: Floats) -> Floats:
        y = np.maximum(x, b)
        beyond = y * ((y - np.sqrt(y * y - b * b)) / R + c * np.arccos(b / y))
        return np.where(x < b, x * x / R, beyond)

    return Profile("blunted cone", height, transform, (b,))


def truncated_cone(half_angle: float, flat: float) -> Profile:
    """Cone with a flat end of radius b (m): g = x cot(psi) acos(b/x) beyond b, 0 before."""
    c, b = _cot(half_angle), _positive(flat, "flat radius")

    def transform(x: Floats) -> Floats:
        y = np.maximum(x, b)
        return np.asarray(y * c * np.arccos(b / y))

    return Profile("truncated cone", lambda r: c * np.maximum(r - b, 0), transform, (b,))


def from_slope(r: ArrayLike, slope: ArrayLike) -> Profile:
    """A profile whose slope f' is linear between the radii r (m), and constant before the first.

    For each piece f' = p + q r the transform is x [p asin(r/x) - q sqrt(x^2 - r^2)] between its
    ends: exact for the profile given.

    Raises
    ------
    ContactError
        When radii do not increase from zero up, or the slope falls (not convex).
    """
    x, s = np.asarray(r, dtype=float), np.asarray(slope, dtype=float)
    if x.ndim != 1 or x.shape != s.shape or len(x) < 2 or not np.all(np.isfinite(x + s)):
        raise ContactError(
            "A profile needs two or more radii with a slope each, all finite numbers.",
            remedy="Check the table of the tip.",
        )
    if x[0] < 0 or np.any(np.diff(x) <= 0):
        raise ContactError(
            "The radii of a profile do not increase from zero up.", remedy="Sort the table."
        )
    if s[0] < 0 or np.any(np.diff(s) < -1e-9 * np.max(np.abs(s))):
        raise ContactError(
            "The profile is not convex: its slope falls somewhere.",
            remedy="Smooth the area function, or use a blunted cone fitted to it.",
        )
    if x[0] > 0:
        x, s = np.concatenate([[0.0], x]), np.concatenate([s[:1], s])
    q = np.diff(s) / np.diff(x)
    p = s[:-1] - q * x[:-1]
    z = np.concatenate([[0.0], np.cumsum((s[1:] + s[:-1]) / 2 * np.diff(x))])

    def height(at: Floats) -> Floats:
        i = np.clip(np.searchsorted(x, at, side="right") - 1, 0, len(q) - 1)
        d = at - x[i]
        return np.asarray(z[i] + s[i] * d + q[i] * d * d / 2)

    def transform(at: Floats) -> Floats:
        y = np.asarray(at, dtype=float)[..., None]
        safe = np.where(y > 0, y, 1.0)
        ends = np.minimum(x, safe)
        arc = np.arcsin(ends / safe)
        root = np.sqrt(np.maximum(safe * safe - ends * ends, 0.0))
        total = np.sum(p * np.diff(arc) - q * np.diff(root), axis=-1)
        return np.asarray(np.asarray(at) * total)

    return Profile("tabulated", height, transform, (), float(x[-1]))


def from_area(depth: ArrayLike, area: ArrayLike, area_slope: ArrayLike) -> Profile:
    """Equivalent body of revolution of an area function: the same projected area at each depth.

    r = sqrt(A/pi) and f' = 2 pi r / (dA/dh), linear in r between the depths given.

    Parameters
    ----------
    depth, area, area_slope : array_like, shape (n,)
        h (m, increasing, above zero), A (m^2), dA/dh (m). Give the shallowest depths densely:
        above the first the slope is taken linear, so as to reach it at its depth.
    """
    h, A, slope = (np.asarray(x, dtype=float) for x in (depth, area, area_slope))
    if not (np.all(h > 0) and np.all(A > 0) and np.all(slope > 0)):
        raise ContactError(
            "An area function must be positive and grow with depth.",
            remedy="Leave out depths where it does not, and depth zero.",
        )
    r = np.sqrt(A / np.pi)
    s = 2 * np.pi * r / slope
    start = float(np.clip(2 * h[0] / r[0] - s[0], 0.0, s[0]))
    return from_slope(np.concatenate([[0.0], r]), np.concatenate([[start], s]))


def check_radius(profile: Profile, a: Any) -> Floats:
    """Contact radii as an array; refuses what is not positive or beyond the profile."""
    out = np.atleast_1d(np.asarray(a, dtype=float))
    if out.ndim != 1 or not np.all((out > 0) & np.isfinite(out)):
        raise ContactError(
            "A contact radius is a positive length.", remedy="Leave out tests without contact."
        )
    if np.any(out > profile.reach):
        raise ContactError(
            f"The contact radius {out.max():.4g} m is beyond the {profile.name} profile, known to "
            f"{profile.reach:.4g} m.",
            remedy="Use a profile that reaches further, or smaller loads.",
        )
    return out
