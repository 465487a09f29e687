"""Areas of a tip at a depth, their slopes, and the inputs they depend on.

Kinds of area function (A_p projected contact area in m^2, h_c contact depth in m):

``ideal``
    The plain shape. Pyramid, cone: c tan^2(angle) h_c^2; sphere: pi (2 R h_c - h_c^2);
    sphero-cone: sphere, then tangent cone; flat punch: pi R^2.
``series``
    C0 h_c^2 + C1 h_c + C2 h_c^(1/2) + ... + C8 h_c^(1/128), coefficients in SI [oliver1992].
``blunted``
    Pyramid (or cone) with a round end: the sphere-cone whose cone has the pyramid's A_p(h).
``table``
    Monotone cubic in logarithms through areas at fixed depths [fritsch1984].

Inputs are looked up by name (``tip.angle``, ``tip.radius``, ``tip.C0``, ``tip.A1``): first in
``theta``, then in the tip's own best values, so that ``theta`` holds only what is varied. Values
in ``theta`` may be complex, or arrays that broadcast with the depth. Branches look at the real
part. A depth below zero gives NaN: there is no such contact. A flat punch is the exception: its
contact depth is zero, read with noise on both sides of it, and its area is the same everywhere.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.errors import TipError
from drypoint.tips import shapes
from drypoint.tips.geometry import AREA_FACTOR, PYRAMIDS
from drypoint.tips.table import table
from drypoint.tips.tip import AREA_KINDS, Tip
from drypoint.uncertainty.joint import Joint, single

Array = NDArray[Any]
Theta = Mapping[str, Any]

#: Most coefficients that a series can have, C0 to C8.
SERIES_TERMS = 9


def parameter_names(kind: str, n: int = 0, shape: str = "Berkovich") -> tuple[str, ...]:
    """Names of an area function's inputs.

    ``n`` is the number of coefficients of a ``series`` or of knots of a ``table``; ``shape`` (see
    :data:`drypoint.tips.geometry.SHAPES`) matters for ``ideal`` only.
    """
    if kind == "series" and 1 <= n <= SERIES_TERMS:
        return tuple(f"tip.C{k}" for k in range(n))
    if kind == "table" and n >= 2:
        return tuple(f"tip.A{k}" for k in range(1, n + 1))
    if kind == "blunted":
        return ("tip.radius", "tip.angle")
    if kind == "ideal":
        if shape == "sphero-cone":
            return ("tip.radius", "tip.angle")
        return ("tip.radius",) if shape in ("sphere", "flat punch") else ("tip.angle",)
    if kind not in AREA_KINDS:
        raise TipError(
            f"“{kind}” is no area function that Drypoint knows.",
            remedy="Use one of: " + ", ".join(AREA_KINDS) + ".",
        )
    raise TipError(
        f"A {kind} cannot have {n} parameters.",
        remedy=f"A series has 1 to {SERIES_TERMS} coefficients, a table two knots or more.",
    )


def value_of(tip: Tip, theta: Theta, name: str) -> Array:
    """Input ``name``: from ``theta``, else the tip's own best value.

    Raises
    ------
    TipError
        When neither has it.
    """
    if name in theta:
        return np.asarray(theta[name])
    if name in tip.area.parameters.names:
        return np.asarray(tip.area.parameters[name])
    known = {"tip.angle": tip.geometry.angle, "tip.radius": tip.geometry.radius}
    value = known.get(name)
    if value is None:
        raise TipError(
            f"Tip “{tip.name}” has no {name.removeprefix('tip.')}, which its area needs.",
            remedy="Give it with the tip's shape or with its area function.",
        )
    return np.asarray(value)


def _tan_psi(tip: Tip, theta: Theta) -> Array:
    """tan of the half angle of the cone with the same A_p(h)."""
    stretch = np.sqrt(AREA_FACTOR[tip.geometry.sides] / np.pi)
    return np.asarray(stretch * np.tan(value_of(tip, theta, "tip.angle")))


def _evaluate(tip: Tip, theta: Theta, h_c: ArrayLike) -> tuple[Array, Array]:
    given = np.asarray(h_c)
    kind, shape = tip.area.kind, tip.geometry.shape
    below = (given.real < 0) & (shape != "flat punch")
    h = np.where(below, 0.0, given)
    if kind == "series":
        names = parameter_names(kind, len(tip.area.parameters.names))
        pair = shapes.series(h, [value_of(tip, theta, n) for n in names])
    elif kind == "table":
        names = parameter_names(kind, len(tip.area.knots))
        pair = table(h, tip.area.knots, [value_of(tip, theta, n) for n in names])
    elif kind == "blunted" or shape == "sphero-cone":
        pair = shapes.sphere_cone(h, value_of(tip, theta, "tip.radius"), _tan_psi(tip, theta))
    elif shape == "sphere":
        pair = shapes.sphere(h, value_of(tip, theta, "tip.radius"))
    elif shape == "flat punch":
        pair = shapes.flat_punch(h, value_of(tip, theta, "tip.radius"))
    else:
        factor = AREA_FACTOR[tip.geometry.sides]
        pair = shapes.sharp(h, factor, value_of(tip, theta, "tip.angle"))
    return _nan_where(below, pair[0]), _nan_where(below, pair[1])


def _nan_where(where: NDArray[np.bool_], value: Array) -> Array:
    nothing = complex(np.nan, np.nan) if np.iscomplexobj(value) else np.nan
    return np.where(where, nothing, value)


def area(tip: Tip, theta: Theta, h_c: ArrayLike) -> Array:
    """Projected contact area A_p(h_c), m^2, with the inputs in ``theta`` put in place.

    ``area(tip, {}, h_c)`` is the area at the tip's best values.
    """
    return _evaluate(tip, theta, h_c)[0]


def area_slope(tip: Tip, theta: Theta, h_c: ArrayLike) -> Array:
    """Slope dA_p/dh_c, m; like :func:`area` in everything else."""
    return _evaluate(tip, theta, h_c)[1]


def surface_area(tip: Tip, theta: Theta, h: ArrayLike) -> Array:
    """Contact surface A_s at total depth h, m^2, as the Martens hardness needs it.

    Sharp pyramids and cones: A_s = A_p / sin(angle), exact for the ideal shape and taken over for
    measured area functions (``series``, ``table``). Round ends: up to h_t the cap that reaches
    from A_p to the apex, A_s = A_p + pi h^2 (2 pi R h for the ideal sphere), and beyond it the
    faces, (A_p(h) - A_p(h_t)) / sin(angle); h_t = R (1 - sin psi), for a sphere none. Exact for
    sphere and sphero-cone; for a ``blunted`` pyramid the faces join the cap without smoothing.
    Flat punch: its end, A_s = A_p. Kinds as in the module, angle between axis and face
    [iso14577-1-2015].
    """
    depth = np.asarray(h)
    A_p = area(tip, theta, depth)
    shape = tip.geometry.shape
    if shape == "flat punch":
        return A_p
    if shape == "sphere":
        return np.asarray(A_p + np.pi * depth * depth)
    sine = np.sin(value_of(tip, theta, "tip.angle"))
    if tip.area.kind != "blunted" and (shape in PYRAMIDS or shape == "cone"):
        return np.asarray(A_p / sine)
    h_t = shapes.sphere_cone_depth(value_of(tip, theta, "tip.radius"), _tan_psi(tip, theta))
    A_t = area(tip, theta, h_t)
    cap = depth.real <= h_t.real
    return np.where(cap, A_p + np.pi * depth * depth, A_t + np.pi * h_t * h_t + (A_p - A_t) / sine)


def effective_radius(tip: Tip, theta: Theta, h_c: ArrayLike) -> Array:
    """Radius of the sphere that has the tip's projected area at depth h_c, m.

    R = (A_p/pi + h_c^2) / (2 h_c). It is the end radius itself as long as the depth lies within a
    spherical end, and grows in proportion to depth on a sharp tip. NaN at zero depth.
    """
    h = np.asarray(h_c)
    touching = h.real > 0
    value = (area(tip, theta, h) / np.pi + h * h) / (2 * np.where(touching, h, 1.0))
    return _nan_where(~touching, value)


def check_range(tip: Tip, h_c: ArrayLike) -> NDArray[np.bool_]:
    """True where a contact depth lies outside the range the area function was found for.

    NaN counts as outside.
    """
    h = np.asarray(h_c).real
    low = -np.inf if tip.geometry.shape == "flat punch" else tip.area.h_min
    return np.asarray(~((h >= low) & (h <= tip.area.h_max)))


def tip_joint(tip: Tip) -> list[Joint]:
    """The tip's systematic inputs: those of its area function, then ``tip.E_i``, ``tip.nu_i``."""
    origin = f"elastic constants of the indenter, tip “{tip.name}”"
    return [
        tip.area.parameters,
        single("tip.E_i", tip.E_i, tip.u_E_i, origin),
        single("tip.nu_i", tip.nu_i, tip.u_nu_i, origin),
    ]


