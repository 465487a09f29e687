"""A tip and a frame from reference tests, and whether they can be trusted. Pure functions.

``rows``: reference tests. ``choices``: form of the area, and what identifies frame and tip.
``joint``: the fit (``model`` equations, ``weights``, ``least``, ``fit``, ``start``, ``select``,
``identify``, ``summary``, ``suspicion``). ``records``: from raw records. ``compliance``: without an
area function. ``known``: how well, and why. ``othershapes``: microscopy, spheres, styli.
``direct``, ``indirect``: verification. ``noise``: noise and drift of a bench. ``health``,
``charts``: a tip over the months. ``exchange``: the open file.
"""

from drypoint.calibration.charts import change_point, chart_constants, ewma, individuals
from drypoint.calibration.choices import (
    ConstantHardness,
    Constraint,
    FixedLeading,
    ForceOverStiffnessSquared,
    Form,
    KnownCompliance,
    SecondMaterial,
)
from drypoint.calibration.compliance import (
    Line,
    compliance_from_depth,
    compliance_from_force,
    modulus_hardness_ratio,
)
from drypoint.calibration.direct import Certificate, apply, past_date
from drypoint.calibration.exchange import Exchanged, from_mapping, to_mapping
from drypoint.calibration.health import Health, Point, tip_health, used_since
from drypoint.calibration.indirect import Block, Limits, Verification, verify, verify_reduction
from drypoint.calibration.joint import calibrate, leading_from_angle
from drypoint.calibration.known import Known, known_area, known_compliance
from drypoint.calibration.noise import (
    NoiseStudy,
    Stretch,
    allan_deviation,
    noise_study,
    quiet_stretches,
)
from drypoint.calibration.othershapes import (
    RadiusCourse,
    areas_from_heights,
    radius_course,
    stylus,
    tip_from_areas,
)
from drypoint.calibration.problems import CalibrationError, Finding
from drypoint.calibration.records import Calibrated, bare_bench, calibrate_batch
from drypoint.calibration.result import Calibration
from drypoint.calibration.rows import (
    Reference,
    ReferenceTests,
    reference_tests,
    rows_from_arrays,
)

__all__ = [
    "Block",
    "Calibrated",
    "Calibration",
    "CalibrationError",
    "Certificate",
    "ConstantHardness",
    "Constraint",
    "Exchanged",
    "Finding",
    "FixedLeading",
    "ForceOverStiffnessSquared",
    "Form",
    "Health",
    "Known",
    "KnownCompliance",
    "Limits",
    "Line",
    "NoiseStudy",
    "Point",
    "RadiusCourse",
    "Reference",
    "ReferenceTests",
    "SecondMaterial",
    "Stretch",
    "Verification",
    "allan_deviation",
    "apply",
    "areas_from_heights",
    "bare_bench",
    "calibrate",
    "calibrate_batch",
    "change_point",
    "chart_constants",
    "compliance_from_depth",
    "compliance_from_force",
    "ewma",
    "from_mapping",
    "individuals",
    "known_area",
    "known_compliance",
    "leading_from_angle",
    "modulus_hardness_ratio",
    "noise_study",
    "past_date",
    "quiet_stretches",
    "radius_course",
    "reference_tests",
    "rows_from_arrays",
    "stylus",
    "tip_from_areas",
    "tip_health",
    "to_mapping",
    "used_since",
    "verify",
    "verify_reduction",
]
