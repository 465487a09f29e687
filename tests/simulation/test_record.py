"""Records without noise obey the definitions; disturbances are what they say."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from drypoint.records.segments import Kind
from drypoint.simulation import (
    Creep,
    Cycle,
    Leg,
    Noise,
    Record,
    SimulationError,
    Truth,
    cyclic,
    simulate,
    simulate_batch,
    simulate_many,
    single,
    stepped,
    to_depth,
)
from drypoint.simulation.envelope import Envelope
from drypoint.tips.area import area, surface_area

LOUD = Noise(0.3e-6, 0.2e-6, 0.15e-9, 0.1e-9, 0.5)


def first_unloading(r: Record) -> tuple[np.ndarray, np.ndarray]:
    """Force and depth from the end of the first hold down."""
    at = np.flatnonzero(r.segment == Kind.UNLOADING)
    stop = at[0] + int(np.argmax(np.diff(at) > 1)) if np.any(np.diff(at) > 1) else at[-1]
    return r.true_force[at[0] - 1 : stop + 1], r.true_depth[at[0] - 1 : stop + 1]


@pytest.mark.parametrize("cycle", [single(8e-3, unload=300.0), to_depth(250e-9, unload=300.0)])
def test_first_unloading_gives_the_truth_back(truth: Truth, cycle: Cycle) -> None:
    r = simulate(truth, cycle)
    e = r.expected[0]
    F, h = first_unloading(r)
    assert (F[0], h[0]) == pytest.approx((e.F_max, e.h_max), rel=1e-12)
    # One-sided second-order difference at the top.
    d1, d2 = h[0] - h[1], h[0] - h[2]
    S = (-(F[1] - F[0]) * d2 / d1 + (F[2] - F[0]) * d1 / d2) / (d2 - d1)
    assert pytest.approx(e.S, rel=1e-5) == S
    # Exponent and residual depth from three points of the curve.
    assert np.log(F[50] / F[0]) / np.log((h[50] - e.h_p) / (h[0] - e.h_p)) == pytest.approx(e.m)
    # Oliver and Pharr 1992, by hand: eps(1.3) = 0.7724 (table of Pharr and Bolshakov's formula).
    h_c = e.h_max - 0.7724 * e.F_max / S
    assert h_c == pytest.approx(e.h_c, abs=5e-12)
    A = float(area(truth.tip, {}, e.h_c))
    assert e.F_max / A == pytest.approx(9.2e9, rel=1e-12) == e.H_IT
    e_r = np.sqrt(np.pi) * S / (2 * np.sqrt(A))
    assert e_r == pytest.approx(e.E_r, rel=1e-5)
    assert (1 - 0.17**2) / (1 / e.E_r - (1 - 0.07**2) / 1140e9) == pytest.approx(72e9, rel=1e-9)
    assert pytest.approx(72e9) == e.E_IT
    assert e.h_r == pytest.approx(e.h_max - e.F_max / e.S)
    assert pytest.approx(e.F_max / float(surface_area(truth.tip, {}, e.h_max))) == e.HM


def test_work_is_the_area_under_the_curves(truth: Truth) -> None:
    for cycle in (single(8e-3, load=120.0, unload=120.0, shape=2.0), to_depth(250e-9, load=120.0)):
        r = simulate(truth, cycle)
        e = r.expected[0]
        up = int(np.flatnonzero(r.segment == Kind.UNLOADING)[0])
        total = np.trapezoid(r.true_force[r.contact : up], r.true_depth[r.contact : up])
        back = -np.trapezoid(r.true_force[up - 1 :], r.true_depth[up - 1 :])
        assert total == pytest.approx(e.W_total, rel=2e-5)
        assert back == pytest.approx(e.W_elast, rel=1e-4)
        assert e.eta_IT == pytest.approx(e.W_elast / e.W_total)


def test_work_with_a_pop_in(truth: Truth) -> None:
    for cycle in (single(8e-3, load=120.0, shape=2.0, rate=50), to_depth(250e-9, load=300.0)):
        r = simulate(replace(truth, pop_in_force=30e-6), cycle)
        up = int(np.flatnonzero(r.segment == Kind.UNLOADING)[0])
        total = np.trapezoid(r.true_force[r.contact : up], r.true_depth[r.contact : up])
        assert total == pytest.approx(r.expected[0].W_total, rel=1e-4)


def test_loading_is_monotone_and_creep_ends_on_the_envelope(truth: Truth) -> None:
    r = simulate(truth, single(8e-3, hold=20.0))
    up = int(np.flatnonzero(r.segment == Kind.UNLOADING)[0])
    assert np.all(np.diff(r.true_depth[:up]) > 0)
    hold = np.flatnonzero(r.segment == Kind.HOLD)
    assert len(hold) == 400
    h1, h2 = r.true_depth[hold[0] - 1], r.true_depth[hold[-1]]
    e = r.expected[0]
    assert h2 - h1 == pytest.approx(0.004 * np.log1p(20.0) * e.h_p, rel=1e-9)
    assert pytest.approx((h2 - h1) / h1, rel=1e-9) == e.C_IT
    assert np.isnan(e.R_IT)
    t = np.arange(1, 401) / 20
    course = (r.true_depth[hold] - h1) / (h2 - h1)
    assert course == pytest.approx(np.log1p(t) / np.log1p(20.0), abs=1e-9)


def test_relaxation_at_constant_depth(truth: Truth) -> None:
    r = simulate(truth, to_depth(250e-9))
    hold = np.flatnonzero(r.segment == Kind.HOLD)
    e = r.expected[0]
    assert np.ptp(r.true_depth[hold]) < 1e-20
    assert np.all(np.diff(r.true_force[hold]) < 0)
    F1 = r.true_force[hold[0] - 1]
    assert pytest.approx((F1 - e.F_max) / F1) == e.R_IT and e.R_IT > 0
    assert e.h_max == pytest.approx(250e-9, rel=1e-12)
    assert np.isnan(e.C_IT)


def test_without_creep_the_loading_curve_is_the_envelope(truth: Truth) -> None:
    bare = replace(truth, creep=Creep())
    one, many = simulate(bare, single(8e-3, hold=0.0)), simulate(bare, stepped(8e-3))
    env = Envelope(bare, force=8e-3)
    rising = slice(one.contact + 1, int(np.argmax(one.true_force)) + 1)
    curve = env.at_force(one.true_force[rising]).h
    assert one.true_depth[rising] == pytest.approx(curve, rel=1e-9)
    for e in many.expected:
        assert env.at_force(e.F_max).h[0] == pytest.approx(e.h_max, rel=1e-12)
    assert many.expected[-1].h_max == pytest.approx(one.expected[0].h_max, rel=1e-12)


def test_stepped_loading(truth: Truth) -> None:
    r = simulate(truth, stepped(8e-3, steps=10, down_to=0.2))
    assert [e.cycle for e in r.expected] == list(range(1, 11))
    roots = np.sqrt([e.F_max for e in r.expected])
    assert np.diff(roots) == pytest.approx(np.full(9, roots[0]), rel=1e-9)
    assert np.all(np.diff([e.h_max for e in r.expected]) > 0)
    ends = np.flatnonzero((r.segment[:-1] == Kind.UNLOADING) & (r.segment[1:] == Kind.LOADING))
    shares = r.true_force[ends] / [e.F_max for e in r.expected[:-1]]
    assert shares == pytest.approx(0.2)
    assert [np.isnan(e.W_total) for e in r.expected] == [False] + [True] * 9
    # A reload follows the unloading curve back.
    e = r.expected[4]
    back = np.arange(ends[4] + 1, ends[4] + 20)
    back = back[r.true_force[back] < e.F_max]
    curve = e.F_max * ((r.true_depth[back] - e.h_p) / (e.h_max - e.h_p)) ** e.m
    assert r.true_force[back] == pytest.approx(curve, rel=1e-9)


def test_cycles_to_one_force_share_one_curve(truth: Truth) -> None:
    r = simulate(truth, cyclic(5e-3, cycles=4))
    assert len(r.expected) == 4
    assert len({(e.F_max, e.h_max, e.S) for e in r.expected}) == 1


def test_depth_controlled_cycles(truth: Truth) -> None:
    legs = [Leg(Kind.LOADING, 10, 100e-9), Leg(Kind.HOLD, 5), Leg(Kind.UNLOADING, 5, 0.3)]
    legs += [Leg(Kind.LOADING, 10, 200e-9), Leg(Kind.HOLD, 5), Leg(Kind.UNLOADING, 5, 0.0)]
    r = simulate(truth, Cycle(tuple(legs), "depth"))
    assert [e.h_max for e in r.expected] == pytest.approx([100e-9, 200e-9])
    assert [e.H_IT for e in r.expected] == pytest.approx([9.2e9, 9.2e9])
    assert r.true_force[-1] == pytest.approx(0.0, abs=1e-15)


def test_pop_in_starts_elastic_and_jumps_to_the_envelope(truth: Truth) -> None:
    jumpy = replace(truth, pop_in_force=30e-6)
    r, smooth = (simulate(t, single(8e-3, shape=2.0)) for t in (jumpy, truth))
    before = (r.true_force > 0) & (r.true_force < 30e-6) & (r.segment == Kind.LOADING)
    assert np.all(r.true_depth[before] <= smooth.true_depth[before] * (1 + 1e-9))
    after = (r.true_force > 30e-6) & (r.segment == Kind.LOADING)
    assert r.true_depth[after] == pytest.approx(smooth.true_depth[after], rel=1e-12)
    with pytest.raises(SimulationError, match="pop-in"):
        simulate(replace(truth, pop_in_force=9e-3), single(8e-3))


def test_disturbances_add_up(truth: Truth) -> None:
    off = replace(
        truth, compliance=0.25e-6, drift_rate=0.05e-9, zero_offset=400e-9, force_offset=2e-6
    )
    r = simulate(off, single(8e-3))
    since = r.time - r.time[r.contact]
    added = 0.25e-6 * r.true_force + 0.05e-9 * since + 400e-9
    assert r.depth == pytest.approx(r.true_depth + added, abs=1e-18)
    assert r.force == pytest.approx(r.true_force + 2e-6, abs=1e-18)
    assert r.depth[r.contact] == pytest.approx(r.zero) == 400e-9
    approach = r.segment == Kind.APPROACH
    assert np.all(r.true_force[approach] == 0) and np.all(r.true_depth[approach] < 0)
    assert np.diff(r.true_depth[approach]) == pytest.approx(10e-9 / 20)
    hold = r.segment == Kind.DRIFT_HOLD
    assert hold.sum() == 1200
    assert r.true_force[hold] == pytest.approx(0.1 * 8e-3)
    assert np.ptp(r.true_depth[hold]) == 0


def test_same_seed_same_bits_and_each_disturbance_has_its_own_stream(truth: Truth) -> None:
    noisy = replace(truth, noise=LOUD, drift_walk=0.01e-9)
    a, b, c = (simulate(noisy, single(8e-3), s) for s in (5, 5, 6))
    assert a.force.tobytes() == b.force.tobytes() and a.depth.tobytes() == b.depth.tobytes()
    assert a.depth.tobytes() != c.depth.tobytes()
    quiet = simulate(replace(noisy, noise=replace(LOUD, force_white=0.0)), single(8e-3), 5)
    assert quiet.depth.tobytes() == a.depth.tobytes()


def test_noise_has_the_stated_size_and_colour(truth: Truth) -> None:
    legs = (Leg(Kind.LOADING, 1, 1e-3), Leg(Kind.HOLD, 4000))
    white = Noise(force_white=1e-6)
    coloured = Noise(depth_coloured=1e-9, memory=0.5)
    r = simulate(replace(truth, noise=white), Cycle(legs), 1)
    e = r.force - r.true_force
    assert np.std(e) == pytest.approx(1e-6, rel=0.02)
    assert abs(np.corrcoef(e[1:], e[:-1])[0, 1]) < 0.02
    r = simulate(replace(truth, noise=coloured), Cycle(legs), 1)
    e = r.depth - r.true_depth
    assert np.std(e) == pytest.approx(1e-9, rel=0.05)
    assert np.corrcoef(e[10:], e[:-10])[0, 1] == pytest.approx(np.exp(-1), abs=0.05)


def test_faults(truth: Truth) -> None:
    cycle = single(8e-3)
    good = simulate(truth, cycle)
    n = len(good.time)

    def bad(fault: str) -> Record:
        r = simulate(replace(truth, fault=fault), cycle)
        assert r.expected == ()
        return r

    r = bad("no contact")
    assert np.all(r.true_force == 0) and np.all(np.diff(r.true_depth) > 0) and len(r.time) == n
    r = bad("saturated force")
    assert r.force.max() == pytest.approx(0.7 * 8e-3) and np.sum(r.force == r.force.max()) > 50
    r = bad("not a number")
    assert np.isnan(r.force).sum() == 8
    r = bad("missing unloading")
    assert r.segment[-1] == Kind.HOLD
    r = bad("truncated")
    assert r.segment[-1] == Kind.UNLOADING and r.true_force[-1] >= 0.7 * 8e-3


def test_record_that_starts_at_contact_without_drift_hold(truth: Truth) -> None:
    r = simulate(truth, single(8e-3, gap=0.0, drift_hold=0.0))
    assert r.contact == 0 and r.true_depth[0] == 0
    assert set(r.segment.tolist()) == {Kind.LOADING, Kind.HOLD, Kind.UNLOADING}
    assert r.true_force[-1] == pytest.approx(0.0, abs=1e-15)


def test_batch(truth: Truth) -> None:
    truths = [replace(truth, name=f"T-{i}", noise=LOUD) for i in range(3)]
    cycles = [single(8e-3), stepped(5e-3), cyclic(4e-3)]
    batch, records = simulate_batch(truths, cycles, 11), simulate_many(truths, cycles, 11)
    assert len(batch) == 3 and [t.name for t in batch.tests] == ["T-0", "T-1", "T-2"]
    for i, r in enumerate(records):
        assert np.array_equal(batch.depth[batch.span(i)], r.depth)
    assert len({t.source.sha256 for t in batch.tests}) == 3
    assert batch.segment_labels[Kind.DRIFT_HOLD] == "drift hold"
    alone = simulate_many(truths[:1], single(8e-3), 11)[0]
    assert alone.force.tobytes() == records[0].force.tobytes()
    assert len(simulate_batch([])) == 0
    with pytest.raises(SimulationError, match="cycles"):
        simulate_batch(truths, [single(1e-3)])


@pytest.mark.parametrize(
    "legs",
    [
        (),
        (Leg(Kind.HOLD, 5),),
        (Leg(Kind.LOADING, 5, 1e-3), Leg(Kind.UNLOADING, 5, 0.1), Leg(Kind.HOLD, 5)),
        (Leg(Kind.LOADING, 5, 1e-3), Leg(Kind.DRIFT_HOLD, 5)),
        (Leg(Kind.LOADING, 5, 1e-3), Leg(Kind.UNLOADING, 5, 1.2)),
        (Leg(Kind.LOADING, 5, 2e-3), Leg(Kind.LOADING, 5, 1e-3)),
        (Leg(Kind.LOADING, 5, -1e-3),),
        (Leg(Kind.LOADING, 5, 1e-3, shape=0.0),),
    ],
)
def test_impossible_cycles_are_refused(legs: tuple[Leg, ...]) -> None:
    with pytest.raises(SimulationError):
        Cycle(legs)
