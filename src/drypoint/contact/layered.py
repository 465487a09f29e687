"""Rigid tip on a layered elastic half-space: the exact frictionless axisymmetric solution.

Any number of layers, any convex profile. Force, depth, contact stiffness and effective modulus at
given contact radii, or at given depths or forces. The effective modulus is E_eff* = S/(2a), the
plane-strain modulus of the homogeneous half-space with the same stiffness at the same contact
radius; it depends on a and the layers and not on the profile, because an added depth adds the
field of a flat punch of radius a [sneddon1965] [perriot2004].

Linear elasticity, small slopes, no friction, no adhesion. Lengths in m, moduli in Pa, forces in N.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from drypoint.contact.layered_solve import Solution, mesh, solve
from drypoint.contact.layered_stack import Layer, Medium, Stack, film
from drypoint.contact.layered_table import panels_for, tabulate
from drypoint.contact.profiles import Profile, check_radius
from drypoint.errors import ContactError

Floats = NDArray[np.float64]

__all__ = [
    "Contact",
    "Layer",
    "Medium",
    "Stack",
    "at_depth",
    "at_force",
    "contact",
    "effective_modulus",
    "film",
    "punch_stiffness",
    "solution",
]


@dataclass(frozen=True)
class Contact:
    """Contact at several loads; all arrays have shape (n,).

    Parameters
    ----------
    radius : array
        Contact radius a, m.
    force, depth : array
        P in N and h in m.
    stiffness : array
        S = dP/dh, N/m.
    contact_depth : array
        Height of the profile at the edge of the contact, h_c, m.
    E_eff : array
        Effective plane-strain modulus S/(2a), Pa.
    """

    radius: Floats
    force: Floats
    depth: Floats
    stiffness: Floats
    contact_depth: Floats
    E_eff: Floats


def solution(stack: Stack, profile: Profile | None, radius: float) -> Solution:
    """Solution of the integral equation for one contact radius (m); no profile is a flat punch."""
    unit = stack.unit if stack.layers else radius
    table = tabulate(stack, panels_for(stack, radius))
    breaks = () if profile is None else tuple(b / unit for b in profile.breaks)
    meshed = mesh(radius / unit, breaks, table.coefficients)
    x = meshed[1] * unit
    shape = np.zeros_like(x) if profile is None else profile.transform(x) / unit
    return solve(meshed, shape)


def contact(stack: Stack, profile: Profile, radius: ArrayLike) -> Contact:
    """The contact at given contact radii.

    Parameters
    ----------
    stack : Stack
    profile : Profile
    radius : array_like, shape (n,)
        Contact radii, m.

    Raises
    ------
    ContactError
        When a radius is not positive or lies beyond the profile.
    """
    a = check_radius(profile, radius)
    force, depth, E_eff = np.empty_like(a), np.empty_like(a), np.empty_like(a)
    for i, x in enumerate(a):
        unit = stack.unit if stack.layers else float(x)
        one = solution(stack, profile, float(x))
        h = one.depth
        sums = one.weight @ one.y
        depth[i] = h * unit
        force[i] = 2 * stack.top.E_star * (h * sums[0] - sums[1]) * unit * unit
        E_eff[i] = stack.top.E_star * sums[0] * unit / x
    return Contact(a, force, depth, 2 * a * E_eff, np.asarray(profile.height(a)), E_eff)


def effective_modulus(stack: Stack, radius: ArrayLike) -> Floats:
    """Effective plane-strain modulus E_eff* = S/(2a) at given contact radii (m), Pa, shape (n,)."""
    flat = Profile("flat punch", np.zeros_like, np.zeros_like)
    a = check_radius(flat, radius)
    out = np.empty_like(a)
    for i, x in enumerate(a):
        unit = stack.unit if stack.layers else float(x)
        one = solution(stack, None, float(x))
        out[i] = stack.top.E_star * (one.weight @ one.y[:, 0]) * unit / x
    return out


def punch_stiffness(stack: Stack, radius: ArrayLike) -> Floats:
    """Stiffness P/h of a flat-ended cylinder, N/m, shape (n,)."""
    a = np.atleast_1d(np.asarray(radius, dtype=float))
    return 2 * a * effective_modulus(stack, a)


def at_depth(stack: Stack, profile: Profile, depth: ArrayLike) -> Contact:
    """The contact at given depths (m), found by the contact radius; depth grows with radius."""
    return _inverted(stack, profile, depth, "depth")


def at_force(stack: Stack, profile: Profile, force: ArrayLike) -> Contact:
    """The contact at given forces (N), found by the contact radius; force grows with radius."""
    return _inverted(stack, profile, force, "force")


def _inverted(stack: Stack, profile: Profile, wanted: ArrayLike, what: str) -> Contact:
    target = np.atleast_1d(np.asarray(wanted, dtype=float))
    if target.ndim != 1 or not np.all((target > 0) & np.isfinite(target)):
        raise ContactError(
            f"A {what} in contact is a positive number.", remedy="Leave out tests without contact."
        )
    found = []
    guess = stack.unit if np.isinf(profile.reach) else min(stack.unit, profile.reach / 2)
    for t in target:
        guess = _radius(stack, profile, float(t), what, guess)
        found.append(guess)
    return contact(stack, profile, np.array(found))


def _radius(stack: Stack, profile: Profile, target: float, what: str, guess: float) -> float:
    """Contact radius at which depth or force is the target, to 1e-12, in logarithms."""
    last = float(np.log(profile.reach))

    def gap(x: float) -> float:
        one = contact(stack, profile, np.exp(min(x, last)))
        return float(np.log(max(getattr(one, what)[0] / target, 1e-300)))

    x = float(np.log(guess))
    step = gap(x)
    for _ in range(200):
        if step == 0.0:
            return float(np.exp(x))
        # Force goes at least as the radius: a step of the same size in ln a is a fair guess.
        move = -np.clip(step, 0.1, 2.0) if step > 0 else np.clip(-step, 0.1, 2.0)
        new_x = min(x + float(move), last)
        if new_x == x:
            raise ContactError(
                f"The {what} asked for needs a contact beyond the {profile.name} profile.",
                remedy="Use a profile that reaches further.",
            )
        new = gap(new_x)
        if new * step <= 0:
            return float(np.exp(brentq(gap, x, new_x, xtol=1e-13, rtol=1e-13)))
        x, step = new_x, new
    raise ContactError(
        f"No contact radius was found for the {what} asked for.", remedy="Check its unit."
    )
