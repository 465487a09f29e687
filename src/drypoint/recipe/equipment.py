"""Tips and frames as a study file states them, in laboratory units."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from drypoint.recipe.base import (
    Angle,
    Epsilon,
    NonNegative,
    Poisson,
    Positive,
    Section,
    Window,
    Words,
    key,
    knob,
)
from drypoint.recipe.rules import Alone, EitherOf, Given, Is, Needed, OneOf, Only
from drypoint.tips.geometry import PYRAMIDS, Geometry
from drypoint.tips.tip import Frame, Tip

DIAMOND = "diamond, ISO 14577-1"

_SERIES, _TABLE = Is("kind", ("series",)), Is("kind", ("table",))
_BLUNTED = Is("kind", ("blunted",))
_FOUND = Is("kind", ("series", "blunted", "table"))
_PYRAMID, _CONE = Is("shape", tuple(PYRAMIDS)), Is("shape", ("cone", "sphero-cone"))
_ROUND = Is("shape", ("sphero-cone", "sphere", "flat punch"))
_BLUNT = Is("area.kind", ("blunted",))
_AREA_NEEDS = "An area function “{value}” needs it."


def _area_only(given: Given) -> str:
    """The keys that an area function of this form may have."""
    idle = {
        k for r in Area.key_rules if isinstance(r, Only) and not r.when.holds(given) for k in r.keys
    }
    fit = [k for k in Area.model_fields if k not in {"kind", "file", *idle}]
    return f"Allowed: {', '.join(fit)}."


class FoundWith(Section):
    """Under which rule an area function was found. It holds only under the same rule."""

    beta: Positive | None = key("Factor beta of the calibration.", None)
    epsilon: Epsilon | None = key("Epsilon of the calibration.", None)
    radial_correction: bool | None = key("Whether the radial displacement was corrected.", None)
    depth_at_F_max: Literal["record", "fit"] | None = key(
        "Where the depth at the largest force came from.", None
    )
    window: Window | None = key("Part of the unloading curve that was fitted.", None)
    reference: Words | None = key("Reference material.", None)
    E_r_GPa: Positive | None = key("Reduced modulus that was taken for it.", None, unit="GPa")
    u_E_r_GPa: NonNegative | None = key("Its standard uncertainty.", None, unit="GPa")
    date: Words | None = key("Date of the calibration.", None)
    remarks: str = key("Anything else.", "")


class Area(Section):
    """Projected contact area against contact depth."""

    kind: Literal["ideal", "series", "blunted", "table"] = key(
        "Form of the area function.", "ideal"
    )
    coefficients_nm: tuple[float, ...] | None = key(
        "Coefficients C0, C1, ... of a series, for depth in nm and area in nm².", None
    )
    u_coefficients_nm: tuple[NonNegative, ...] | None = key(
        "Standard uncertainties of the coefficients, taken as independent.", None
    )
    covariance_nm: tuple[tuple[float, ...], ...] | None = key(
        "Covariance of the coefficients, row by row; instead of u_coefficients_nm.", None
    )
    correlation: Annotated[float, Field(ge=-1, le=1)] | None = key(
        "Correlation of radius and angle of a blunted tip; the tip's own keys hold both.", None
    )
    h_c_nm: tuple[Positive, ...] | None = key("Contact depths of a table.", None, unit="nm")
    A_nm2: tuple[Positive, ...] | None = key("Areas of a table.", None, unit="nm²")
    u_A_nm2: tuple[NonNegative, ...] | None = key(
        "Standard uncertainties of the areas of a table.", None, unit="nm²"
    )
    h_min_nm: NonNegative | None = key(
        "Smallest contact depth for which the area function was found.", None, unit="nm"
    )
    h_max_nm: Positive | None = key(
        "Largest contact depth for which the area function was found.", None, unit="nm"
    )
    found_with: FoundWith | None = key("Under which rule it was found.", None)
    file: Words | None = key(
        "File that holds the keys of this table instead, relative to the study file.", None
    )

    key_rules: ClassVar = (
        Alone("file", "Write it in that file instead."),
        Needed(("coefficients_nm", "h_min_nm", "h_max_nm"), _SERIES, _AREA_NEEDS),
        Needed(("h_c_nm", "A_nm2"), _TABLE, _AREA_NEEDS),
        *(
            Only(keys, when, _area_only, "it means nothing for an area function “{value}”.")
            for keys, when in (
                (("coefficients_nm", "u_coefficients_nm", "covariance_nm"), _SERIES),
                (("h_c_nm", "A_nm2", "u_A_nm2"), _TABLE),
                (("correlation",), _BLUNTED),
                (("found_with",), _FOUND),
            )
        ),
        OneOf(("u_coefficients_nm", "covariance_nm"), "Give the one or the other."),
    )


class TipKeys(Section):
    """An indenter."""

    shape: Literal[
        "Berkovich",
        "modified Berkovich",
        "Vickers",
        "cube corner",
        "cone",
        "sphero-cone",
        "sphere",
        "flat punch",
    ] = key("Shape of the indenter.")
    face_angle_deg: Angle | None = key(
        "Angle between axis and face of a pyramid; its nominal angle where left out.",
        None,
        unit="deg",
    )
    half_angle_deg: Angle | None = key("Half angle of a cone or sphero-cone.", None, unit="deg")
    u_angle_deg: NonNegative = knob(
        Geometry, "u_angle", "Standard uncertainty of the angle.", unit="deg"
    )
    radius_nm: Positive | None = key(
        "Radius of a sphere, of the end of a sphero-cone or blunted tip, or of a flat punch.",
        None,
        unit="nm",
    )
    u_radius_nm: NonNegative = knob(
        Geometry, "u_radius", "Standard uncertainty of the radius.", unit="nm"
    )
    E_i_GPa: Positive = knob(Tip, "E_i", "Modulus of the indenter.", unit="GPa", source=DIAMOND)
    u_E_i_GPa: NonNegative = knob(Tip, "u_E_i", "Its standard uncertainty.", unit="GPa")
    nu_i: Poisson = knob(Tip, "nu_i", "Poisson's ratio of the indenter.", source=DIAMOND)
    u_nu_i: NonNegative = knob(Tip, "u_nu_i", "Its standard uncertainty.")
    certificate: str = key("Certificate of the indenter.", "")
    serial: str = key("Serial number of the indenter.", "")
    area: Area | None = key("Area function; the ideal shape where left out.", None)

    key_rules: ClassVar = (
        Needed(("half_angle_deg",), _CONE, "A {value} needs it."),
        Needed(("radius_nm",), _ROUND, "A {value} needs it."),
        Needed(("radius_nm",), _BLUNT, "A blunted tip needs it."),
        Only(
            ("face_angle_deg",),
            _PYRAMID,
            "only pyramids have it; a cone has half_angle_deg.",
            "it means nothing for a {value}.",
        ),
        Only(
            ("half_angle_deg",),
            _CONE,
            "only cones have it; a pyramid has face_angle_deg.",
            "it means nothing for a {value}.",
        ),
        Only(
            ("radius_nm",),
            EitherOf((_ROUND, _BLUNT)),
            "only rounded shapes, and tips with area.kind = “blunted”, have it.",
            "it means nothing for a {value}.",
        ),
    )


class FrameAtRest(Section):
    """Compliance and scales of a frame."""

    compliance_nm_per_mN: NonNegative = knob(
        Frame, "compliance", "Compliance of the load frame.", unit="nm/mN"
    )
    u_compliance_nm_per_mN: NonNegative = knob(
        Frame, "u_compliance", "Its standard uncertainty.", unit="nm/mN"
    )
    mount_compliance_nm_per_mN: NonNegative = knob(
        Frame, "mount_compliance", "Compliance of the mount or structure.", unit="nm/mN"
    )
    u_mount_compliance_nm_per_mN: NonNegative = knob(
        Frame, "u_mount_compliance", "Its standard uncertainty.", unit="nm/mN"
    )
    force_scale: Positive = knob(Frame, "force_scale", "Multiplies the recorded force.")
    u_force_scale: NonNegative = knob(Frame, "u_force_scale", "Its standard uncertainty.")
    depth_scale: Positive = knob(Frame, "depth_scale", "Multiplies the recorded depth.")
    u_depth_scale: NonNegative = knob(Frame, "u_depth_scale", "Its standard uncertainty.")


class OscillatorKeys(Section):
    """Springs, mass and damping of the instrument, for records with an oscillation."""

    support_spring_N_per_m: NonNegative | None = knob(
        Frame,
        "support_spring",
        "Stiffness of the springs on which the indenter hangs; for records with an oscillation.",
        unit="N/m",
    )
    u_support_spring_N_per_m: NonNegative = knob(
        Frame, "u_support_spring", "Its standard uncertainty.", unit="N/m"
    )
    moving_mass_g: NonNegative | None = knob(
        Frame, "moving_mass", "Mass that moves with the indenter; likewise.", unit="g"
    )
    u_moving_mass_g: NonNegative = knob(
        Frame, "u_moving_mass", "Its standard uncertainty.", unit="g"
    )
    damping_N_s_per_m: NonNegative | None = knob(
        Frame, "damping", "Damping of the instrument out of contact; likewise.", unit="N s/m"
    )
    u_damping_N_s_per_m: NonNegative = knob(
        Frame, "u_damping", "Its standard uncertainty.", unit="N s/m"
    )


class FrameKeys(OscillatorKeys, FrameAtRest):
    """Load frame, mount and scales of the instrument."""

    certificate: str = key("Certificate of the instrument's calibration.", "")
