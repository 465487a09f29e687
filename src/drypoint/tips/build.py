"""Checked constructors of tips. Each raises :class:`~drypoint.errors.TipError` on nonsense."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypedDict, Unpack

import numpy as np
from numpy.typing import ArrayLike

from drypoint.errors import TipError
from drypoint.tips.area import area, area_slope, parameter_names
from drypoint.tips.geometry import PYRAMIDS, Geometry
from drypoint.tips.tip import AreaFunction, Tip
from drypoint.uncertainty.joint import Joint, join, single

_CHECK_POINTS = 2000


class ElasticConstants(TypedDict, total=False):
    """The indenter's E_i (Pa), nu_i and their standard uncertainties; diamond when left out."""

    E_i: float
    nu_i: float
    u_E_i: float
    u_nu_i: float


def ideal_tip(
    shape: str,
    *,
    name: str = "",
    angle: float | None = None,
    radius: float | None = None,
    u_angle: float = 0.0,
    u_radius: float = 0.0,
    h_min: float = 0.0,
    h_max: float | None = None,
    origin: str = "ideal shape",
    **elastic: Unpack[ElasticConstants],
) -> Tip:
    """A tip of ideal shape. Angles in rad, lengths in m; pyramids know their nominal angle.

    A sphere is known to its equator (``h_max`` = R) unless ``h_max`` says less.
    """
    geometry = Geometry(shape, angle, radius, u_angle, u_radius)
    if shape == "sphere":
        reach = float(radius or 0.0)
        if h_max is not None and h_max > reach:
            raise TipError(
                f"A sphere of radius {_nm(reach)} has no area below its equator, and the range "
                f"reaches {_nm(h_max)}.",
                remedy="Keep the greatest contact depth within the radius.",
            )
    else:
        reach = np.inf
    parameters = _shape_inputs(geometry, parameter_names("ideal", shape=shape), origin)
    limit = reach if h_max is None else h_max
    return _tip(name or f"ideal {shape}", geometry, "ideal", parameters, h_min, limit, **elastic)


def series_tip(
    geometry: Geometry,
    parameters: Joint,
    *,
    h_min: float,
    h_max: float,
    name: str = "",
    found_with: tuple[tuple[str, str], ...] = (),
    **elastic: Unpack[ElasticConstants],
) -> Tip:
    """A tip whose area function is a series; ``parameters`` as from ``series_from_nm``.

    The area must be positive and grow from ``h_min`` to ``h_max`` (both finite, m).
    """
    return _tip(
        name or f"{geometry.shape}, series",
        geometry,
        "series",
        parameters,
        h_min,
        h_max,
        (),
        found_with,
        **elastic,
    )


def blunted_tip(
    geometry: Geometry,
    parameters: Joint | None = None,
    *,
    h_min: float = 0.0,
    h_max: float = np.inf,
    name: str = "",
    found_with: tuple[tuple[str, str], ...] = (),
    origin: str = "declared",
    **elastic: Unpack[ElasticConstants],
) -> Tip:
    """A pyramid or cone with a round end of radius ``tip.radius`` and face angle ``tip.angle``.

    Without ``parameters`` (both names, jointly distributed) the geometry's radius and angle and
    their uncertainties are used.
    """
    if geometry.shape not in PYRAMIDS and geometry.shape != "cone":
        raise TipError(
            f"A {geometry.shape} cannot be blunted.",
            remedy="Use the ideal shape; sphero-cones have their radius already.",
        )
    if parameters is None:
        if geometry.radius is None:
            raise TipError("A blunted tip needs the radius of its end.", remedy="Give radius_nm.")
        parameters = _shape_inputs(geometry, parameter_names("blunted"), origin)
    return _tip(
        name or f"{geometry.shape}, blunted",
        geometry,
        "blunted",
        parameters,
        h_min,
        h_max,
        (),
        found_with,
        **elastic,
    )


