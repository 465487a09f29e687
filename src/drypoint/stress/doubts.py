"""How well a problem's numbers are known, and the problem with one of them moved."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from drypoint.stress.profile import Profile
from drypoint.stress.stack import Layer, Material, Stack
from drypoint.stress.touch import CONE, CURVE, FLAT

#: What a doubt may be about. In a solid: Young's modulus (Pa), Poisson's ratio, yield stress (Pa;
#: relative where the solid has a yield table), thickness (m), residual stress (Pa). Of the tip:
#: Young's modulus (Pa), Poisson's ratio, area (relative). Of the load: relative.
SOLID = ("modulus", "ratio", "yield stress", "thickness", "residual stress")
TIP, LOAD = ("tip modulus", "tip ratio", "tip area"), ("load",)


@dataclass(frozen=True)
class Doubt:
    """A standard uncertainty ``u`` of one number: ``what`` of the solid ``solid`` (from the
    surface downwards, from 0; of no meaning for tip and load).

    ``yields`` is the change of the solid's yield stress (Pa) that goes with ``u``, where the yield
    stress was itself found with the number.
    """

    what: str
    u: float
    solid: int = 0
    yields: float = 0.0


def moved_stack(stack: Stack, doubt: Doubt, share: float) -> Stack:
    """The stack with a solid's number moved by ``share`` of its uncertainty.

    Raises
    ------
    StressError
        Where there is no such solid.
    """
    if doubt.what not in SOLID:
        return stack
    by, k = share * doubt.u, doubt.solid
    below = k == len(stack.layers)
    m = _moved(stack.materials[k], doubt.what, by, share * doubt.yields)
    s = stack.stresses[k] + (by if doubt.what == "residual stress" else 0.0)
    if below:
        return Stack(m, stack.layers, s)
    t = stack.layers[k].thickness + (by if doubt.what == "thickness" else 0.0)
    layers = tuple(Layer(m, t, s) if i == k else x for i, x in enumerate(stack.layers))
    return Stack(stack.substrate, layers, stack.residual_stress)


def _moved(m: Material, what: str, by: float, yields: float) -> Material:
    if yields and m.yield_stress is not None:
        m = replace(m, yield_stress=m.yield_stress + yields)
    if what == "modulus":
        return replace(m, E=m.E + by)
    if what == "ratio":
        return replace(m, nu=m.nu + by)
    if what == "yield stress" and m.table:
        return replace(m, table=tuple((x, y * (1 + by)) for x, y in m.table))
    if what == "yield stress" and m.yield_stress is not None:
        return replace(m, yield_stress=m.yield_stress + by)
    return m


def moved_profile(profile: Profile, doubt: Doubt, share: float) -> Profile:
    """The tip with a number moved by ``share`` of its uncertainty; its area alike at all depths."""
    by = share * doubt.u
    if doubt.what == "tip modulus" and profile.E_i is not None:
        return replace(profile, E_i=profile.E_i + by)
    if doubt.what == "tip ratio" and profile.E_i is not None:
        return replace(profile, nu_i=profile.nu_i + by)
    if doubt.what != "tip area":
        return profile
    a, b, c, d = profile.numbers
    wide = float(np.sqrt(1 + by))
    if profile.kind == CURVE:
        return replace(profile, curve=profile.curve * np.array([wide, 1.0, 1 / wide]))
    if profile.kind == FLAT:
        return replace(profile, numbers=(a * wide, b, c, d), r_limit=profile.r_limit * wide)
    if profile.kind == CONE:
        # The round end keeps its radius; where it meets the cone, and what it takes off, follow.
        t = b * wide
        s = float(np.sqrt(1 + t * t))
        return replace(profile, numbers=(a, t, a / s, a * (s / t - 1)))
    return replace(profile, numbers=(a * wide**2, b, c, d))
