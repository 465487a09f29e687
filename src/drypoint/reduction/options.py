"""Every choice of the reduction, with its default and where the default comes from.

This is the one place where physical defaults live. The recipe room offers the same names to the
user, the results carry the values used, the report prints them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

#: Option -> where its default comes from (printed by the report and the docs). What is ascribed to
#: ISO 14577-1 here is known from memory or second-hand; the standard was not reopened.
SOURCES: dict[str, str] = {
    "segments.control": "found from the signal; common practice",
    "zero.law": "our own finite elements (docs/explanation/blunted-tip.md) where the tip has a "
    "radius, else a power between Hertz and Sneddon",
    "zero.base_line": "our own choice: a head hangs on springs",
    "zero.exponent_range": "sphere 3/2 (Hertz 1881), cone 2 (Sneddon 1965)",
    "drift.curvature": "our own choice: drift need not be steady",
    "zero.method": "ISO 14577-1: zero point from an extrapolated fit of the first contact",
    "zero.exponent": "Hertz contact of a blunted tip, F ~ (h - h_0)^(3/2); Johnson 1985",
    "zero.u_exponent": "our own choice: a blunted tip lies between 3/2 (sphere) and 2 (cone), near "
    "3/2 at first contact",
    "drift.method": "ISO 14577-1 and ASTM E2546: depth rate during a hold at low force",
    "drift.window": "common practice: the first part of the hold is left out",
    "analysis.unloading": "Oliver and Pharr 1992, power law F = alpha (h - h_p)^m",
    "analysis.window": "ISO 14577-1: 98 % to 20 % of F_max",
    "analysis.epsilon": "from the exponent m: Pharr and Bolshakov 2002, ISO 14577-1",
    "analysis.beta": "ISO 14577-1: beta = 1",
    "analysis.recalibrate_tip": "a tip used under another rule than its own is refused "
    "unless asked",
    "analysis.radial_correction": "off by default; Hay, Bolshakov and Pharr 1999",
    "analysis.viscous_correction": "off by default; Feng and Ngan 2002",
    "analysis.depth_at_F_max": "recorded depth at the start of unloading",
    "segments.tolerance": "our own choice: above the ripple of usual force control",
    "zero.depth_window": "our own choice: a real tip is round on this scale",
    "zero.force_share": "our own choice: beyond it the contact is no first contact any more",
    "zero.threshold_sigma": "our own choice: one false alarm in 30,000 quiet samples",
    "analysis.linear_window": "common practice: tangent to the upper part of unloading; "
    "Doerner and Nix 1986",
    "analysis.hms_window": "ISO 14577-1: 50 % to 90 % of F_max",
    "flags.drift_rate": "common practice of the trade: 0.05 nm/s",
    "flags.fit_residual": "our own choice",
    "flags.exponent": "our own choice: 1 is a flat punch, 2 a cone; Oliver and Pharr 1992 found "
    "1.25 to 1.51",
    "flags.pile_up": "Bolshakov and Pharr 1998",
    "flags.creep_rate_share": "our own choice: a tenth of the elastic rate moves S by about a "
    "tenth",
    "dynamic.source": "our own choice: amplitudes and phase hold more than a stiffness that was "
    "made from them, where the instrument's constants are known",
    "dynamic.amplitude": "common practice: half of peak to peak",
    "dynamic.stiffness": "common practice: a stiffness is usually recorded after the frame "
    "is taken out",
    "dynamic.quoted_at": "Pharr, Strader and Oliver 2009: the contact follows the largest force of "
    "the swing",
    "dynamic.window_share": "our own choice: over a twentieth of the depth F, S and h are straight "
    "enough for a mean",
    "dynamic.window_depth": "our own choice: no least width",
    "dynamic.window_samples": "our own choice: fewer do not show their own noise",
    "dynamic.u_stiffness_limit": "our own choice: E_IT is as uncertain as S",
    "dynamic.zero_share": "our own choice: it moves hardness by twice as much",
    "dynamic.swing_limit": "our own choice: beyond it the correction to the top of the swing is "
    "more than a correction",
    "flags.pop_in_sigma": "our own choice: no false alarm in thousands of clean records "
    "(benchmarks/bench_flags.py)",
    "flags.pop_in_ratio": "our own choice: sudden is three times the usual rate and more",
    "flags.noise_share": "our own choice: one hundredth, as ISO 14577-1 asks of the zero point",
    "flags.roughness_ratio": "ISO 14577-1 and -4: Ra at most 5 % of the depth",
    "flags.film_depth_share": "common practice of the trade (Bückle's rule)",
    "flags.film_radius_ratio": "ISO 14577-4, second-hand: 1.5 for a soft film on a hard "
    "substrate, 2 for a hard one",
    "flags.thickness_depths": "ISO 14577-1",
    "flags.thickness_diameters": "ISO 14577-1",
    "flags.spacing_diameters": "ISO 14577-1: 5 in ceramics, iron and its alloys; 10 in others "
    "and where the material is not stated",
    "flags.edge_diameters": "ISO 14577-1",
    "flags.outlier": "on; it assumes one population",
    "flags.outlier_sigma": "Iglewicz and Hoaglin 1993",
    "flags.outlier_tests": "our own choice: with fewer the robust spread itself is uncertain",
    "flags.outlier_share": "our own choice: more strays than this are another population",
    "analysis.u_hardness_limit": "our own choice: hardness with a larger relative standard "
    "uncertainty says nothing",
    "analysis.elastic_work_limit": "our own choice: above this elastic share of the work the "
    "contact is taken as still elastic",
}


@dataclass(frozen=True)
class SegmentOptions:
    """How segments are found.

    ``control`` is ``"auto"``, ``"force"`` or ``"depth"``. ``labels`` maps the file's own segment
    labels to approach, loading, hold, unloading, drift hold. ``tolerance`` is the height (as a
    share of F_max or h_max) below which a change is no change of segment.
    """

    control: str = "auto"
    labels: tuple[tuple[str, str], ...] = ()
    tolerance: float = 0.004


@dataclass(frozen=True)
class ZeroOptions:
    """Zero point. ``method``: ``"first contact"`` (fit of F ~ (h - h_0)^exponent to the first
    contact), ``"threshold"`` (force first above ``threshold_sigma`` times the noise of the
    approach), ``"declared"`` (``depth`` in metres is the zero) or ``"as recorded"``.

    ``depth_window`` (m) is how far past the threshold the first-contact fit reaches, limited to
    ``force_share`` of F_max. ``u_exponent`` is the standard uncertainty of the exponent, shared by
    all tests; ``u_zero`` (m) is added in quadrature to each test's own.
    """

    method: str = "first contact"
    exponent: float = 1.5
    u_exponent: float = 0.1
    depth_window: float = 15e-9
    force_share: float = 0.1
    threshold_sigma: float = 4.0
    depth: float = 0.0
    u_zero: float = 0.0
    law: str = "power"
    base_line: str = "constant"
    exponent_range: tuple[float, float] = (1.5, 2.0)


@dataclass(frozen=True)
class DriftOptions:
    """Thermal drift. ``method``: ``"drift hold"``, ``"declared"`` (``rate`` m/s) or ``"none"``.

    ``window`` is the share of the hold that is used. A record without a drift hold gets no
    correction and the uncertainty ``u_rate`` (m/s), and is flagged.
    """

    method: str = "drift hold"
    window: tuple[float, float] = (0.2, 1.0)
    rate: float = 0.0
    u_rate: float = 0.0
    curvature: bool = False


@dataclass(frozen=True)
class AnalysisOptions:
    """From corrected records to properties.

    ``unloading``: ``"power law"`` or ``"linear"`` (tangent to the upper part, ``linear_window``).
    ``window``: lowest and highest share of F_max in the fit. ``epsilon``: ``None`` for epsilon(m),
    or a number. ``beta`` with ``u_beta``. ``recalibrate_tip``: rescale an area function found under
    another beta or radial correction instead of refusing it. ``radial_correction``: multiply
    beta by gamma(nu, psi). ``viscous_correction``: take the creep at the start of unloading out
    of S.
    ``depth_at_F_max``: ``"record"`` or ``"fit"``. ``elastic_work_limit``: hardness is withheld
    where eta_IT is above it. ``u_hardness_limit``: hardness is withheld where its relative
    standard uncertainty is above it.
    """

    unloading: str = "power law"
    window: tuple[float, float] = (0.20, 0.98)
    linear_window: tuple[float, float] = (0.80, 0.98)
    epsilon: float | None = None
    u_epsilon: float = 0.0
    beta: float = 1.0
    u_beta: float = 0.0
    recalibrate_tip: bool = False
    radial_correction: bool = False
    viscous_correction: bool = False
    depth_at_F_max: str = "record"
    hms_window: tuple[float, float] = (0.5, 0.9)
    elastic_work_limit: float = 0.95
    u_hardness_limit: float = 0.25


@dataclass(frozen=True)
class FlagLimits:
    """Thresholds of the flags (each a plain sentence with its grounds).

    ``pop_in_sigma`` and ``pop_in_ratio`` hold for pop-ins and pop-outs, see
    :mod:`drypoint.reduction.events`; ``spacing_diameters`` ``None`` is by the class of material;
    the others are told in :mod:`drypoint.reduction.surroundings` and
    :mod:`drypoint.reduction.strays`.
    """

    drift_rate: float = 0.05e-9
    fit_residual: float = 0.01
    exponent: tuple[float, float] = (1.05, 2.2)
    pile_up: float = 0.7
    creep_rate_share: float = 0.1
    pop_in_sigma: float = 6.0
    pop_in_ratio: float = 2.0
    noise_share: float = 0.01
    roughness_ratio: float = 20.0
    film_depth_share: float = 0.1
    film_radius_ratio: float = 1.5
    thickness_depths: float = 10.0
    thickness_diameters: float = 3.0
    spacing_diameters: float | None = None
    edge_diameters: float = 3.0
    outlier: bool = True
    outlier_sigma: float = 3.5
    outlier_tests: int = 8
    outlier_share: float = 0.1


@dataclass(frozen=True)
class DynamicOptions:
    """Records with an oscillation: stiffness, hardness and modulus along loading.

    ``source``: ``"amplitude and phase"``, ``"stiffness"`` (a column of that role) or ``"auto"``:
    the first where the file has it and the frame's support spring is given or there is no
    stiffness. ``frequency`` (Hz) where no column has it. ``amplitude``: ``"peak"`` (half of peak
    to peak) or ``"rms"``, for both amplitudes. ``stiffness``: whether a stiffness column holds
    that of the ``"contact"`` or of the contact ``"with frame"``. ``quoted_at``: ``"peak"`` (force,
    depth and stiffness at the top of the swing) or ``"mean"``.

    A window is closed once it holds ``window_samples`` samples and is as wide as ``window_depth``
    (m) and as ``window_share`` of its depth. Values are withheld where u(S)/S is above
    ``u_stiffness_limit``, u(zero)/h_c above ``zero_share``, or the swing of the force above
    ``swing_limit`` of the force.
    """

    source: str = "auto"
    frequency: float | None = None
    amplitude: str = "peak"
    stiffness: str = "contact"
    quoted_at: str = "peak"
    window_share: float = 0.05
    window_depth: float = 0.0
    window_samples: int = 10
    u_stiffness_limit: float = 0.05
    zero_share: float = 0.1
    swing_limit: float = 0.3


@dataclass(frozen=True)
class Options:
    """All choices of one reduction."""

    segments: SegmentOptions = field(default_factory=SegmentOptions)
    zero: ZeroOptions = field(default_factory=ZeroOptions)
    drift: DriftOptions = field(default_factory=DriftOptions)
    analysis: AnalysisOptions = field(default_factory=AnalysisOptions)
    flags: FlagLimits = field(default_factory=FlagLimits)
    dynamic: DynamicOptions = field(default_factory=DynamicOptions)
