"""Levelling, lateral force and friction: invariances, truth of simulated tracks, bad input."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from drypoint.scratch import (
    FrictionOptions,
    Inputs,
    Known,
    LevelOptions,
    Pass,
    ScratchError,
    Track,
    candidates,
    find_crosstalk,
    friction,
    level,
    wear,
)
from drypoint.scratch.ploughing import front_section
from drypoint.simulation.tracks import TrackRecord, TrackTruth, simulate_track
from drypoint.tips.build import ideal_tip

TRUTH = TrackTruth(samples=4000)
STYLUS = ideal_tip("sphero-cone", angle=float(np.radians(60)), radius=50e-6)


@pytest.fixture(scope="module")
def record() -> TrackRecord:
    return simulate_track(TRUTH, 3)


def changed(track: Track, change: Callable[[Pass], Pass]) -> Track:
    return replace(track, passes=tuple(change(p) for p in track.passes))


# ---- invariances -------------------------------------------------------------------------------


@settings(max_examples=15)
@given(st.floats(-0.02, 0.02), st.floats(-1e-4, 1e-4))
def test_tilt_and_offset_change_nothing(record: TrackRecord, tilt: float, offset: float) -> None:
    plain = level(record.track)
    moved = level(changed(record.track, lambda p: replace(p, h=p.h + offset + tilt * p.x)))
    for name in ("h_load", "h_residual", "topography"):
        a, b = getattr(plain, name), getattr(moved, name)
        assert np.nanmax(np.abs(a - b)) < 1e-10, name
    assert plain.line is not None and moved.line is not None
    assert moved.line.slope.value - plain.line.slope.value == pytest.approx(tilt, abs=1e-9)
    assert np.allclose(plain.F_l, moved.F_l)


@settings(max_examples=15)
@given(st.floats(-1e-3, 1e-3), st.booleans())
def test_origin_and_direction_change_nothing(
    record: TrackRecord, start: float, turned: bool
) -> None:
    sign = -1.0 if turned else 1.0
    plain = level(record.track)
    moved = level(changed(record.track, lambda p: replace(p, x=start + sign * p.x)))
    assert np.allclose(plain.x, moved.x, atol=1e-15)
    # A sample on the edge of a bin may change sides by rounding: far below the noise of 5 nm.
    assert np.nanmax(np.abs(plain.h_load - moved.h_load)) < 3e-9
    assert np.nanmedian(np.abs(plain.h_load - moved.h_load)) < 1e-10


@settings(max_examples=10)
@given(st.floats(-1e-2, 1e-2))
def test_lateral_offset_changes_nothing(record: TrackRecord, offset: float) -> None:
    moved = level(changed(record.track, lambda p: replace(p, F_l=p.F_l + offset)))
    assert np.nanmax(np.abs(level(record.track).F_l - moved.F_l)) < 1e-12


def test_each_pass_may_have_its_own_zero_when_there_is_a_lead(record: TrackRecord) -> None:
    plain = level(record.track)
    moved = level(
        changed(record.track, lambda p: replace(p, h=p.h + (1e-6 if p.kind == "scratch" else 0)))
    )
    assert plain.lead > 0
    assert np.nanmax(np.abs(plain.h_load - moved.h_load)) < 1e-12
    shared = LevelOptions(zero="shared")
    a, b = level(record.track, options=shared), level(moved_by(record.track), options=shared)
    assert np.nanmedian(b.h_load - a.h_load) == pytest.approx(1e-6, rel=1e-6)


def moved_by(track: Track) -> Track:
    return changed(track, lambda p: replace(p, h=p.h + (1e-6 if p.kind == "scratch" else 0)))


# ---- truth -------------------------------------------------------------------------------------


def test_depths_of_a_simulated_track_within_their_uncertainty() -> None:
    quiet = replace(TRUTH, disturbance=replace(TRUTH.disturbance, wander=0.0))
    z_load, z_left, tilts = [], [], []
    for seed in range(12):
        L = level(simulate_track(quiet, seed).track)
        share = (L.x / TRUTH.length - TRUTH.lead) / (1 - TRUTH.lead)
        deep = TRUTH.depth * (
            (TRUTH.first + (TRUTH.last - TRUTH.first) * np.clip(share, 0, 1)) / TRUTH.last
        ) ** 0.7  # fmt: skip
        deep = deep - deep[0]  # the scan before presses as much
        at = slice(1000, 4000, 500)
        z_load.append(((L.h_load - deep) / L.u_h_load)[at])
        left = deep * (1 - TRUTH.recovery)
        z_left.append(((L.h_residual - left) / L.u_h_residual)[at])
        assert L.line is not None
        tilts.append((L.line.slope.value - TRUTH.tilt) / L.line.slope.u)
        assert np.nanmedian(L.recovery[2000:]) == pytest.approx(TRUTH.recovery, abs=0.02)
    assert np.mean(np.abs(z_load) < 2) > 0.85
    assert np.mean(np.abs(z_left) < 2) > 0.8
    assert np.max(np.abs(tilts)) < 6  # waves of the surface are no noise about the line


def test_friction_of_a_simulated_track() -> None:
    truth = replace(TRUTH, ploughing=0.0, disturbance=replace(TRUTH.disturbance, wander=0.0))
    z = []
    for seed in range(8):
        L = level(simulate_track(truth, seed).track, Inputs(lateral_zero=Known(truth.lateral_zero)))
        f = friction(L)
        assert f.slope is not None
        z.append((f.slope.mu.value - truth.friction) / f.slope.mu.u)
        assert f.mu[30:] == pytest.approx(np.full(70, truth.friction), abs=0.02)
    assert np.abs(z).max() < 3.5


def test_friction_splits_by_the_tip() -> None:
    # A cone without adhesion: the apparent coefficient is Bowden and Tabor's, (2/pi) cot(60 deg).
    n, mu = 3000, 2 / np.pi / np.tan(np.radians(60))
    x, F = np.linspace(0, 3e-4, n), np.linspace(1e-3, 0.3, n)
    h = 2e-6 * np.sqrt(F / 0.3)
    cone = ideal_tip("cone", angle=float(np.radians(60)))
    track = Track("c", (Pass("before", x, np.full(n, 1e-3), h=0 * x),
                        Pass("scratch", x, F, mu * F, h)), cone)  # fmt: skip
    f = friction(level(track, Inputs(lateral_zero=Known(0.0))))
    assert f.plough[5:] == pytest.approx(np.full(95, mu), rel=1e-6)
    assert f.rest[5:] == pytest.approx(np.zeros(95), abs=1e-6)
    assert f.slope is not None and f.slope.mu.value == pytest.approx(mu, rel=1e-6)
    assert len(f.assumptions) == 3
    low = friction(level(track), FrictionOptions(contact="residual"))
    assert "no depth" in low.remarks[0]


def test_cross_talk_found_and_taken_off() -> None:
    rng = np.random.default_rng(0)
    F = np.linspace(0, 0.5, 4000)
    found = find_crosstalk(F, 2e-3 + 0.03 * F + 2e-4 * rng.standard_normal(4000))
    assert found.crosstalk.value == pytest.approx(0.03, abs=4 * found.crosstalk.u)
    assert found.zero.value == pytest.approx(2e-3, abs=4 * found.zero.u)
    assert 0 < found.crosstalk.u < 1e-3
    record = simulate_track(TRUTH, 1)
    talking = changed(record.track, lambda p: replace(p, F_l=p.F_l + 0.03 * p.F_n))
    plain = level(record.track, Inputs(lateral_zero=Known(1e-3)))
    cured = level(talking, Inputs(lateral_zero=Known(1e-3), crosstalk=found.crosstalk))
    assert np.nanmax(np.abs(plain.F_l - cured.F_l)) < 4 * found.crosstalk.u * TRUTH.last
    assert np.all(cured.us_F_l >= plain.us_F_l)


def test_opposed_scans_tell_the_lateral_zero() -> None:
    record = simulate_track(TRUTH, 2)
    zero, light = 5e-3, 0.02

    def scan(p: Pass) -> Pass:
        if p.kind == "scratch":
            return replace(p, F_l=p.F_l + zero - TRUTH.lateral_zero)
        sign = 1.0 if p.kind == "before" else -1.0
        x = p.x if sign > 0 else p.x[::-1]
        h = p.h if sign > 0 else p.h[::-1]
        return Pass(p.kind, x, np.full(len(x), light), zero + sign * 0.3 * light + 0 * x, h)

    L = level(changed(record.track, scan))
    assert L.lateral_from == "opposed scans"
    assert L.lateral_zero.value == pytest.approx(zero, rel=1e-9)
    assert {p.code for p in L.problems} == {"direction"}


def test_zero_off_the_surface_and_not_from_a_noisy_ramp() -> None:
    rng = np.random.default_rng(8)
    n, zero, noise = 4000, 7e-3, 5e-3
    x = np.linspace(0, 4e-4, n)
    ramp = 0.5 * np.linspace(0, 1, n)
    F = ramp + noise * rng.standard_normal(n)
    L = level(Track("ramp", (Pass("scratch", x, F, zero + 0.3 * ramp),)))
    assert L.lateral_from == "assumed" and L.lateral_zero.u > 0
    held = np.concatenate([np.zeros(400), 0.5 * np.linspace(0.05, 1, n - 400)])
    F = held + noise * rng.standard_normal(n)
    side = zero + 0.3 * held + 1e-4 * rng.standard_normal(n)
    L = level(Track("held", (Pass("scratch", x, F, side),)))
    assert L.lateral_from == "off the surface"
    assert L.lateral_zero.value == pytest.approx(zero, abs=3 * L.lateral_zero.u)


def test_wear_of_repeats_at_constant_load() -> None:
    n, length, load, per_pass = 1200, 2e-4, 0.1, 30e-9
    x = np.linspace(0, length, n)
    flat = Pass("before", x, np.full(n, 1e-3), h=0 * x)
    passes = [flat]
    for k in range(1, 7):
        passes.append(Pass("scratch", x, np.full(n, load), 0.1 * np.full(n, load),
                           np.full(n, k * per_pass + 0.4e-6)))  # fmt: skip
    passes.append(Pass("after", x, np.full(n, 1e-3), h=np.full(n, 6 * per_pass)))
    found = wear(Track("w", tuple(passes), STYLUS))
    assert found.depth == pytest.approx(per_pass * np.arange(1, 7), rel=1e-9)
    assert found.volume == pytest.approx(front_section(STYLUS, found.depth) * length, rel=1e-9)
    # Cap of a sphere, A = 4/3 sqrt(2R) h^(3/2) for h << R, by hand.
    assert found.volume[0] == pytest.approx(
        4 / 3 * np.sqrt(1e-4) * per_pass**1.5 * length, rel=1e-3
    )
    assert found.work[-1] == pytest.approx(6 * load * length)
    assert found.rate is not None
    rise = (found.volume[-1] - found.volume[1]) / (found.work[-1] - found.work[1])
    assert found.rate.value == pytest.approx(rise, rel=0.05)
    with pytest.raises(ScratchError, match="load varies"):
        wear(replace(simulate_track(TRUTH).track, tip=STYLUS))


# ---- what is wrong, and what is left -----------------------------------------------------------


def codes(track: Track, inputs: Inputs | None = None) -> set[str]:
    return {p.code for p in level(track, inputs).problems}


def test_missing_passes(record: TrackRecord) -> None:
    before, scratch, after = record.track.passes
    assert codes(record.track) == set()
    alone = replace(record.track, passes=(scratch,))
    assert codes(alone) == {"no before", "no after", "tilt", "lateral zero"}
    L = level(alone)
    assert np.isfinite(L.h_load).all() and np.isnan(L.h_residual).all()
    assert L.us_h_load[-1] > level(record.track).us_h_load[-1]
    assert friction(L).slope is not None
    assert codes(replace(record.track, passes=(before, scratch))) == {"no after"}
    assert "no before" in codes(replace(record.track, passes=(scratch, after)))
    with pytest.raises(ScratchError, match="no scratch pass"):
        level(replace(record.track, passes=(before, after)))


def test_a_missing_channel_leaves_the_rest(record: TrackRecord) -> None:
    L = level(changed(record.track, lambda p: replace(p, h=None)))
    assert {p.code for p in L.problems} >= {"no depth"}
    assert np.isnan(L.h_load).all() and friction(L).slope is not None
    L = level(changed(record.track, lambda p: replace(p, F_l=None)))
    assert {p.code for p in L.problems} == {"no lateral force"}
    assert np.isfinite(L.h_load).all() and np.isnan(friction(L).mu).all()
    candidates(L)


def test_passes_that_do_not_fit(record: TrackRecord) -> None:
    before, scratch, after = record.track.passes

    def cut(p: Pass, part: slice) -> Pass:
        return Pass(p.kind, p.x[part], p.F_n[part], p.F_l[part], p.h[part])  # type: ignore[index]

    short = replace(record.track, passes=(before, scratch, cut(after, slice(0, 2500))))
    L = level(short)
    assert [p.code for p in L.problems] == ["length"] and "µm" in L.problems[0].sentence
    assert np.isfinite(L.h_residual[:2000]).all() and np.isnan(L.h_residual[3000:]).all()
    back = replace(record.track, passes=(cut(before, slice(None, None, -1)), scratch, after))
    turned = level(back)
    assert [p.code for p in turned.problems] == ["direction"]
    assert np.allclose(turned.h_load, level(record.track).h_load, atol=1e-9)
    away = replace(before, x=before.x + 1.0)
    assert "off track" in codes(replace(record.track, passes=(away, scratch, after)))


def test_saturated_lateral_force(record: TrackRecord) -> None:
    limit = 0.06
    track = changed(record.track, lambda p: replace(p, F_l=np.minimum(p.F_l, limit)))
    for inputs in (Inputs(), Inputs(lateral_limit=limit)):
        L = level(track, inputs)
        problem = next(p for p in L.problems if p.code == "saturated")
        assert problem.start > 0.3 * TRUTH.length and "limit" in problem.sentence
        f = friction(L)
        assert np.isnan(f.mu[-5:]).all() and np.isfinite(f.mu[20:40]).all()
    assert "saturated" not in codes(record.track, Inputs(lateral_limit=1.0))


def test_lifted_tip(record: TrackRecord) -> None:
    def lift(p: Pass) -> Pass:
        if p.kind != "scratch":
            return p
        off = (p.x > 0.6 * TRUTH.length) & (p.x < 0.65 * TRUTH.length)
        return replace(p, F_n=np.where(off, 1e-4, p.F_n), F_l=np.where(off, 1e-3, p.F_l))

    L = level(changed(record.track, lift))
    problem = next(p for p in L.problems if p.code == "lifted")
    assert problem.start == pytest.approx(0.6 * TRUTH.length, rel=0.01)
    assert problem.stop == pytest.approx(0.65 * TRUTH.length, rel=0.01)
    assert L.lifted.mean() == pytest.approx(0.05, abs=0.005)
    f = friction(L)
    assert f.slope is not None and f.slope.mu.value == pytest.approx(0.2, abs=0.03)


def test_samples_that_are_no_numbers(record: TrackRecord) -> None:
    def spoil(p: Pass) -> Pass:
        F = p.F_n.copy()
        F[100:140] = np.nan
        return replace(p, F_n=F)

    L = level(changed(record.track, spoil))
    assert {p.code for p in L.problems} == {"not a number"} and friction(L).slope is not None


def test_refusals() -> None:
    x = np.linspace(0, 1e-4, 50)
    with pytest.raises(ScratchError, match="no kind of pass"):
        Pass("during", x, x)  # type: ignore[arg-type]
    with pytest.raises(ScratchError, match="shape"):
        Pass("scratch", x, x[:-1])
    with pytest.raises(ScratchError, match="16 samples"):
        Pass("scratch", x[:3], x[:3])
    with pytest.raises(ScratchError, match="do not move"):
        level(Track("t", (Pass("scratch", 0 * x, x),)))
    with pytest.raises(ScratchError, match="no statement"):
        Known(1.0, -1.0)
    with pytest.raises(ScratchError, match="normal force varies"):
        find_crosstalk(np.ones(50), np.ones(50))