def _from_nm(n: int) -> NDArray[np.float64]:
    """Factors that take C_k from nm^(2 - p) to m^(2 - p)."""
    return np.array([10.0 ** (9 * (shapes.series_power(k) - 2)) for k in range(n)])


def series_from_nm(
    coefficients_nm: Sequence[float],
    covariance_nm: ArrayLike | None = None,
    origin: str = "",
) -> Joint:
    """Coefficients of a series for depth in nm and area in nm^2, as inputs ``tip.C0`` ... in SI.

    ``covariance_nm`` is their covariance in the same units; without it they count as exact.
    """
    names = parameter_names("series", len(coefficients_nm))
    f = _from_nm(len(names))
    cov = np.zeros((f.size, f.size)) if covariance_nm is None else np.asarray(covariance_nm)
    if cov.shape != (f.size, f.size):
        raise TipError(
            f"{f.size} coefficients need a {f.size} x {f.size} covariance, not {cov.shape}.",
            remedy="Give one row and one column for each coefficient.",
        )
    mean = np.asarray(coefficients_nm, dtype=np.float64) * f
    return Joint(names, mean, cov * np.outer(f, f), (origin,) * f.size)


def series_to_nm(parameters: Joint) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Coefficients and covariance for depth in nm, area in nm^2: undoes :func:`series_from_nm`."""
    f = _from_nm(len(parameters.names))
    return parameters.mean / f, parameters.cov / np.outer(f, f)
