"""The choices of the reduction as a study file offers them, in laboratory units.

Defaults are those of :mod:`drypoint.reduction.options`; none is repeated here.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from drypoint.recipe.base import (
    Epsilon,
    Few,
    NonNegative,
    Positive,
    Range,
    Section,
    Share,
    Window,
    key,
    knob,
)
from drypoint.recipe.rules import Is, Needed, Only
from drypoint.reduction.options import (
    AnalysisOptions,
    DriftOptions,
    DynamicOptions,
    FlagLimits,
    SegmentOptions,
    ZeroOptions,
)

_DECLARED = Is("method", ("declared",))


def _declared(name: str) -> tuple[Needed, Only]:
    """The method “declared” needs its value; a value without that method would do nothing."""
    return (
        Needed((name,), _DECLARED, "The method “declared” needs its value."),
        Only(
            (name,),
            _DECLARED,
            "Use method = “declared”, or leave it out.",
            "it does nothing with the method “{value}”.",
        ),
    )


Kind = Literal["approach", "loading", "hold", "unloading", "drift hold"]


class Segments(Section):
    """How the segments of a record are found."""

    control: Literal["auto", "force", "depth"] = knob(
        SegmentOptions, "control", "What the instrument controlled.", room="segments"
    )
    labels: dict[str, Kind] = knob(
        SegmentOptions,
        "labels",
        "The file's own names of segments, each with the kind of segment that it is.",
        room="segments",
        shown=dict,
    )
    tolerance: Share = knob(
        SegmentOptions,
        "tolerance",
        "A change smaller than this share of the largest force or depth starts no segment.",
        room="segments",
    )


class Zero(Section):
    """The zero point: where contact begins."""

    younger: ClassVar = ("law", "base_line", "exponent_range")

    method: Literal["first contact", "threshold", "declared", "as recorded"] = knob(
        ZeroOptions, "method", "How the zero point is found.", room="zero"
    )
    exponent: Positive = knob(
        ZeroOptions, "exponent", "Exponent of the contact law of the first contact.", room="zero"
    )
    u_exponent: NonNegative = knob(
        ZeroOptions,
        "u_exponent",
        "Standard uncertainty of that exponent, shared by all tests.",
        room="zero",
    )
    depth_window_nm: Positive = knob(
        ZeroOptions,
        "depth_window",
        "How far past the threshold the fit of the first contact reaches.",
        unit="nm",
        room="zero",
    )
    force_share: Share = knob(
        ZeroOptions,
        "force_share",
        "The fit of the first contact ends at this share of the largest force.",
        room="zero",
    )
    threshold_sigma: Positive = knob(
        ZeroOptions,
        "threshold_sigma",
        "Contact is where the force passes this many times the noise of the approach.",
        room="zero",
    )
    depth_nm: float = knob(
        ZeroOptions,
        "depth",
        "Recorded depth that is the zero.",
        unit="nm",
        room="zero",
    )
    u_zero_nm: NonNegative = knob(
        ZeroOptions,
        "u_zero",
        "Standard uncertainty of the zero point, added to that of the fit.",
        unit="nm",
        room="zero",
    )
    law: Literal["power", "auto"] = knob(
        ZeroOptions,
        "law",
        "Law of first contact: “power” takes exponent and u_exponent for all tests; “auto” the law "
        "of a blunted tip where the tip has a radius, else a power that the tests of a specimen "
        "find together in exponent_range.",
        room="zero",
    )
    exponent_range: Range = knob(
        ZeroOptions,
        "exponent_range",
        "Exponents that are as likely beforehand, where a power is found from the records.",
        room="zero",
    )
    base_line: Literal["constant", "line"] = knob(
        ZeroOptions,
        "base_line",
        "Force before contact: a constant, or a line against depth that goes on after contact.",
        room="zero",
    )

    key_rules: ClassVar = _declared("depth_nm")


class Drift(Section):
    """Thermal drift."""

    younger: ClassVar = ("curvature",)

    method: Literal["drift hold", "declared", "none"] = knob(
        DriftOptions, "method", "Where the drift rate comes from.", room="drift"
    )
    window: Window = knob(
        DriftOptions, "window", "Part of the drift hold that is used.", room="drift"
    )
    rate_nm_per_s: float = knob(
        DriftOptions,
        "rate",
        "Drift rate.",
        unit="nm/s",
        room="drift",
    )
    u_rate_nm_per_s: NonNegative = knob(
        DriftOptions,
        "u_rate",
        "Standard uncertainty of the drift rate where it is declared or not corrected.",
        unit="nm/s",
        room="drift",
    )
    curvature: bool = knob(
        DriftOptions,
        "curvature",
        "Test whether the rate changes during the hold, and let that be felt in its uncertainty.",
        room="drift",
    )

    key_rules: ClassVar = _declared("rate_nm_per_s")


class Analysis(Section):
    """From corrected records to properties."""

    unloading: Literal["power law", "linear"] = knob(
        AnalysisOptions, "unloading", "Law fitted to the unloading curve.", room="analysis"
    )
    window: Window = knob(
        AnalysisOptions,
        "window",
        "Lowest and highest share of the largest force in the fit of the power law.",
        room="analysis",
    )
    linear_window: Window = knob(
        AnalysisOptions,
        "linear_window",
        "Lowest and highest share of the largest force in the linear fit.",
        room="analysis",
    )
    epsilon: Epsilon = knob(
        AnalysisOptions,
        "epsilon",
        "Epsilon in h_c = h_max - epsilon F_max / S: from the exponent, or a fixed number.",
        room="analysis",
        shown=lambda value: "exponent" if value is None else value,
    )
    u_epsilon: NonNegative = knob(
        AnalysisOptions, "u_epsilon", "Standard uncertainty of epsilon.", room="analysis"
    )
    beta: Positive = knob(
        AnalysisOptions, "beta", "Factor beta in S = beta 2/√π E_r √A_p.", room="analysis"
    )
    u_beta: NonNegative = knob(
        AnalysisOptions, "u_beta", "Standard uncertainty of beta.", room="analysis"
    )
    recalibrate_tip: bool = knob(
        AnalysisOptions,
        "recalibrate_tip",
        "Rescale an area function that was found under another beta or radial correction; "
        "otherwise such a tip is refused.",
        room="analysis",
    )
    radial_correction: bool = knob(
        AnalysisOptions,
        "radial_correction",
        "Correct for the radial displacement inside the contact.",
        room="analysis",
    )
    viscous_correction: bool = knob(
        AnalysisOptions,
        "viscous_correction",
        "Take the creep at the start of unloading out of S.",
        room="analysis",
    )
    depth_at_F_max: Literal["record", "fit"] = knob(
        AnalysisOptions,
        "depth_at_F_max",
        "Depth at the largest force: from the record, or from the fitted unloading curve.",
        room="analysis",
    )
    hms_window: Window = knob(
        AnalysisOptions,
        "hms_window",
        "Lowest and highest share of the largest force in the fit for HM_s.",
        room="analysis",
    )
    elastic_work_limit: Share = knob(
        AnalysisOptions,
        "elastic_work_limit",
        "Hardness is withheld where the elastic share of the work is above this.",
        room="analysis",
    )
    u_hardness_limit: Positive = knob(
        AnalysisOptions,
        "u_hardness_limit",
        "Hardness is withheld where its relative standard uncertainty is above this.",
        room="analysis",
    )


class Flags(Section):
    """Limits above or outside of which a result carries a flag."""

    drift_rate_nm_per_s: Positive = knob(
        FlagLimits, "drift_rate", "Largest drift rate without a flag.", unit="nm/s", room="flags"
    )
    fit_residual: Positive = knob(
        FlagLimits,
        "fit_residual",
        "Largest residual of the unloading fit without a flag, as a share of the largest force.",
        room="flags",
    )
    exponent: Range = knob(
        FlagLimits, "exponent", "Unloading exponents without a flag.", room="flags"
    )
    pile_up: Share = knob(
        FlagLimits,
        "pile_up",
        "Ratio h_p / h_max above which pile-up is likely and the area is flagged.",
        room="flags",
    )
    creep_rate_share: Positive = knob(
        FlagLimits,
        "creep_rate_share",
        "Largest depth rate at the end of the hold without a flag, as a share of the rate of "
        "the first unloading.",
        room="flags",
    )
    pop_in_sigma: Positive = knob(
        FlagLimits,
        "pop_in_sigma",
        "A jump of depth (force under depth control) above this many times its noise is a pop-in, "
        "or a pop-out in unloading.",
        room="flags",
    )
    pop_in_ratio: Positive = knob(
        FlagLimits,
        "pop_in_ratio",
        "A jump exceeds the usual change in the same time by at least this many times.",
        room="flags",
    )
    noise_share: Positive = knob(
        FlagLimits,
        "noise_share",
        "Largest noise of single readings without a flag, as a share of the largest depth, and of "
        "the largest force.",
        room="flags",
    )
    roughness_ratio: Positive = knob(
        FlagLimits,
        "roughness_ratio",
        "Least depth without a flag, in units of roughness_Ra_nm.",
        room="flags",
    )
    film_depth_share: Positive = knob(
        FlagLimits,
        "film_depth_share",
        "Largest depth without a flag on the hardness, as a share of thickness_nm.",
        room="flags",
    )
    film_radius_ratio: Positive = knob(
        FlagLimits,
        "film_radius_ratio",
        "Largest contact radius without a flag on the modulus, in units of thickness_nm.",
        room="flags",
    )
    thickness_depths: Positive = knob(
        FlagLimits,
        "thickness_depths",
        "Least bulk_thickness_um without a flag, in depths.",
        room="flags",
    )
    thickness_diameters: Positive = knob(
        FlagLimits,
        "thickness_diameters",
        "Least bulk_thickness_um without a flag, in diameters of the impression.",
        room="flags",
    )
    spacing_diameters: Positive | None = knob(
        FlagLimits,
        "spacing_diameters",
        "Least distance of two impressions without a flag, in diameters of the larger one; by "
        "material_class where left out.",
        room="flags",
    )
    edge_diameters: Positive = knob(
        FlagLimits,
        "edge_diameters",
        "Least distance from an edge without a flag, in diameters of the impression.",
        room="flags",
    )
    outlier: bool = knob(
        FlagLimits, "outlier", "Whether tests far from their series are flagged.", room="flags"
    )
    outlier_sigma: Positive = knob(
        FlagLimits,
        "outlier_sigma",
        "Largest distance from the median without a flag, in robust standard deviations.",
        room="flags",
    )
    outlier_tests: Few = knob(
        FlagLimits, "outlier_tests", "Fewest tests of a series for this rule.", room="flags"
    )
    outlier_share: Share = knob(
        FlagLimits,
        "outlier_share",
        "Where more than this share of a series would be flagged it is taken as several "
        "populations, and none is.",
        room="flags",
    )


class Dynamic(Section):
    """Records with an oscillation: hardness and modulus along loading."""

    source: Literal["auto", "amplitude and phase", "stiffness"] = knob(
        DynamicOptions,
        "source",
        "What the stiffness is taken from. “auto”: from amplitudes and phase where the file has "
        "them and the frame's support spring is given or no stiffness column is there.",
        room="dynamic",
    )
    frequency_Hz: Positive | None = knob(
        DynamicOptions,
        "frequency",
        "Frequency of the oscillation, where no column has it.",
        unit="Hz",
        room="dynamic",
    )
    amplitude: Literal["peak", "rms"] = knob(
        DynamicOptions,
        "amplitude",
        "What the amplitudes in the file are: half of peak to peak, or root mean square.",
        room="dynamic",
    )
    stiffness: Literal["contact", "with frame"] = knob(
        DynamicOptions,
        "stiffness",
        "What a stiffness column holds: that of the contact, or of contact and frame in series.",
        room="dynamic",
    )
    quoted_at: Literal["peak", "mean"] = knob(
        DynamicOptions,
        "quoted_at",
        "Where in the swing force, depth and stiffness are quoted: its top, or its middle.",
        room="dynamic",
    )
    window_share: Share = knob(
        DynamicOptions,
        "window_share",
        "Least width of a window, as a share of its depth.",
        room="dynamic",
    )
    window_depth_nm: NonNegative = knob(
        DynamicOptions, "window_depth", "Least width of a window.", unit="nm", room="dynamic"
    )
    window_samples: Annotated[int, Field(ge=4, le=1_000_000)] = knob(
        DynamicOptions, "window_samples", "Fewest samples of a window.", room="dynamic"
    )
    u_stiffness_limit: Positive = knob(
        DynamicOptions,
        "u_stiffness_limit",
        "Values are withheld where the relative standard uncertainty of S is above this.",
        room="dynamic",
    )
    zero_share: Positive = knob(
        DynamicOptions,
        "zero_share",
        "Values are withheld where the zero's standard uncertainty is above this share of h_c.",
        room="dynamic",
    )
    swing_limit: Share = knob(
        DynamicOptions,
        "swing_limit",
        "Values are withheld where the force swings by more than this share of itself.",
        room="dynamic",
    )


class Corrections(Section):
    """Corrections of the record."""

    zero: Zero = key("The zero point.", Zero)
    drift: Drift = key("Thermal drift.", Drift)


class Choices(Section):
    """Choices of the reduction that one specimen may set for itself."""

    segments: Segments = key("How segments are found.", Segments)
    corrections: Corrections = key("Corrections of the record.", Corrections)
    analysis: Analysis = key("From corrected records to properties.", Analysis)
    flags: Flags = key("Limits of the flags.", Flags)
    dynamic: Dynamic = key("Records with an oscillation.", Dynamic)
