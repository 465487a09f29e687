"""95 % intervals cover about 95 %: a small part of ``benchmarks/bench_calibration.py``."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from drypoint.calibration import Form

sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "benchmarks"))
from bench_calibration import QUANTITIES, run


@pytest.mark.parametrize(
    ("form", "constraint", "shared", "seeds"),
    [
        (Form("blunted"), "hardness", True, 30),
        (Form("blunted"), "compliance", False, 30),
        (Form("blunted"), "second", True, 20),
        (Form("series", 3), "compliance", True, 20),
    ],
)
def test_coverage(form: Form, constraint: str, shared: bool, seeds: int) -> None:
    """Bounds: 95 % less four binomial standard deviations; rms of error/u near 1."""
    z, failed, _ = run(form, constraint, constraint == "second", shared, seeds)
    assert failed == 0
    for q in QUANTITIES:
        inside = np.mean(np.abs(z[q]) < 1.96)
        assert inside > 0.95 - 4 * np.sqrt(0.95 * 0.05 / seeds), q
        assert abs(np.sqrt(np.mean(z[q] ** 2)) - 1) < 3.3 / np.sqrt(2 * seeds), q
