"""Comparison: what is systematic to both cancels; equivalence; how many more tests."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from drypoint.errors import UncertaintyError
from drypoint.uncertainty import compare as cm
from drypoint.uncertainty import planning
from drypoint.uncertainty.joint import join, single

JOINT = join([single("frame.C_f", 0.0, 2.0), single("beta", 1.05, 0.01)])


def sample(name: str, x: np.ndarray, gain: float = 1.0, **kw: object) -> cm.Sample:
    return cm.Sample(name, x, np.full(x.size, 0.1), np.tile([gain, 0.5], (x.size, 1)), **kw)


def test_welchs_test_when_all_cancels() -> None:
    rng = np.random.default_rng(0)
    a, b = rng.normal(10, 1, 8), rng.normal(11, 2, 12)
    c = cm.compare(sample("A", a), sample("B", b), JOINT)
    want = stats.ttest_ind(a, b, equal_var=False)  # SciPy's Welch test (C)
    assert c.p == pytest.approx(want.pvalue) and c.dof == pytest.approx(want.df)
    ci = want.confidence_interval(0.95)
    assert c.interval == pytest.approx((ci.low, ci.high))
    assert c.u_systematic == pytest.approx(0.0)


@given(st.floats(-1e3, 1e3), st.integers(0, 99))
def test_a_common_shift_changes_nothing(shift: float, seed: int) -> None:
    rng = np.random.default_rng(seed)
    a, b = rng.normal(10, 1, 5), rng.normal(11, 2, 7)
    one = cm.compare(sample("A", a, 1.0), sample("B", b, 1.3), JOINT)
    two = cm.compare(sample("A", a + shift, 1.0), sample("B", b + shift, 1.3), JOINT)
    assert two.interval == pytest.approx(one.interval, abs=1e-9 * (1 + abs(shift)))
    assert one.u_systematic == pytest.approx(0.3 * 2.0)
    other = cm.compare(sample("B", b, 1.3), sample("A", a, 1.0), JOINT)
    assert other.estimate == pytest.approx(-one.estimate) and other.p == pytest.approx(one.p)


def test_verdicts() -> None:
    rng = np.random.default_rng(2)
    a, near, far = (rng.normal(m, 1, 40) for m in (10.0, 10.02, 13.0))
    assert cm.compare(sample("A", a), sample("B", far), JOINT, unit="GPa").sentence.startswith(
        "Different: A - B = -"
    )
    same = cm.compare(sample("A", a), sample("B", near), JOINT, margin=1.0, unit="GPa")
    assert same.verdict == "equivalent" and "Equivalent within ±1 GPa" in same.sentence
    few = cm.compare(sample("A", a[:3]), sample("B", a[3:6] + 1.2), JOINT)
    assert few.verdict == "not decided" and few.more_tests and few.more_tests > 0
    assert "more tests each would decide with power 80%" in few.sentence
    stuck = cm.compare(sample("A", a, 1.0), sample("B", a + 0.5, 3.0), JOINT)
    assert stuck.more_tests == np.inf and "no number" in stuck.sentence
    one = cm.compare(sample("A", a[:1]), sample("B", far), JOINT)
    assert "One test only on A" in one.sentence


def test_ratio_is_free_of_a_common_scale() -> None:
    rng = np.random.default_rng(3)
    x, y = rng.normal(10, 0.2, 6), rng.normal(20, 0.4, 6)
    scale = single("force_scale", 1.0, 0.05)
    a, b = (cm.Sample(n, v, np.zeros(6), v[:, None]) for n, v in (("A", x), ("B", y)))
    c = cm.compare(b, a, scale, kind="ratio")
    assert c.estimate == pytest.approx(2, rel=0.02) and c.u_systematic == pytest.approx(
        0, abs=1e-12
    )
    assert cm.compare(b, a, scale).u_systematic == pytest.approx(0.05 * (y.mean() - x.mean()))
    with pytest.raises(UncertaintyError, match="positive"):
        cm.compare(b, cm.Sample("Z", -x, np.zeros(6), x[:, None]), scale, kind="ratio")


def test_positions_carry_the_comparison() -> None:
    rng = np.random.default_rng(5)
    pos = np.repeat(np.arange(4), 10)
    a = np.repeat(rng.normal(0, 1, 4), 10) + rng.normal(0, 0.1, 40)
    b = np.repeat(rng.normal(0, 1, 4), 10) + rng.normal(0, 0.1, 40)
    c = cm.compare(sample("A", a, position=pos), sample("B", b, position=pos), JOINT)
    assert c.dof < 7 and c.u_type_a > 3 * cm.compare(sample("A", a), sample("B", b), JOINT).u_type_a
    assert "positions each" in c.sentence or c.verdict == "different" or c.more_tests == np.inf


def test_comparison_covers() -> None:
    """700 seeds, unequal spreads and numbers, systematic inputs redrawn, four deviations."""
    rng = np.random.default_rng(11)
    hit = 0
    for shift in (JOINT.draw(rng, 700) - JOINT.mean)[:, 0]:
        a, b = rng.normal(1.0, 1, 5) + shift, rng.normal(0.0, 2, 8) + 1.2 * shift
        c = cm.compare(sample("A", a), sample("B", b, 1.2), JOINT)
        hit += c.interval[0] <= 1.0 <= c.interval[1]
    assert abs(hit / 700 - 0.95) < 0.033


@pytest.mark.parametrize("adjust", ["tukey", "holm"])
def test_several_keep_the_error_together(adjust: cm.Adjust) -> None:
    rng = np.random.default_rng(6)
    wrong, reps = 0, 100
    for _ in range(reps):
        out = cm.compare_all([sample(n, rng.normal(0, 1, 10)) for n in "ABC"], JOINT, adjust=adjust)
        wrong += any(c.verdict == "different" for c in out)
    assert wrong / reps < 0.05 + 3 * np.sqrt(0.05 * 0.95 / reps)
    assert len(out) == 3 and all(c.adjusted for c in out)
    pair = cm.compare_all([sample("A", np.arange(5.0)), sample("B", np.arange(5.0) + 3)], JOINT)
    assert pair[0].adjusted == ""


def test_numbers_needed() -> None:
    # d = 0.5, 80 %, two-sided 5 %: 64 in each group (Cohen, 1988, table 2.3.5) (M-hi)
    assert planning.tests_needed(1.0, 1.0, 0.5) == 64
    assert planning.tests_needed(1.0, 1.0, 0.5, start=(40, 40)) == 24
    assert planning.tests_needed(1.0, 1.0, 0.5, u_systematic=1.0) == np.inf
    assert planning.tests_needed(1.0, 1.0, 0.0) == np.inf
    assert planning.tests_needed(1.0, 1.0, 0.0, margin=0.5) == pytest.approx(69, abs=2)  # C
    assert planning.power_of(0.0, 1.0, 10) == pytest.approx(0.05)
