"""Other ways in: areas from microscopy, and tips that are no blunted pyramid.

Cube corners go through :func:`~drypoint.calibration.joint.calibrate` like any pyramid; spheres and
sphero-cones with ``Form("ideal")``. Their course with depth is told by the effective radius.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.calibration.problems import CalibrationError, Finding
from drypoint.calibration.result import Calibration, area_jacobian
from drypoint.tips.area import effective_radius
from drypoint.tips.build import ideal_tip, table_parameters, table_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Tip

Floats = NDArray[np.float64]


def areas_from_heights(
    z: ArrayLike, pixel: float, depths: ArrayLike, *, u_pixel_rel: float = 0.0, u_z: float = 0.0
) -> tuple[Floats, Floats]:
    """Cross-sections of a tip from a height map: area (m^2) at each depth and its covariance.

    ``z`` (m) is the height of the tip's surface over a square grid of ``pixel`` (m), apex lowest
    (z = 0 at its lowest point): A(h) = number of pixels with z <= h, times pixel^2. Covariance: a
    common scale 2 ``u_pixel_rel``, a common height offset ``u_z`` (m) times dA/dh, and half a
    pixel's ring, perimeter * pixel / sqrt(12), of each depth alone. The tip of the microscope
    widens what it sees: that must be taken out before.

    Raises
    ------
    CalibrationError
        When a cross-section meets the edge of the map.
    """
    height = np.asarray(z, dtype=np.float64)
    height = height - height.min()
    h = np.asarray(depths, dtype=np.float64)
    edge = min(height[0].min(), height[-1].min(), height[:, 0].min(), height[:, -1].min())
    if h.max() >= edge:
        raise CalibrationError(
            f"The cross-section at {h.max() * 1e9:.0f} nm runs out of the map, whose edge is at "
            f"{edge * 1e9:.0f} nm.",
            remedy="Take smaller depths or a larger map.",
        )
    ordered = np.sort(height.ravel())
    A = np.searchsorted(ordered, h, side="right") * pixel**2
    slope = np.gradient(A, h) if len(h) > 1 else np.zeros(1)
    ring = np.sqrt(4 * np.pi * A) * pixel / 12**0.5
    scale = 2 * u_pixel_rel * A
    cov = np.outer(scale, scale) + np.outer(slope, slope) * u_z**2 + np.diag(ring**2 / 10)
    return np.asarray(A, dtype=np.float64), np.asarray(cov, dtype=np.float64)


def tip_from_areas(
    geometry: Geometry,
    depths: ArrayLike,
    areas: ArrayLike,
    *,
    u_areas: ArrayLike | None = None,
    u_common_rel: float = 0.0,
    covariance: ArrayLike | None = None,
    name: str = "",
    origin: str = "areas by microscopy",
) -> Tip:
    """A tip given by measured areas (m^2) at depths (m) from the apex.

    Uncertainty: ``covariance``, or ``u_areas`` of each plus ``u_common_rel`` that all share (the
    microscope's scale). The areas must rise with depth.
    """
    h, A = np.asarray(depths, dtype=np.float64), np.asarray(areas, dtype=np.float64)
    if h.shape != A.shape or h.ndim != 1:
        raise CalibrationError(
            f"{h.size} depths and {A.size} areas do not make a table.",
            remedy="Give one area for each depth.",
        )
    if covariance is None:
        own = np.zeros(A.size) if u_areas is None else np.broadcast_to(u_areas, A.shape)
        cov = np.diag(np.asarray(own, dtype=np.float64) ** 2) + np.outer(A, A) * u_common_rel**2
    else:
        cov = np.asarray(covariance, dtype=np.float64)
    return table_tip(geometry, list(h), table_parameters(A, cov, origin), name=name)


def stylus(
    radius: float = 200e-6,
    full_angle: float = float(np.radians(120.0)),
    *,
    u_radius: float = 0.0,
    u_full_angle: float = 0.0,
    name: str = "stylus",
) -> Tip:
    """A scratch stylus as a sphero-cone; 120 deg and 200 um unless said [astm-g171-2003].

    Lengths in m, angles in rad.
    """
    return ideal_tip(
        "sphero-cone", name=name, angle=full_angle / 2, u_angle=u_full_angle / 2, radius=radius,
        u_radius=u_radius, origin=f"stylus “{name}” as declared",
    )  # fmt: skip


@dataclass(frozen=True)
class RadiusCourse:
    """Effective radius against contact depth: m, with standard uncertainty; rows of the tests.

    ``rows_R`` is what each reference test implies alone. ``findings`` say where it leaves the
    declared radius.
    """

    h_c: Floats
    R: Floats
    u_R: Floats
    rows_h: Floats
    rows_R: Floats
    findings: tuple[Finding, ...]


def radius_course(c: Calibration, points: int = 60, *, tolerance: float = 0.1) -> RadiusCourse:
    """R(h_c) = (A/pi + h_c^2)/(2 h_c) of a calibrated tip, for spheres and sphero-cones.

    A sphere keeps its radius; a rise in proportion to depth is a cone. Where R leaves the declared
    radius by more than ``tolerance`` and two standard uncertainties, a finding names the depth.
    """
    h = np.asarray(np.geomspace(c.tip.area.h_min, c.tip.area.h_max, points), dtype=np.float64)
    R = np.asarray(effective_radius(c.tip, {}, h))
    J = area_jacobian(c.tip, c.linked, h) / (2 * np.pi * h)[:, None]
    u = np.sqrt(np.clip(np.einsum("ij,jk,ik->i", J, c.linked.cov, J), 0.0, None))
    rows_h, A = c.rows.h_c, c.rows.area_seen
    rows_R = (A / np.pi + rows_h**2) / (2 * rows_h)
    found = []
    declared = c.tip.geometry.radius
    if declared is not None and c.tip.geometry.shape in ("sphere", "sphero-cone"):
        off = np.abs(R / declared - 1) > np.maximum(tolerance, 2 * u / declared)
        if np.any(off):
            k = int(np.argmax(off))
            found.append(
                Finding(
                    "not the declared radius",
                    f"At {h[k] * 1e9:.0f} nm the effective radius is {R[k] * 1e9:.4g} nm "
                    f"(u = {u[k] * 1e9:.2g} nm); declared are {declared * 1e9:.4g} nm.",
                    "Use the calibrated area, and keep to the depths where the radius holds.",
                )
            )
    return RadiusCourse(h, R, u, rows_h, rows_R, tuple(found))
