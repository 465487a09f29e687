"""Where a fit begins, how its unknowns are scaled, and the inequalities that it must keep."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.calibration.least import solve
from drypoint.calibration.rows import ReferenceTests
from drypoint.contact import unloading as un
from drypoint.tips.area import area, area_slope, parameter_names
from drypoint.tips.geometry import AREA_FACTOR, Geometry
from drypoint.tips.tip import AreaFunction, Tip
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]

#: Depths at which positive area and growth are asked for, and how far each must keep from zero,
#: as a share of the ideal tip's.
GRID, MARGIN = 60, 1e-3
_SHARPEST, _BLUNTEST = np.radians(15.0), np.radians(82.0)


@dataclass(frozen=True)
class Begun:
    """Template tip, names and sizes of the area's inputs, their starting values."""

    template: Tip
    names: tuple[str, ...]
    scale: Floats
    value: Floats


def implied(t: ReferenceTests, k: Floats, eps: Floats, C_f: float) -> tuple[Floats, Floats]:
    """Contact depth and area A = (k/C_c)^2 of each row at a frame compliance [oliver1992].

    ``k`` = sqrt(pi) / (2 beta gamma E_r) of its material.
    """
    C_c = t.C - C_f
    return t.h - C_f * t.F - eps * t.F * C_c, (k / C_c) ** 2


def template(geometry: Geometry, kind: str, n: int, knots: tuple[float, ...], base: Tip) -> Tip:
    """A tip that carries the form only."""
    names = parameter_names(kind, len(knots) if kind == "table" else n, geometry.shape)
    joint = Joint(names, np.ones(len(names)), np.zeros((len(names),) * 2))
    return Tip(
        base.name, geometry, AreaFunction(kind, joint, knots), base.E_i, base.nu_i,
        base.u_E_i, base.u_nu_i,
    )  # fmt: skip


def begin(
    geometry: Geometry, kind: str, n: int, base: Tip, h: Floats, A: Floats, leading: float | None
) -> Begun:
    """Starting values from implied areas ``A`` at contact depths ``h``."""
    if kind == "table":
        return _table(geometry, n, base, h, A)
    if kind == "blunted" or (kind == "ideal" and geometry.shape == "sphero-cone"):
        return _blunted(geometry, base, kind, h, A, leading)
    if kind == "ideal":
        return _plain(geometry, base, h, A)
    tip = template(geometry, "series", n, (), base)
    names = tip.area.parameters.names
    h0 = float(np.sqrt(h.min() * h.max()))
    ideal = _ideal(geometry, h0, A, h)
    scale = np.array([ideal * h0 ** -(2.0 ** (1 - j)) for j in range(n)])
    basis = np.stack([scale[j] * h ** (2.0 ** (1 - j)) for j in range(n)], axis=1)
    value = np.zeros(n)
    free = np.arange(n) > 0 if leading is not None else np.ones(n, dtype=bool)
    if leading is not None:
        value[0] = leading / scale[0]
    G, g = inequalities(tip, names, scale, geometry, (h.min(), h.max()), A)
    rest = A - basis @ value
    if np.any(free):
        value[free], _ = solve(
            basis[:, free] / A[:, None],
            rest / A,
            G[:, free],
            g - G @ value + G[:, free] @ value[free],
        )
    return Begun(tip, names, scale, value * scale)


def _ideal(geometry: Geometry, h0: float, A: Floats, h: Floats) -> float:
    c = geometry.projected_coefficient
    return float(
        c * h0 * h0 if np.isfinite(c) else np.exp(np.interp(h0, np.sort(h), np.log(np.sort(A))))
    )


def _blunted(
    geometry: Geometry, base: Tip, kind: str, h: Floats, A: Floats, leading: float | None
) -> Begun:
    tip = template(geometry, kind, 2, (), base)
    factor = AREA_FACTOR[geometry.sides]
    nominal = float(geometry.angle or np.radians(65.0))
    if leading is not None:
        tan = float(np.sqrt(leading / factor))
        offset = float(np.median(np.sqrt(A / factor) / tan - h))
    else:
        tan, cut = np.polyfit(h, np.sqrt(A / factor), 1)
        tan = float(np.clip(tan, np.tan(nominal) * 0.5, np.tan(nominal) * 2))
        offset = float(cut / tan)
    psi = np.arctan(tan * np.sqrt(factor / np.pi))
    R = offset / (1 / np.sin(psi) - 1)
    size = float(np.median(h)) / (1 / np.sin(psi) - 1)
    # A start within the cap at no row: from there the radius moves freely.
    R = float(np.clip(R, 0.02 * size, 0.9 * h.min() / (1 - np.sin(psi))))
    return Begun(
        tip,
        ("tip.radius", "tip.angle"),
        np.array([0.1 * size, 0.01]),
        np.array([R, np.arctan(tan)]),
    )


