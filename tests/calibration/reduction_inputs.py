"""The reduction's systematic inputs for a bench."""

from __future__ import annotations

from typing import Any

from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.options import AnalysisOptions, Options
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint


def inputs_of(bench: Bench, **analysis: Any) -> Joint:
    """Inputs under an analysis, for one specimen of steel."""
    return systematic_inputs(
        bench, Options(analysis=AnalysisOptions(**analysis)), {"steel": (0.29, 0.01)}
    )
