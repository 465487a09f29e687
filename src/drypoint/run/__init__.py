"""Carry a recipe and its decisions through the rooms: ``run_study``."""

from drypoint.run.progress import Cancelled, Step, Watch
from drypoint.run.result import Curve, Group, Provenance, StudyResult
from drypoint.run.study_run import gather, run_study

__all__ = [
    "Cancelled",
    "Curve",
    "Group",
    "Provenance",
    "Step",
    "StudyResult",
    "Watch",
    "gather",
    "run_study",
]