def _plain(geometry: Geometry, base: Tip, h: Floats, A: Floats) -> Begun:
    """Radius of a sphere, A = pi (2 R h - h^2), or angle of a sharp pyramid or cone."""
    tip = template(geometry, "ideal", 1, (), base)
    if geometry.shape == "sphere":
        R = max(float(np.median((A / np.pi + h * h) / (2 * h))), 1.02 * float(h.max()))
        return Begun(tip, ("tip.radius",), np.array([R]), np.array([R]))
    factor = AREA_FACTOR[geometry.sides]
    angle = float(np.arctan(np.median(np.sqrt(A / factor) / h)))
    return Begun(tip, ("tip.angle",), np.array([0.01]), np.array([angle]))


def _table(geometry: Geometry, n: int, base: Tip, h: Floats, A: Floats) -> Begun:
    knots = np.geomspace(h.min(), h.max(), n)
    x, y = np.log(h), np.log(A)
    width = np.log(h.max() / h.min()) / (n - 1)
    value = np.empty(n)
    for i, k in enumerate(np.log(knots)):
        w = np.sqrt(np.exp(-0.5 * ((x - k) / (0.6 * width)) ** 2) + 1e-9)
        line = np.linalg.lstsq(np.column_stack([w, w * (x - k)]), w * y, rcond=None)[0]
        value[i] = line[0]
    for i in range(1, n):
        value[i] = max(value[i], value[i - 1] + 0.05)
    tip = template(geometry, "table", n, tuple(float(k) for k in knots), base)
    return Begun(tip, tip.area.parameters.names, np.exp(value), np.exp(value))


def inequalities(
    tip: Tip,
    names: tuple[str, ...],
    scale: Floats,
    geometry: Geometry,
    reach: tuple[float, float],
    A: Floats,
) -> tuple[Floats, Floats]:
    """G x >= g on the scaled inputs of the area: positive and growing from reach[0] to reach[1]."""
    n = len(names)
    if names == ("tip.radius",):
        return np.array([[scale[0] / reach[1]]]), np.array([1.0 + MARGIN])
    if names == ("tip.angle",):
        return np.array([[scale[0]], [-scale[0]]]), np.array([_SHARPEST, -_BLUNTEST])
    if names == ("tip.radius", "tip.angle"):
        G = np.array([[scale[0], 0.0], [0.0, scale[1]], [0.0, -scale[1]]])
        g = np.array([1e-3 * scale[0], _SHARPEST, -_BLUNTEST])
        return G / scale.max(), g / scale.max()
    if tip.area.kind == "table":
        grow = np.zeros((n - 1, n))
        for i in range(n - 1):
            grow[i, i], grow[i, i + 1] = -scale[i] / scale[i + 1], 1.0
        return np.vstack([np.eye(n), grow]), np.full(2 * n - 1, MARGIN)
    h = np.geomspace(*reach, GRID)
    typical = float(np.median(A)) * (h / np.sqrt(reach[0] * reach[1])) ** 1.5
    value, slope = np.empty((GRID, n)), np.empty((GRID, n))
    for j in range(n):
        one = {name: (scale[j] if i == j else 0.0) for i, name in enumerate(names)}
        value[:, j] = area(tip, one, h) / typical
        slope[:, j] = area_slope(tip, one, h) * h / typical
    return np.vstack([value, slope]), np.full(2 * GRID, MARGIN)


def contact_constant(
    t: ReferenceTests, E_i: float, nu_i: float, beta: float, radial: bool, half_angle: float
) -> Floats:
    """k = sqrt(pi)/(2 beta gamma E_r) of each row's material: C_c = k / sqrt(A_p)."""
    k = []
    for ref in t.materials:
        gamma = float(un.radial_factor(ref.nu, half_angle)) if radial else 1.0
        E_r = float(un.combined_modulus(ref.E, ref.nu, E_i, nu_i))
        k.append(np.sqrt(np.pi) / (2 * beta * gamma * E_r))
    return np.array(k)[t.material]
