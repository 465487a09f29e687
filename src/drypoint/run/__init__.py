"""Carry a recipe and its decisions through the rooms: ``run_study``."""

from drypoint.run.plan import Plan, plan_study
from drypoint.run.progress import Cancelled, Step, Watch
from drypoint.run.result import Curve, Group, Provenance, StudyResult
from drypoint.run.streaming import Chunk, reduce_in_chunks
from drypoint.run.study_run import gather, run_study

__all__ = [
    "Cancelled",
    "Chunk",
    "Curve",
    "Group",
    "Plan",
    "Provenance",
    "Step",
    "StudyResult",
    "Watch",
    "gather",
    "plan_study",
    "reduce_in_chunks",
    "run_study",
]
