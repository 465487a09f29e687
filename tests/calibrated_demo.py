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


DECLARED = """\
[tips.B1]
shape = "modified Berkovich"
radius_nm = 80.0
u_radius_nm = 4.0
face_angle_deg = 65.27
u_angle_deg = 0.03
certificate = "invented calibration"

[tips.B1.area]
kind = "blunted"

[frame]
compliance_nm_per_mN = 0.25
u_compliance_nm_per_mN = 0.02
certificate = "invented calibration"
"""
BENCH = """\
[benches.B1]
file = "bench/calibration.toml"
"""


def declare_tip(study: Path) -> Path:
    """Let a demo study state its tip and frame itself, near the truth, in place of the bench."""
    text = study.read_text(encoding="utf-8")
    assert BENCH in text
    study.write_text(text.replace(BENCH, DECLARED), encoding="utf-8")
    return study
