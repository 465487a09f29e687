"""Direct and indirect verification: certificates into the budget, decisions on a block."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from drypoint.calibration import (
    Block,
    CalibrationError,
    Certificate,
    Limits,
    Verification,
    apply,
    past_date,
    verify,
)
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Frame

ISSUED, ENDS = date(2024, 3, 1), date(2025, 3, 1)
FORCE = Certificate("force scale", 1.002, 0.004, ISSUED, 2.0, ENDS, "invented laboratory", "K-17")
BLOCK = Block("block 7", "E_IT", 80e9, 1.6e9)


def test_certificates_reach_frame_and_tip() -> None:
    angle = Certificate("angle", np.radians(65.25), np.radians(0.06), ISSUED)
    C = Certificate("frame compliance", 0.3e-6, 0.02e-6, ISSUED)
    frame, geometry, found = apply(
        [FORCE, angle, C], Frame(), Geometry("modified Berkovich"), date(2024, 6, 1)
    )
    assert (frame.force_scale, frame.u_force_scale) == (1.002, 0.002)
    assert (frame.compliance, frame.u_compliance) == (0.3e-6, 0.01e-6)
    assert geometry.u_angle == pytest.approx(np.radians(0.03))
    assert "K-17 by invented laboratory" in frame.origin and found == ()
    inputs = frame.joint()
    assert {n for j in inputs for n in j.names} == {"frame.C_f", "force_scale", "depth_scale"}


def test_a_certificate_past_its_date() -> None:
    assert past_date(FORCE, ENDS) is None
    late = past_date(FORCE, date(2025, 3, 11))
    assert late is not None and "10 days before" in late.sentence
    early = past_date(FORCE, date(2024, 1, 1))
    assert early is not None and early.code == "dates out of order"
    with pytest.raises(CalibrationError, match=r"ended on 2025-03-01.*calibrated again"):
        apply([FORCE], Frame(), Geometry("Vickers"), date(2026, 1, 1))
    frame, _, found = apply(
        [FORCE], Frame(), Geometry("Vickers"), date(2026, 1, 1), refuse_past_date=False
    )
    assert frame.u_force_scale == 0.002 and found[0].serious


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "colour"}, "no kind of certificate"),
        ({"U": -1.0}, "no sensible uncertainty"),
        ({"value": 0.0}, "not above zero"),
        ({"valid_until": date(2020, 1, 1)}, "ends before it was issued"),
    ],
)
def test_senseless_certificates(change: dict, words: str) -> None:
    with pytest.raises(CalibrationError, match=words):
        replace(FORCE, **change)


def test_two_certificates_of_one_thing() -> None:
    with pytest.raises(CalibrationError, match="Two certificates"):
        apply([FORCE, FORCE], Frame(), Geometry("Vickers"), ISSUED)


def on_block(mean: float, cv: float = 0.01, n: int = 10) -> np.ndarray:
    z = np.linspace(-1, 1, n)
    return mean * (1 + cv * z / z.std(ddof=1))


def run(
    mean: float, u: float = 0.6e9, cv: float = 0.01, n: int = 10, **more: object
) -> Verification:
    return verify(on_block(mean, cv, n), BLOCK, u_systematic=u, **more)  # type: ignore[arg-type]


def test_pass() -> None:
    v = run(80.8e9)
    assert v.verdict == "pass" and abs(v.E_n) < 1
    assert v.relative_error == pytest.approx(0.01) and v.variation == pytest.approx(0.01)
    assert v.rule.startswith("Pass: the error is at most 5 %")


def test_numbers_by_hand() -> None:
    """u_A = 0.8/sqrt(10), u_sys 0.6, u_cert 0.8 GPa: u_c = 1.0315, U close to 1.96 u_c."""
    v = run(80.0e9)
    u_c = np.sqrt(0.8**2 / 10 + 0.6**2 + 0.8**2)
    assert v.U_error == pytest.approx(1.96 * u_c * 1e9, rel=2e-3)


def test_error_above_its_limit_fails_whatever_the_uncertainty() -> None:
    v = run(88e9, u=20e9)
    assert abs(v.E_n) < 1 and v.verdict == "fail"
    assert any("above the limit" in r for r in v.reasons)


def test_a_large_uncertainty_passes_nothing() -> None:
    v = run(80.5e9, u=4e9)
    assert abs(v.E_n) < 1 and v.verdict == "undecided"
    assert "agreement would say little" in v.reasons[0]


def test_an_error_beyond_its_uncertainty_fails() -> None:
    v = verify(on_block(83e9, 0.002), replace(BLOCK, U=0.4e9), u_systematic=0.2e9)
    assert v.relative_error < 0.05 and v.E_n > 1 and v.verdict == "fail"


def test_repeatability_and_number() -> None:
    assert run(80e9, cv=0.08).verdict == "fail"
    assert run(80e9, n=3).verdict == "undecided"
    assert run(80e9, n=3, limits=Limits(fewest=3)).verdict == "pass"


def test_conditions_of_the_practice() -> None:
    assert run(80e9, epsilon=0.75).verdict == "undecided"
    assert run(80e9, radial_correction=False).verdict == "undecided"
    old = replace(BLOCK, issued=ISSUED, valid_until=ENDS)
    late = verify(on_block(80e9), old, u_systematic=0.6e9, day=date(2026, 1, 1))
    early = verify(on_block(80e9), old, u_systematic=0.6e9, day=date(2023, 1, 1))
    assert late.verdict == early.verdict == "undecided"
    assert "ended on 2025-03-01" in late.reasons[-1] and "before the block's" in early.reasons[-1]


def test_the_block_of_the_calibration_cannot_verify_it() -> None:
    with pytest.raises(CalibrationError, match="was used in the calibration"):
        run(80e9, calibrated_on=("block 7",))
    with pytest.raises(CalibrationError, match="No test on block"):
        verify([np.nan], BLOCK, u_systematic=0.0)
    with pytest.raises(CalibrationError, match="no sensible value"):
        Block("b", "H_IT", 0.0, 1.0)


def test_how_often_a_bad_bench_passes() -> None:
    """A bench 8 % off, known to 1.5 %: fails nearly always; one that is right passes."""
    rng = np.random.default_rng(0)
    verdicts = {0.0: [], 0.08: []}
    for _ in range(200):
        for off, seen in verdicts.items():
            true = 80e9 * (1 + 0.01 * rng.standard_normal())
            mean = true * (1 + off) * (1 + 0.0075 * rng.standard_normal())
            v = verify(mean * (1 + 0.01 * rng.standard_normal(10)), BLOCK, u_systematic=0.6e9)
            seen.append(v.verdict)
    assert verdicts[0.0].count("pass") >= 185
    assert verdicts[0.08].count("fail") >= 185
