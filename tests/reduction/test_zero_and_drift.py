"""Zero point and thermal drift: every way to find them, against invented truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from reduction_cases import PLAIN, QUIET, Floats, Options, bare, batch, glass, reduced, with_

from drypoint.records.batch import Batch
from drypoint.reduction import drift as drift_
from drypoint.reduction import zero as zero_
from drypoint.reduction.reduce import Overrides
from drypoint.simulation import Noise, simulate_batch, single
from drypoint.tips.tip import Frame

DEFAULT = Options()
CYCLE = single(10e-3, shape=2.0)
ZERO = 300e-9


def many(n: int, noise: Noise = QUIET, **changes: object) -> Batch:
    truths = [glass(name=f"T{i:02d}", noise=noise, zero_offset=ZERO, **changes) for i in range(n)]
    return bare(simulate_batch(truths, CYCLE, 21))


@pytest.mark.parametrize("louder", [1.0, 3.0])
def test_first_contact_finds_the_zero_of_a_blunted_tip(louder: float) -> None:
    """30 invented tests: the truth lies within 3 u, and within 2 u in most of them; u holds the
    test's own part and that of the contact law's exponent."""
    noise = Noise(force_white=louder * 0.3e-6, depth_white=louder * 0.15e-9)
    z = reduced(many(30, noise)).corrected.zero
    u = np.hypot(z.u_depth, z.per_exponent * DEFAULT.zero.u_exponent)
    off = np.abs(z.depth - ZERO) / u
    assert np.all(z.how == zero_.FITTED)
    assert np.all((u > 0.02e-9) & (u < 2e-9))
    assert off.max() < 3
    assert np.mean(off < 2) > 0.8


def test_the_exponent_is_the_one_of_the_contact() -> None:
    """Handmade Hertz and cone contacts (M-hi): the right exponent finds the zero exactly, the
    other one is off by what ``per_exponent`` says."""
    h = np.linspace(0, 300e-9, 601)
    quiet = np.linspace(-50e-9, -1e-9, 100)
    for n in (1.5, 2.0):
        F = np.concatenate([np.zeros(100), 10e-3 * (h / h[-1]) ** n, [9e-3, 5e-3, 1e-3]])
        depth = np.concatenate([quiet, h, [295e-9, 280e-9, 260e-9]]) + ZERO
        t = np.arange(len(F)) / 20
        for exponent in (1.5, 2.0):
            options = with_(DEFAULT, zero={"exponent": exponent})
            b = batch([(F, depth, t)])
            z = reduced(b, options=options).corrected.zero
            if exponent == n:
                assert z.depth[0] == pytest.approx(ZERO, abs=1e-14)
                right = z
            else:
                told = right.depth[0] + right.per_exponent[0] * (exponent - n) if n == 1.5 else None
                assert abs(z.depth[0] - ZERO) > 0.2e-9
                if told is not None:
                    assert z.depth[0] == pytest.approx(told, abs=1e-12)


def test_threshold() -> None:
    """The first sample above the noise lies at or after contact, by less than 3 nm."""
    z = reduced(many(20), options=with_(DEFAULT, zero={"method": "threshold"})).corrected.zero
    assert np.all(z.how == zero_.THRESHOLD)
    late = z.depth - ZERO
    assert np.all((late > -0.7e-9) & (late < 3e-9))
    assert np.all(z.u_depth > 0.1e-9)
    assert np.all(z.per_exponent == 0)


@pytest.mark.parametrize("compliance", [0.0, 0.5e-6])
def test_declared_and_as_recorded(compliance: float) -> None:
    """A stated zero is a recorded depth; u is what is stated, and a frame does not shift it."""
    b = many(2, force_offset=40e-6, compliance=compliance)
    frame = Frame(compliance=compliance)
    stated = {"method": "declared", "depth": ZERO, "u_zero": 2e-9}
    steady = with_(DEFAULT, drift={"method": "none"})
    r = reduced(b, options=with_(steady, zero=stated), frame=frame)
    z = r.corrected.zero
    assert np.all(z.how == zero_.DECLARED)
    np.testing.assert_array_equal(z.u_depth, 2e-9)
    at = np.searchsorted(b.force[:900], 0.0)  # any sample of the approach
    assert r.corrected.depth[at] == pytest.approx(b.depth[at] - ZERO, abs=1e-12)
    np.testing.assert_allclose(r.tests["h_max"].random_parts["zero"], 2e-9, rtol=1e-9)
    r = reduced(b, options=with_(steady, zero={"method": "as recorded"}), frame=frame)
    assert np.all(r.corrected.zero.u_depth == 0)
    assert r.corrected.depth[at] == pytest.approx(b.depth[at], abs=1e-12)


def test_a_contact_point_moved_by_hand() -> None:
    """In depth, and in time: the recorded depth at that moment; the others stay to the bit."""
    b = many(3, compliance=0.5e-6)
    frame = Frame(compliance=0.5e-6)
    base = reduced(b, frame=frame)
    time = float(b.time[320])
    moved = reduced(
        b,
        frame=frame,
        overrides=Overrides(zero={"T00": ZERO + 5e-9}, zero_time={"T01": time}),
    )
    z = moved.corrected.zero
    assert z.how.tolist() == [zero_.DECLARED, zero_.DECLARED, zero_.FITTED]
    first = base.corrected.zero.depth
    assert z.depth[0] == pytest.approx(ZERO + 5e-9, abs=1e-12)
    change = moved.tests["h_max"].value[0] - base.tests["h_max"].value[0]
    assert change == pytest.approx(first[0] - (ZERO + 5e-9), abs=2e-12)
    at = b.depth[int(b.offsets[1]) + 320]
    assert z.depth[1] == pytest.approx(at, abs=2e-11)
    assert z.per_exponent[:2].tolist() == [0.0, 0.0]
    assert z.u_depth[0] == pytest.approx(base.corrected.zero.noise_depth[0])
    for s in ("h_max", "H_IT"):
        assert moved.tests[s].value[2] == base.tests[s].value[2]


def test_a_zero_that_is_uncertain_makes_hardness_uncertain() -> None:
    """u(H)/H = u(A)/A, about 2 u(h_c)/h_c by GUM (C), for an ideal pyramid."""
    from drypoint.tips.build import ideal_tip

    stated = {"method": "declared", "depth": ZERO, "u_zero": 3e-9}
    r = reduced(many(1), ideal_tip("modified Berkovich"), with_(DEFAULT, zero=stated))
    part = r.tests["H_IT"].random_parts["zero"] / r.tests["H_IT"].value
    assert part[0] == pytest.approx(2 * 3e-9 / r.tests["h_c"].value[0], rel=1e-6)


def few_near_contact() -> Batch:
    """Four samples of loading, and many of unloading."""
    F_up = np.array([0.0, 2.5e-3, 5e-3, 7.5e-3, 10e-3])
    h_up = 300e-9 * np.sqrt(F_up / 10e-3)
    F = np.concatenate([F_up, 10e-3 * np.linspace(1, 0, 200)[1:]])
    h = np.concatenate([h_up, 150e-9 + 150e-9 * (F[5:] / 10e-3) ** (1 / 1.4)])
    return batch([(F, h, np.arange(len(F)) / 20)])


def test_too_few_samples_near_contact_are_flagged() -> None:
    r = reduced(few_near_contact())
    assert r.corrected.zero.how.tolist() == [zero_.THRESHOLD]
    assert "zero by threshold" in {f.code for f in r.tests.flags[0]}
    assert r.corrected.zero.u_depth[0] > 20e-9  # half a step over root three


# ---------------------------------------------------------------------------------------- drift


@pytest.mark.parametrize("rate", [-0.08e-9, 0.0, 0.02e-9])
def test_the_drift_hold_finds_the_drift(rate: float) -> None:
    """20 invented tests: within 4 u; and u is of use (below 0.005 nm/s)."""
    d = reduced(many(20, drift_rate=rate)).corrected.drift
    assert np.all(d.how == drift_.FROM_HOLD)
    assert np.all(d.u_rate < 0.005e-9)
    assert np.all(np.abs(d.rate - rate) < 4 * d.u_rate)


def spiked(b: Batch, rng: np.random.Generator) -> Batch:
    """Every twentieth sample of the drift holds off by 5 nm."""
    depth = b.depth.copy()
    for i in range(len(b)):
        inside = np.arange(1450, 2500) + int(b.offsets[i])
        hit = rng.choice(inside, len(inside) // 20, replace=False)
        depth[hit] += 5e-9
    return replace(b, depth=depth)


def test_outliers_hardly_move_the_drift() -> None:
    """Five per cent of wild readings, all on one side: a straight least-squares line over the
    same samples is moved further (numpy.polyfit, another program)."""
    b = many(10, drift_rate=0.02e-9)
    clean = reduced(b).corrected.drift
    rng = np.random.default_rng(3)
    bad = spiked(b, rng)
    # Put the wild readings where they turn a straight line most: at the end of the hold.
    depth = b.depth.copy()
    for i in range(len(b)):
        depth[int(b.offsets[i]) + 2430 : int(b.offsets[i]) + 2500 : 2] += 5e-9
    worse = replace(b, depth=depth)
    for other in (bad, worse):
        d = reduced(other).corrected.drift
        assert np.abs(d.rate - 0.02e-9).max() < 0.012e-9
        assert np.all(np.abs(d.rate - 0.02e-9) < 5 * np.hypot(d.u_rate, clean.u_rate))
    robust = np.abs(reduced(worse).corrected.drift.rate - 0.02e-9)
    for i in range(len(b)):
        s = slice(int(b.offsets[i]) + 1610, int(b.offsets[i]) + 2565)
        plain = np.polyfit(b.time[s], worse.depth[s], 1)[0]
        assert robust[i] < 0.7 * abs(plain - 0.02e-9)


def test_declared_and_none() -> None:
    b = many(2, drift_rate=0.05e-9)
    stated = {"method": "declared", "rate": 0.05e-9, "u_rate": 0.01e-9}
    d = reduced(b, options=with_(DEFAULT, drift=stated)).corrected.drift
    assert (d.rate.tolist(), d.u_rate.tolist()) == ([0.05e-9] * 2, [0.01e-9] * 2)
    assert np.all(d.how == drift_.DECLARED)
    none = with_(DEFAULT, drift={"method": "none"})
    d = reduced(b, options=none).corrected.drift
    assert (d.rate.tolist(), d.u_rate.tolist()) == ([0.0] * 2, [0.0] * 2)
    assert np.all(d.how == drift_.NONE)


def test_without_a_drift_hold_the_uncertainty_is_carried() -> None:
    """No correction, a flag, and the stated uncertainty in every depth: u(h_max) = u_rate t."""
    truth = glass(noise=QUIET, zero_offset=ZERO)
    b = bare(simulate_batch([truth], single(10e-3, shape=2.0, drift_hold=0.0), 3))
    options = with_(DEFAULT, drift={"u_rate": 0.05e-9})
    r = reduced(b, options=options)
    assert r.corrected.drift.how.tolist() == [drift_.NO_HOLD]
    assert "no drift hold" in {f.code for f in r.tests.flags[0]}
    t = float(b.time[int(r.readings.start[0])] - b.time[int(r.corrected.zero.contact[0])])
    assert r.tests["h_max"].random_parts["drift"][0] == pytest.approx(0.05e-9 * t, rel=1e-9)
    assert r.tests["H_IT"].random_parts["drift"][0] > 0
    without = reduced(b).tests["h_max"]
    assert without.random_parts["drift"][0] == 0.0


def test_a_record_without_time_has_no_drift_and_says_so() -> None:
    b = many(1)
    r = reduced(replace(b, time=np.full_like(b.time, np.nan)))
    assert r.corrected.drift.how.tolist() == [drift_.NO_HOLD]
    assert np.isfinite(r.tests["H_IT"].value[0])


@pytest.mark.parametrize("by_hand", [False, True])
def test_the_window_of_the_hold(by_hand: bool) -> None:
    """A hold that creeps at first: the second half shows the drift alone."""
    b = many(2, drift_rate=0.02e-9)
    depth = b.depth.copy()
    for i in range(2):
        s = slice(int(b.offsets[i]) + 1370, int(b.offsets[i]) + 1370 + 400)
        depth[s] += 4e-9 * np.linspace(1, 0, 400) ** 2
    b = replace(b, depth=depth)
    early = with_(DEFAULT, drift={"window": (0.0, 0.5)})
    late = with_(DEFAULT, drift={"window": (0.5, 1.0)})
    wrong = reduced(b, options=early).corrected.drift.rate
    assert np.all(np.abs(wrong - 0.02e-9) > 0.05e-9)
    if by_hand:
        over = Overrides(drift_window={"T01": (0.5, 1.0)})
        d = reduced(b, options=early, overrides=over).corrected.drift
        assert d.rate[0] == wrong[0]
        assert d.rate[1] == reduced(b, options=late).corrected.drift.rate[1]
    else:
        d = reduced(b, options=late).corrected.drift
        assert np.all(np.abs(d.rate - 0.02e-9) < 4 * d.u_rate)


def test_creep_and_relaxation() -> None:
    """C_IT = 100 (h2 - h1)/h1 under force control, R_IT = 100 (F1 - F2)/F1 under depth control
    (ISO 14577-1, M-hi), from handmade holds; each stands only where it has a meaning."""
    n = 400
    up = np.linspace(0, 1, n)
    down = np.linspace(1, 0, n)[1:]
    flat = np.ones(200)
    creep = 1 + 0.02 * np.linspace(0, 1, 200)
    F_creep = np.concatenate([up**2, flat, down]) * 10e-3
    h_creep = np.concatenate([up, creep, 1.02 * (0.5 + 0.5 * down ** (1 / 1.4))]) * 300e-9
    relax = 1 - 0.05 * np.linspace(0, 1, 200)
    F_relax = np.concatenate([up**2, relax, 0.95 * down]) * 10e-3
    h_relax = np.concatenate([up, flat, 0.5 + 0.5 * down ** (1 / 1.4)]) * 300e-9
    records: list[tuple[Floats, Floats, Floats | None]] = []
    for F, h in ((F_creep, h_creep), (F_relax, h_relax)):
        records.append((F, h, np.arange(len(F)) / 20))
    r = reduced(batch(records), options=PLAIN)
    C, R = r.tests["C_IT"].value, r.tests["R_IT"].value
    assert C[0] == pytest.approx(2.0, abs=0.02)
    assert R[1] == pytest.approx(5.0, abs=0.06)
    assert np.isnan(C[1])
    assert np.isnan(R[0])
