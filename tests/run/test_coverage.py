"""Do 95 % intervals cover? The small version of ``benchmarks/bench_coverage.py``."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[2] / "benchmarks"))

import bench_coverage as bench

SEEDS = 100


@pytest.mark.parametrize(("grade", "kind"), [(1.0, "power law"), (0.1, "power law")])
def test_intervals_cover(grade: float, kind: str) -> None:
    """About three standard errors of 100 seeds; a u too small by a quarter falls outside."""
    t = bench.tally(grade, kind, range(SEEDS), tag=3)
    assert t.lost == 0
    for symbol in bench.SYMBOLS:
        for what in ("single", "mean"):
            rate, error = t.rate(symbol, what)
            assert 0.91 <= rate <= 0.985, (symbol, what, rate, error)
    for symbol in bench.COMPARED:
        rate, _ = t.rate(symbol, "difference")
        assert 0.90 <= rate <= 0.99, (symbol, rate)


@pytest.mark.parametrize(("grade", "apart"), [(1.0, 0.15), (0.1, 0.08)])
def test_linear_and_monte_carlo_agree(grade: float, apart: float) -> None:
    """JCGM 101: both ways give the same interval of a mean of ten tests.

    On the usual bench H_IT = F/A is known to 4 %, and 1/A bends by a tenth of U there.
    """
    for found in bench.cross_check(grade, 4, 10_000).values():
        low, middle, high = found.u_ratio
        assert 0.95 < low <= middle <= high < 1.05
        assert found.worst_end < apart
