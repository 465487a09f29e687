"""Figures of a study or calibration: Matplotlib figures with caption and words from the numbers.

Each function takes a :class:`drypoint.run.result.StudyResult`, what a calibration found, or a run
of finite elements, and gives a :class:`~drypoint.figures.picture.Picture`, which is a Matplotlib
``Figure``. Nothing here touches pyplot, and the same numbers give the same bytes.
"""

from drypoint.figures.area import area_function
from drypoint.figures.benchnoise import allan, correlation_map
from drypoint.figures.blocks import block_tests
from drypoint.figures.calibration import calibrated_area, reference_hardness, residuals
from drypoint.figures.corrections import drift_hold, first_contact
from drypoint.figures.dynamic import along_loading
from drypoint.figures.films import film_hardness, film_modulus
from drypoint.figures.health import health_charts
from drypoint.figures.load_depth import curves
from drypoint.figures.picture import Picture
from drypoint.figures.places import distribution, position_map
from drypoint.figures.series import by_depth, per_test
from drypoint.figures.shares import budget_bars
from drypoint.figures.steps import steps
from drypoint.figures.stress_maps import impression, interface_stress, stress_maps
from drypoint.figures.tracks import loose_picture, one_track, replicate_loads, tracks_on_load
from drypoint.figures.undertip import under_the_tip

__all__ = [
    "Picture",
    "allan",
    "along_loading",
    "area_function",
    "block_tests",
    "budget_bars",
    "by_depth",
    "calibrated_area",
    "correlation_map",
    "curves",
    "distribution",
    "drift_hold",
    "film_hardness",
    "film_modulus",
    "first_contact",
    "health_charts",
    "impression",
    "interface_stress",
    "loose_picture",
    "one_track",
    "per_test",
    "position_map",
    "reference_hardness",
    "replicate_loads",
    "residuals",
    "steps",
    "stress_maps",
    "tracks_on_load",
    "under_the_tip",
]
