"""How well the numbers of ``[stress.NAME]`` are known, in SI."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from drypoint.recipe.base import to_si
from drypoint.recipe.stressing import SolidKeys, StressKeys
from drypoint.tips.area import area
from drypoint.tips.tip import Tip

if TYPE_CHECKING:
    from drypoint.stress import Doubt, Material, Stack

#: Relative step for the derivative of the tip's area by its parameters.
_STEP = 1e-4


def doubts_of(
    keys: StressKeys, stack: Stack, u_nu: float, u_thickness: float, tip: Tip, h: float
) -> tuple[Doubt, ...]:
    """All that is not known exactly: solids from the surface downwards, then the tip.

    Parameters
    ----------
    keys : StressKeys
        With what comes from the specimen's layers put in.
    stack : Stack
    u_nu, u_thickness : float
        Of the specimen's Poisson's ratio and thickness (m), for solids that take them.
    tip : Tip
    h : float
        Depth (m) at which the tip's area is looked at.
    """
    from drypoint.stress import Doubt

    rows = (*keys.layers, keys.substrate)
    found = [d for k, row in enumerate(rows) for d in _of(row, k, stack.materials[k], u_nu)]
    for k, layer in enumerate(keys.layers):
        u = to_si(layer.u_thickness_nm, "nm")
        if layer.thickness_nm is None and u is None:
            u = u_thickness
        found.append(Doubt("thickness", u or 0.0, k))
    if not keys.rigid:
        found += [Doubt("tip modulus", tip.u_E_i), Doubt("tip ratio", tip.u_nu_i)]
    found.append(Doubt("tip area", area_doubt(tip, h)))
    return tuple(d for d in found if d.u > 0)


def _of(keys: SolidKeys, k: int, m: Material, u_specimen: float) -> Iterator[Doubt]:
    from drypoint.stress import Doubt

    u_E = to_si(keys.u_E_GPa, "GPa") or 0.0
    u_nu = keys.u_nu
    if keys.nu is None and u_nu is None and k == 0:
        u_nu = u_specimen
    H = keys.hardness_GPa
    E = m.E
    yield Doubt("modulus", u_E, k, _yields(H, (E - u_E, E + u_E), (m.nu, m.nu)))
    u = u_nu or 0.0
    yield Doubt("ratio", u, k, _yields(H, (E, E), (m.nu - u, m.nu + u)))
    if H is not None:
        # Small on both sides: the whole uncertainty may leave the range of the conversion.
        x = min(keys.u_hardness_GPa, 0.01 * H)
        slope = (_yield(H + x, E, m.nu) - _yield(H - x, E, m.nu)) / (2 * x) if x > 0 else 0.0
        yield Doubt("yield stress", slope * keys.u_hardness_GPa, k)
    elif keys.yield_table:
        yield Doubt("yield stress", keys.u_yield_table, k)
    else:
        yield Doubt("yield stress", to_si(keys.u_yield_GPa, "GPa"), k)
    yield Doubt("residual stress", to_si(keys.u_residual_stress_GPa, "GPa"), k)


def _yield(H: float, E: float, nu: float) -> float:
    from drypoint.stress import yield_from_hardness

    return yield_from_hardness(to_si(H, "GPa"), E, nu)


def _yields(H: float | None, E: tuple[float, float], nu: tuple[float, float]) -> float:
    """Half the change of the yield stress that a hardness stands for, Pa, from end to end."""
    if H is None or (E[0] == E[1] and nu[0] == nu[1]):
        return 0.0
    return (_yield(H, E[1], nu[1]) - _yield(H, E[0], nu[0])) / 2


def area_doubt(tip: Tip, h: float) -> float:
    """Relative standard uncertainty of the tip's area at a depth (m), by its parameters."""
    p = tip.area.parameters
    if not np.any(p.cov):
        return 0.0
    sd = np.sqrt(np.diag(p.cov))
    slopes = []
    for name, x, u in zip(p.names, p.mean, sd, strict=True):
        d = max(_STEP * abs(float(x)), _STEP * float(u))
        ends = [float(area(tip, {name: float(x) + s}, h)) for s in (-d, d)] if d > 0 else [0, 0]
        slopes.append((ends[1] - ends[0]) / (2 * d) if d > 0 else 0.0)
    g = np.array(slopes)
    return float(np.sqrt(max(g @ p.cov @ g, 0.0)) / float(area(tip, {}, h)))
