"""Hits and false alarms of the flags: the small version of ``benchmarks/bench_flags.py``."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[2] / "benchmarks"))

import bench_flags as bench
import flag_faults as ff

N = 12
#: Least share of hits by flag and size; what is not named must be hit always.
LEAST = {
    ("pop-in", "2 nm at once"): 0.0,
    ("pop-in", "5 nm at once"): 0.6,
    ("pop-in", "10 nm at once"): 0.75,
    ("pop-in", "20 nm at once"): 0.75,
    ("pop-in", "10 nm in 0.2 s"): 0.6,
    ("pop-in", "depth control, drop of 2 % of the force"): 0.0,
    ("pop-in", "depth control, drop of 10 % of the force"): 0.9,
    ("step back", "5 nm"): 0.6,
    ("pop-out", "5 nm"): 0.3,
    ("pop-out", "20 nm"): 0.5,
    ("noise", "0.8 % of h_max"): None,
    ("poor fit", "wave of 4 % of F_max"): 0.45,
    ("zero by threshold", "loading of 4 samples"): 0.8,
}


@pytest.mark.parametrize("fault", ff.FAULTS, ids=lambda f: f"{f.code}: {f.size}")
def test_planted_faults_are_flagged(fault: ff.Fault) -> None:
    rate = bench.hits(fault, N, 40)
    least = LEAST.get((fault.code, fault.size), 1.0)
    if least is None:  # below the limit: not to be flagged
        assert rate.hits <= 0.25 * N
    else:
        assert rate.hits >= least * N


def test_clean_tests_have_no_flag() -> None:
    """Sixty clean tests of four solids and four cycles; nothing is set aside."""
    b, _ = ff.batch(ff.plans(60, 41), None, 41)
    r = bench.reduce_batch(b, ff.BENCH, bench.Options(), ff.POISSON)
    assert r.faults == ()
    assert sum(bench.counts(r).values()) <= 2
    assert bench.counts(r)["pop-in"] == bench.counts(r)["pop-out"] == 0


def test_series() -> None:
    assert bench.clean_series(100, 42, 12).percent < 1.0
    assert bench.two_phases(100, 42).percent < 1.0
    hit, false = bench.strays(200, 42, 0.2)
    assert hit.percent > 95.0
    assert false.percent < 1.0
