"""Figures of a study: Matplotlib figures with a caption and a text alternative built from numbers.

Each function takes a :class:`drypoint.run.result.StudyResult` and gives a
:class:`~drypoint.figures.picture.Picture`, which is a Matplotlib ``Figure``. Nothing here touches
pyplot, and the same numbers give the same bytes.
"""

from drypoint.figures.area import area_function
from drypoint.figures.corrections import drift_hold, first_contact
from drypoint.figures.load_depth import curves
from drypoint.figures.picture import Picture
from drypoint.figures.places import distribution, position_map
from drypoint.figures.series import by_depth, per_test
from drypoint.figures.shares import budget_bars
from drypoint.figures.steps import steps

__all__ = [
    "Picture",
    "area_function",
    "budget_bars",
    "by_depth",
    "curves",
    "distribution",
    "drift_hold",
    "first_contact",
    "per_test",
    "position_map",
    "steps",
]
