"""Shapes of indenters: angles, ideal areas, equivalent cones.

Formulas (ISO 14577-1, plain geometry): three-sided pyramid
A_p = 3 sqrt(3) tan^2(a) h^2, A_s = 3 sqrt(3) tan(a)/cos(a) h^2; four-sided
A_p = 4 tan^2(a) h^2, A_s = 4 sin(a)/cos^2(a) h^2; cone A_p = pi tan^2(a) h^2 [iso14577-1-2015].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drypoint.errors import TipError

#: Name -> (sides, angle between axis and face in degrees). Sides 0 is a body of revolution.
PYRAMIDS: dict[str, tuple[int, float]] = {
    "Berkovich": (3, 65.03),
    "modified Berkovich": (3, 65.27),
    "Vickers": (4, 68.0),
    "cube corner": (3, float(np.degrees(np.arctan(1 / np.sqrt(2))))),
}
SHAPES = (*PYRAMIDS, "cone", "sphero-cone", "sphere", "flat punch")

#: Number of faces (0 for a body of revolution) -> A_p / (tan(angle) h)^2.
AREA_FACTOR: dict[int, float] = {3: 3 * float(np.sqrt(3.0)), 4: 4.0, 0: float(np.pi)}


@dataclass(frozen=True)
class Geometry:
    """An indenter's shape.

    Parameters
    ----------
    shape : str
        One of :data:`SHAPES`.
    angle : float or None
        Angle between axis and face (pyramid) or half angle (cone), radians.
    radius : float or None
        Radius of the sphere, of the sphero-cone's end, or of the flat punch, metres.
    u_angle : float
        Standard uncertainty of ``angle``, radians (from the certificate).
    u_radius : float
        Standard uncertainty of ``radius``, metres.
    """

    shape: str
    angle: float | None = None
    radius: float | None = None
    u_angle: float = 0.0
    u_radius: float = 0.0

    def __post_init__(self) -> None:
        if self.shape not in SHAPES:
            raise TipError(
                f"“{self.shape}” is no shape that Drypoint knows.",
                remedy="Use one of: " + ", ".join(SHAPES) + ".",
            )
        if self.shape in PYRAMIDS and self.angle is None:
            object.__setattr__(self, "angle", float(np.radians(PYRAMIDS[self.shape][1])))
        if self.shape in ("cone", "sphero-cone") and self.angle is None:
            raise TipError(f"A {self.shape} needs its half angle.", remedy="Give half_angle_deg.")
        if self.shape in ("sphere", "sphero-cone", "flat punch") and self.radius is None:
            raise TipError(f"A {self.shape} needs its radius.", remedy="Give radius_nm.")
        if self.shape in ("sphere", "flat punch") and self.angle is not None:
            raise TipError(f"A {self.shape} has no angle.", remedy="Leave the angle out.")
        if self.angle is not None and not 0 < self.angle < np.pi / 2:
            raise TipError(
                f"The angle of a tip lies between 0 and 90 degrees, not at {self.angle:.4g} rad.",
                remedy="Give the angle between axis and face (half the full angle).",
            )
        if self.radius is not None and not 0 < self.radius < np.inf:
            raise TipError(
                f"The radius of a tip is a positive length, not {self.radius:.4g} m.",
                remedy="Give the radius of the round end.",
            )
        if not (0 <= self.u_angle < np.inf and 0 <= self.u_radius < np.inf):
            raise TipError(
                "The uncertainty of a tip's angle or radius is not a number from zero up.",
                remedy="Give the standard uncertainty from the certificate, or leave it out.",
            )

    @property
    def sides(self) -> int:
        """Number of faces; 0 for a body of revolution."""
        return PYRAMIDS[self.shape][0] if self.shape in PYRAMIDS else 0

    @property
    def projected_coefficient(self) -> float:
        """A_p / h^2 of the sharp pyramid or cone; NaN for sphere and flat punch."""
        if self.angle is None:
            return float("nan")
        return AREA_FACTOR[self.sides] * float(np.tan(self.angle) ** 2)

    @property
    def surface_ratio(self) -> float:
        """A_s / A_p of the sharp pyramid or cone, 1/sin(angle); NaN where there is no angle."""
        return float("nan") if self.angle is None else 1.0 / float(np.sin(self.angle))

    @property
    def equivalent_half_angle(self) -> float:
        """Half angle of the cone with the same A_p(h), radians; NaN where there is none."""
        return float(np.arctan(np.sqrt(self.projected_coefficient / np.pi)))