def table_tip(
    geometry: Geometry,
    knots: Sequence[float],
    parameters: Joint,
    *,
    h_min: float | None = None,
    h_max: float | None = None,
    name: str = "",
    found_with: tuple[tuple[str, str], ...] = (),
    **elastic: Unpack[ElasticConstants],
) -> Tip:
    """A tip given by areas at fixed contact depths ``knots`` (m), range from first to last knot.

    ``parameters`` as from :func:`table_parameters`. No knot at zero: A(0) = 0 is understood.
    """
    depths = tuple(float(k) for k in knots)
    if len(depths) < 2 or depths[0] <= 0 or not all(np.diff(depths) > 0):
        raise TipError(
            "The depths of an area table must be two or more, above zero, and rising.",
            remedy="Sort them and leave out depth zero, where the area is zero anyway.",
        )
    return _tip(
        name or f"{geometry.shape}, table",
        geometry,
        "table",
        parameters,
        depths[0] if h_min is None else h_min,
        depths[-1] if h_max is None else h_max,
        depths,
        found_with,
        **elastic,
    )


def table_parameters(
    areas: ArrayLike, covariance: ArrayLike | None = None, origin: str = ""
) -> Joint:
    """Areas (m^2) of a table as inputs ``tip.A1`` ... with covariance (m^4); exact without it."""
    mean = np.asarray(areas, dtype=np.float64)
    n = mean.size
    cov = np.zeros((n, n)) if covariance is None else np.asarray(covariance, dtype=np.float64)
    return Joint(parameter_names("table", n), mean, cov, (origin,) * n)


def check_tip(tip: Tip) -> None:
    """Check that a tip's area function makes sense over its declared range.

    Raises
    ------
    TipError
        Where inputs are missing or impossible, or where the area is not positive or does not grow
        with depth; the message names the depth.
    """
    f = tip.area
    count = len(f.knots) if f.kind == "table" else len(f.parameters.names)
    names = parameter_names(f.kind, count, tip.geometry.shape)
    if set(f.parameters.names) != set(names):
        raise TipError(
            f"The area function of tip “{tip.name}” needs {', '.join(names)}; it has "
            f"{', '.join(f.parameters.names) or 'nothing'}.",
            remedy="Give exactly these parameters.",
        )
    if f.kind in ("ideal", "blunted"):
        best = f.parameters.as_dict()
        Geometry(  # raises on an impossible angle or radius
            tip.geometry.shape,
            best.get("tip.angle", tip.geometry.angle),
            best.get("tip.radius", tip.geometry.radius),
        )
        return
    if not np.isfinite(f.h_max):
        raise TipError(
            f"The area function of tip “{tip.name}” has no greatest contact depth.",
            remedy="Give the range of contact depths for which it was found.",
        )
    start = f.h_min if f.h_min > 0 else 1e-6 * f.h_max
    h = np.geomspace(start, f.h_max, _CHECK_POINTS)
    with np.errstate(invalid="ignore"):
        bad_area, bad_slope = ~(area(tip, {}, h) > 0), ~(area_slope(tip, {}, h) > 0)
    for bad, fault in ((bad_area, "is not positive"), (bad_slope, "does not grow with depth")):
        if np.any(bad):
            raise TipError(
                f"The area function of tip “{tip.name}” {fault} at a contact depth of "
                f"{_nm(float(h[np.argmax(bad)]))}, within its range "
                f"{_nm(f.h_min)} to {_nm(f.h_max)}.",
                remedy="Check its coefficients and units, or narrow its range of depths.",
            )


def _nm(depth: float) -> str:
    return f"{depth * 1e9:.4g} nm"


def _shape_inputs(geometry: Geometry, names: Sequence[str], origin: str) -> Joint:
    known = {
        "tip.angle": (geometry.angle, geometry.u_angle),
        "tip.radius": (geometry.radius, geometry.u_radius),
    }
    return join(single(n, float(known[n][0] or 0.0), known[n][1], origin) for n in names)


def _tip(
    name: str,
    geometry: Geometry,
    kind: str,
    parameters: Joint,
    h_min: float,
    h_max: float,
    knots: tuple[float, ...] = (),
    found_with: tuple[tuple[str, str], ...] = (),
    **elastic: Unpack[ElasticConstants],
) -> Tip:
    function = AreaFunction(kind, parameters, knots, h_min, h_max, found_with)
    tip = Tip(name, geometry, function, **elastic)
    check_tip(tip)
    return tip
