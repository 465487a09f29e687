"""A tip: geometry, diamond constants, area function with covariance and range of validity."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import TipError
from drypoint.tips.geometry import Geometry
from drypoint.uncertainty.joint import Joint, single

Floats = NDArray[np.float64]


def _not_negative(whose: str, *uncertainties: float) -> None:
    if not all(0 <= u < np.inf for u in uncertainties):
        raise TipError(
            f"A standard uncertainty of {whose} is not a number from zero up.",
            remedy="Give the standard uncertainty, or leave it out.",
        )


#: Ways to write an area function. See :mod:`drypoint.tips.area` for each formula.
AREA_KINDS = ("ideal", "series", "blunted", "table")


@dataclass(frozen=True)
class AreaFunction:
    """Projected contact area A_p against contact depth h_c.

    ``kind`` is one of :data:`AREA_KINDS`; ``parameters`` (SI) has names as in
    :func:`drypoint.tips.area.parameter_names`, prefixed ``tip.``, with joint covariance.
    ``knots`` holds the fixed depths (m) of a table. ``h_min``/``h_max`` bound the contact depths
    for which it was determined (m); outside, results are flagged. ``found_with`` says under which
    beta, epsilon rule and reference it was found, or is empty for an ideal or certified shape.
    """

    kind: str
    parameters: Joint
    knots: tuple[float, ...] = ()
    h_min: float = 0.0
    h_max: float = float("inf")
    found_with: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in AREA_KINDS:
            raise TipError(
                f"“{self.kind}” is no area function that Drypoint knows.",
                remedy="Use one of: " + ", ".join(AREA_KINDS) + ".",
            )
        if not 0 <= self.h_min < self.h_max:
            raise TipError(
                f"The area function's range of depths, {self.h_min:.4g} m to {self.h_max:.4g} m, "
                "is empty or starts below zero.",
                remedy="Give a smallest contact depth from zero up and a larger greatest one.",
            )


@dataclass(frozen=True)
class Tip:
    """An indenter as used: its name, shape, elastic constants and area function.

    Default elastic constants are those of diamond: E_i = 1140 GPa, nu_i = 0.07 (ISO 14577-1).
    """

    name: str
    geometry: Geometry
    area: AreaFunction
    E_i: float = 1140e9
    nu_i: float = 0.07
    u_E_i: float = 0.0
    u_nu_i: float = 0.0

    def __post_init__(self) -> None:
        if not (0 < self.E_i < np.inf and -1 < self.nu_i <= 0.5):
            raise TipError(
                f"The indenter of tip “{self.name}” cannot have E_i = {self.E_i:.4g} Pa and "
                f"nu_i = {self.nu_i:.4g}.",
                remedy="E_i is above zero and finite, nu_i between -1 and 0.5; diamond: 1140 GPa "
                "and 0.07.",
            )
        _not_negative(f"tip “{self.name}”", self.u_E_i, self.u_nu_i)


@dataclass(frozen=True)
class Frame:
    """Load frame (and mount): total compliance m/N with its standard uncertainty, and scales.

    ``force_scale`` and ``depth_scale`` multiply what the instrument wrote; 1 with the relative
    standard uncertainty of the calibration certificate. For records with an oscillation:
    ``support_spring`` (N/m) on which the indenter hangs, ``moving_mass`` (kg) and ``damping``
    (N s/m) of the instrument itself; ``None`` where not given.
    """

    name: str = "frame"
    compliance: float = 0.0
    u_compliance: float = 0.0
    mount_compliance: float = 0.0
    u_mount_compliance: float = 0.0
    force_scale: float = 1.0
    u_force_scale: float = 0.0
    depth_scale: float = 1.0
    u_depth_scale: float = 0.0
    support_spring: float | None = None
    u_support_spring: float = 0.0
    moving_mass: float | None = None
    u_moving_mass: float = 0.0
    damping: float | None = None
    u_damping: float = 0.0
    origin: str = "declared in the recipe"

    def __post_init__(self) -> None:
        if not (self.force_scale > 0 and self.depth_scale > 0):
            raise TipError(
                f"A scale of frame “{self.name}” is not above zero.",
                remedy="A scale multiplies what the instrument wrote; 1 changes nothing.",
            )
        _not_negative(
            f"frame “{self.name}”",
            self.u_compliance,
            self.u_mount_compliance,
            self.u_force_scale,
            self.u_depth_scale,
            self.u_support_spring,
            self.u_moving_mass,
            self.u_damping,
        )

    def joint(self) -> list[Joint]:
        """The frame's systematic inputs: C_f (frame and mount together), force and depth scale,
        and those dynamic constants that are given."""
        u = float(np.hypot(self.u_compliance, self.u_mount_compliance))
        return [
            single("frame.C_f", self.compliance + self.mount_compliance, u, self.origin),
            single("force_scale", self.force_scale, self.u_force_scale, self.origin),
            single("depth_scale", self.depth_scale, self.u_depth_scale, self.origin),
        ] + [
            single(name, value, u_value, self.origin)
            for name, value, u_value in (
                ("frame.K_s", self.support_spring, self.u_support_spring),
                ("frame.mass", self.moving_mass, self.u_moving_mass),
                ("frame.D_i", self.damping, self.u_damping),
            )
            if value is not None
        ]


@dataclass(frozen=True)
class Bench:
    """A tip in a frame. ``linked`` is the joint distribution of both when a calibration found them
    together; where it is given it replaces their separate uncertainties."""

    tip: Tip
    frame: Frame = field(default_factory=Frame)
    linked: Joint | None = None
