"""From raw invented records to a bench, and the bench verified on a block it has not seen."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drypoint.calibration import (
    Block,
    Calibrated,
    CalibrationError,
    ConstantHardness,
    Form,
    Reference,
    calibrate_batch,
    reference_tests,
    verify_reduction,
)
from drypoint.records.batch import Batch, join
from drypoint.reduction.options import AnalysisOptions, Options
from drypoint.reduction.reduce import reduce_batch
from drypoint.simulation import Creep, Law, Noise, Truth, simulate_batch, single, stepped
from drypoint.tips.area import area
from drypoint.tips.build import blunted_tip, ideal_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench

TRUE = blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1")
GLASS = Reference("invented glass", 72e9, 0.17, 0.6e9, 0.005)
RULE = Options(analysis=AnalysisOptions())
DISTURBED = Truth(
    tip=TRUE, E=Law.constant(72e9), H=Law.constant(9.2e9), nu=0.17, m=1.3, specimen="glass",
    creep=Creep(0.004), compliance=0.25e-6, drift_walk=0.004e-9,
    noise=Noise(0.3e-6, 0.1e-6, 0.15e-9, 0.06e-9, 0.3),
)  # fmt: skip


def glass(n: int = 6, fault: str | None = None) -> Batch:
    """Stepped tests to 30 mN, each with a drift and a zero of its own; one may be spoiled."""
    rng = np.random.default_rng(1)
    truths = [
        replace(DISTURBED, name=f"G-{i + 1}", drift_rate=float(0.015e-9 * rng.standard_normal()),
                zero_offset=float(rng.uniform(150e-9, 900e-9)),
                fault=fault if i == n - 1 else None)
        for i in range(n)
    ]  # fmt: skip
    return simulate_batch(truths, stepped(30e-3, steps=10, gap=100e-9, rate=15.0), 1)


@pytest.fixture(scope="module")
def calibrated() -> Calibrated:
    block = simulate_batch(
        [replace(DISTURBED, name="S-1", specimen="block")], single(10e-3, gap=100e-9)
    )
    bench = Bench(ideal_tip("modified Berkovich", name="B1"))
    return calibrate_batch(
        join([glass(), block]), bench, RULE, {"glass": GLASS}, ConstantHardness(h_min=100e-9),
        Form("blunted"),
    )  # fmt: skip


def test_truth_comes_back_from_raw_records(calibrated: Calibrated) -> None:
    c = calibrated.calibration
    assert abs(c.frame.compliance - 0.25e-6) < 3 * c.frame.u_compliance < 0.05e-6
    h = np.array([60e-9, 150e-9, 350e-9])
    A, u = c.area(h)
    assert np.all(np.abs(A - area(TRUE, {}, h)) < 2.5 * u) and np.all(u < 0.03 * A)
    assert c.acceptable and c.rule["reference"] == "invented glass"
    assert 2 < len(calibrated.course) <= 6


def test_the_exponent_of_the_zero_is_carried(calibrated: Calibrated) -> None:
    """Zero and area share the contact law's exponent: shallow areas hang on it."""
    joint = calibrated.calibration.linked
    i, j = joint.index("zero.exponent"), joint.index("tip.radius")
    assert joint.sd[i] == RULE.zero.u_exponent and abs(joint.cov[i, j]) > 0


def test_other_specimens_are_left_out(calibrated: Calibrated) -> None:
    assert {t.rpartition(",")[0] for t in calibrated.calibration.tests.names} == {
        f"G-{i}" for i in range(1, 7)
    }


def test_verified_on_a_block(calibrated: Calibrated) -> None:
    """A steel-like block behind the same tip and frame: both quantities within 5 %, E_n below 1."""
    truths = [
        replace(DISTURBED, name=f"S-{i}", specimen="block", E=Law.constant(210e9),
                H=Law.constant(7e9), nu=0.29, zero_offset=2e-7) for i in range(6)
    ]  # fmt: skip
    batch = simulate_batch(truths, single(15e-3, shape=2.0, gap=100e-9), 5)
    found = reduce_batch(batch, calibrated.calibration.bench, RULE, {"block": (0.29, 0.002)})
    for quantity, value in (("E_IT", 210e9), ("H_IT", 7e9)):
        block = Block("block 1", quantity, value, 0.01 * value)
        v = verify_reduction(found.tests, block, calibrated_on=("invented glass",))
        assert v.verdict == "pass", v.reasons
        assert v.n == 6 and v.u_mean > v.mean * v.variation / np.sqrt(6)


def test_spoiled_tests_are_set_aside_and_named() -> None:
    bench = Bench(ideal_tip("modified Berkovich", name="B1"))
    made = calibrate_batch(
        glass(6, "no contact"), bench, RULE, {"glass": GLASS}, ConstantHardness(h_min=100e-9),
        Form("blunted"),
    )  # fmt: skip
    (f,) = [f for f in made.calibration.findings if f.code == "tests set aside"]
    assert "G-6" in f.sentence


def test_no_reference_among_the_specimens() -> None:
    bench = Bench(ideal_tip("modified Berkovich"))
    with pytest.raises(CalibrationError, match="No test is on a reference material"):
        calibrate_batch(glass(2), bench, RULE, {"quartz": GLASS}, ())


def test_frame_of_the_reduction_is_undone(calibrated: Calibrated) -> None:
    """Depth and compliance at no frame are the same with whatever frame they were reduced."""
    batch, nu = glass(3), {"glass": (0.17, 0.0)}
    tip = ideal_tip("modified Berkovich")
    a, b = (
        reference_tests(
            reduce_batch(batch, Bench(tip, replace(Bench(tip).frame, compliance=C)), RULE, nu),
            batch, {"glass": GLASS},
        )
        for C in (0.0, 0.25e-6)
    )  # fmt: skip
    assert pytest.approx(b.C, rel=3e-3) == a.C and a.h == pytest.approx(b.h, abs=0.3e-9)
    assert np.all(a.m < b.m)  # a frame in the record flattens the exponent
