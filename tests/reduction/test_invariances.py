"""What must not change a result: other units, other sampling, other order, other company."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reduction_cases import PLAIN, QUIET, Options, Reduced, bare, glass, reduced, with_

from drypoint.records.batch import Batch
from drypoint.simulation import simulate_batch, single, stepped
from drypoint.tips.build import ideal_tip
from drypoint.tips.tip import Frame

FEW = settings(max_examples=12)
DEFAULT = Options()
CYCLE = single(10e-3, shape=2.0)


def invented(n: int, seed: int = 11) -> Batch:
    truths = [
        glass(
            name=f"T{i:02d}",
            noise=QUIET,
            zero_offset=300e-9 + 20e-9 * i,
            force_offset=3e-6,
            drift_rate=0.01e-9 * i,
        )
        for i in range(n)
    ]
    cycles = [CYCLE, stepped(8e-3, steps=5, shape=2.0), CYCLE, single(5e-3)]
    return bare(simulate_batch(truths, [cycles[i % 4] for i in range(n)], seed))


@pytest.fixture(scope="module")
def four() -> tuple[Batch, Reduced]:
    b = invented(4)
    r = reduced(b)
    assert not r.faults
    return b, r


def same(a: Reduced, i: int, b: Reduced, j: int) -> None:
    """One row of each: values and sensitivities to the bit, uncertainties to rounding (those of
    fits of one length are computed together)."""
    for symbol, p in a.tests.quantities.items():
        q = b.tests[symbol]
        assert p.value[i].tobytes() == q.value[j].tobytes(), symbol
        assert p.sensitivity[i].tobytes() == q.sensitivity[j].tobytes(), symbol
        np.testing.assert_allclose(p.u_random[i], q.u_random[j], rtol=1e-9, err_msg=symbol)


@FEW
@given(order=st.permutations(range(4)))
def test_order_of_the_tests(four: tuple[Batch, Reduced], order: list[int]) -> None:
    b, r = four
    shuffled = reduced(b.take(order))
    for row, i in enumerate(order):
        same(shuffled, row, r, i)


def test_company_of_the_tests(four: tuple[Batch, Reduced]) -> None:
    """A batch split up gives the same numbers."""
    b, r = four
    for i in range(4):
        same(reduced(b.take([i])), 0, r, i)


def scaled(b: Batch, k_F: float, k_h: float) -> Batch:
    return replace(b, force=b.force * k_F, depth=b.depth * k_h)


def options_scaled(k_h: float) -> Options:
    """The same choices for depths that are k_h times larger."""
    z, d = DEFAULT.zero, DEFAULT.drift
    return with_(
        DEFAULT,
        zero={"depth_window": z.depth_window * k_h},
        drift={"u_rate": d.u_rate * k_h},
        flags={"drift_rate": DEFAULT.flags.drift_rate * k_h},
    )


IDEAL = ideal_tip("modified Berkovich", E_i=1e30)


@FEW
@given(force=st.integers(-12, 12), depth=st.integers(-12, 12))
def test_units_of_force_and_depth(four: tuple[Batch, Reduced], force: int, depth: int) -> None:
    """For an ideal pyramid H, E and HM go with k_F/k_h^2, S with k_F/k_h, work with k_F k_h; and
    so do the uncertainties."""
    k_F, k_h = 10.0 ** (force / 4), 10.0 ** (depth / 4)
    b, _ = four
    base = reduced(b, IDEAL)
    other = reduced(scaled(b, k_F, k_h), IDEAL, options_scaled(k_h))
    pressure = k_F / k_h**2
    for symbol, k in {
        "H_IT": pressure, "E_IT": pressure, "HM": pressure, "HM_s": pressure, "m": 1.0,
        "S": k_F / k_h, "W_total": k_F * k_h, "eta_IT": 1.0, "h_c": k_h, "C_IT": 1.0,
    }.items():  # fmt: skip
        a, q = base.tests[symbol], other.tests[symbol]
        np.testing.assert_allclose(q.value, a.value * k, rtol=1e-6, err_msg=symbol)
        np.testing.assert_allclose(q.u_random, a.u_random * k, rtol=1e-3, err_msg=symbol)


@FEW
@given(shift=st.floats(-1e5, 1e5))
def test_when_the_clock_started(four: tuple[Batch, Reduced], shift: float) -> None:
    b, r = four
    other = reduced(replace(b, time=b.time + shift))
    for symbol in ("H_IT", "E_IT", "h_max", "C_IT"):
        np.testing.assert_allclose(other.tests[symbol].value, r.tests[symbol].value, rtol=1e-7)


@FEW
@given(offset=st.floats(-50e-6, 50e-6), depth=st.floats(-5e-6, 5e-6))
def test_offsets_of_force_and_depth(
    four: tuple[Batch, Reduced], offset: float, depth: float
) -> None:
    """An even offset of the force (seen in the approach) and of the depth is taken out."""
    b, r = four
    other = reduced(replace(b, force=b.force + offset, depth=b.depth + depth))
    for symbol in ("F_max", "H_IT", "E_IT", "h_max", "m", "W_total"):
        np.testing.assert_allclose(
            other.tests[symbol].value, r.tests[symbol].value, rtol=3e-4, err_msg=symbol
        )


@FEW
@given(rate=st.floats(-0.2e-9, 0.2e-9))
def test_a_steady_drift_is_removed(rate: float) -> None:
    """Drift since contact, on top of what the record has: the hold shows it, and it is gone."""
    options = with_(DEFAULT, zero={"method": "as recorded"})
    b = invented(4)
    r = reduced(b, options=options)
    contact = np.repeat(b.time[r.corrected.zero.contact], np.diff(b.offsets))
    other = reduced(replace(b, depth=b.depth + rate * (b.time - contact)), options=options)
    np.testing.assert_allclose(
        other.corrected.drift.rate - r.corrected.drift.rate, rate, rtol=0, atol=1e-15
    )
    for symbol in ("H_IT", "E_IT", "h_max", "h_p", "m", "W_elast"):
        np.testing.assert_allclose(
            other.tests[symbol].value, r.tests[symbol].value, rtol=1e-5, err_msg=symbol
        )


@FEW
@given(compliance=st.floats(0.0, 2e-6))
def test_a_frame_that_is_declared_leaves_no_trace(
    four: tuple[Batch, Reduced], compliance: float
) -> None:
    """Compliance put into the records and declared: the same results."""
    b, r = four
    soft = replace(b, depth=b.depth + compliance * b.force)
    for frame in (
        Frame(compliance=compliance),
        Frame(compliance=compliance / 3, mount_compliance=compliance * 2 / 3),
    ):
        other = reduced(soft, frame=frame)
        for symbol in ("H_IT", "E_IT", "h_max", "h_p", "S", "W_total", "C_IT"):
            np.testing.assert_allclose(
                other.tests[symbol].value, r.tests[symbol].value, rtol=1e-6, err_msg=symbol
            )


@pytest.mark.parametrize("method", ["as recorded", "declared"])
def test_a_frame_leaves_no_trace_under_a_stated_zero(method: str) -> None:
    b = invented(2)
    options = with_(DEFAULT, zero={"method": method, "depth": 300e-9})
    r = reduced(b, options=options)
    soft = replace(b, depth=b.depth + 1e-6 * (b.force - 3e-6))
    other = reduced(soft, options=options, frame=Frame(compliance=1e-6))
    for symbol in ("h_max", "S", "W_total"):
        np.testing.assert_allclose(
            other.tests[symbol].value, r.tests[symbol].value, rtol=2e-5, err_msg=symbol
        )


@FEW
@given(f=st.floats(0.5, 2.0), d=st.floats(0.5, 2.0))
def test_scales_that_are_declared_leave_no_trace(
    four: tuple[Batch, Reduced], f: float, d: float
) -> None:
    b, r = four
    other = reduced(scaled(b, f, d), frame=Frame(force_scale=1 / f, depth_scale=1 / d))
    for symbol in ("H_IT", "E_IT", "h_max", "S", "eta_IT"):
        np.testing.assert_allclose(
            other.tests[symbol].value, r.tests[symbol].value, rtol=1e-6, err_msg=symbol
        )


@pytest.mark.parametrize("rate", [10.0, 40.0, 160.0])
def test_how_often_the_record_was_read(rate: float) -> None:
    """Without noise the sampling rate is of no account."""
    truth = glass(zero_offset=300e-9)
    two = [single(10e-3, shape=2.0, rate=r) for r in (20.0, rate)]
    r = reduced(bare(simulate_batch([truth, replace(truth, name="T02")], two)))
    for symbol, rtol in (("S", 2e-5), ("m", 1e-5), ("F_max", 1e-9), ("H_IT", 2e-3), ("E_IT", 1e-3)):
        a, b = r.tests[symbol].value
        assert b == pytest.approx(a, rel=rtol), symbol


def test_leaving_out_every_other_sample_changes_less_than_the_uncertainty() -> None:
    truth = glass(noise=QUIET, zero_offset=300e-9)
    b = bare(simulate_batch([truth], single(10e-3, shape=2.0, rate=40.0)))
    half = replace(
        b,
        offsets=np.array([0, len(b.force[::2])]),
        time=b.time[::2],
        force=b.force[::2],
        depth=b.depth[::2],
        segment=b.segment[::2],
    )
    all_of_it, some = reduced(b), reduced(half)
    for symbol in ("S", "H_IT", "E_IT"):
        u = some.tests.u(symbol)[0]
        assert abs(some.tests[symbol].value[0] - all_of_it.tests[symbol].value[0]) < 2 * u


def test_the_plain_options_leave_the_record_alone() -> None:
    b = invented(1)
    r = reduced(b, options=PLAIN)
    np.testing.assert_array_equal(r.corrected.depth, b.depth)
