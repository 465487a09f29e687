"""The demo with its calibration made and accepted, as a user would have it. Data are invented."""

from __future__ import annotations

from pathlib import Path

from drypoint.run.calibrating import calibrate_study
from drypoint.run.registering import accept_calibration
from drypoint.simulation.demo import make_demo

WHEN = "2025-03-06T16:00:00Z"


def calibrated_demo(folder: Path, seed: int) -> Path:
    """Write the demo, find and accept its bench; return the path of ``study.toml``."""
    study = make_demo(folder, seed)
    found = calibrate_study(study.parent / "bench" / "bench.toml")
    accept_calibration(found, who="A. Example", when=WHEN)
    return study
