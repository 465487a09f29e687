"""Candidates: contrasts against algebra, places against ruptures, rates on invented tracks."""

from __future__ import annotations

import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from drypoint.scratch import CandidateOptions, Inputs, Known, Levelled, candidates, level
from drypoint.scratch.confidence import confidence
from drypoint.scratch.contrasts import SCALES, all_contrasts, ndtri_upper, rate_gains, shapes
from drypoint.scratch.locate import interval
from drypoint.scratch.search import search
from drypoint.scratch.series import Bursts, Evidence, Series, jump_counts, without_strays
from drypoint.simulation.tracks import AE, EVENTS, TrackEvent, TrackTruth, simulate_track

RNG = np.random.default_rng(0)


# ---- contrasts ---------------------------------------------------------------------------------


@pytest.mark.parametrize("w", SCALES)
def test_shapes_are_orthonormal_and_blind_to_what_is_smooth(w: int) -> None:
    step, kink = shapes(int(w))
    u = (np.arange(2 * w) + 0.5) / w - 1
    for smooth in (np.ones_like(u), u, u**2):
        assert step @ smooth == pytest.approx(0, abs=1e-10)
        assert kink @ smooth == pytest.approx(0, abs=1e-10)
    assert (step @ step, kink @ kink, step @ kink) == pytest.approx((1, 1, 0), abs=1e-10)


@given(st.floats(-5, 5), st.floats(-3, 3), st.floats(-2, 2))
def test_contrasts_do_not_see_a_parabola(a: float, b: float, c: float) -> None:
    t = np.linspace(-1, 1, 200)
    y = RNG.standard_normal(200)
    assert np.allclose(
        all_contrasts(y, SCALES), all_contrasts(y + a + b * t + c * t**2, SCALES), atol=1e-9
    )


def test_squared_contrasts_are_the_gain_of_least_squares() -> None:
    y, w, c = RNG.standard_normal(60), 12, 30
    T = all_contrasts(y, np.array([w]))[0, :, c]
    u = (np.arange(2 * w) + 0.5) / w - 1
    plain = np.stack([np.ones_like(u), u, u**2], axis=1)
    more = np.column_stack([plain, np.sign(u), np.abs(u)])

    def rest(A: np.ndarray) -> float:
        part = y[c - w : c + w]
        return float(np.sum((part - A @ np.linalg.lstsq(A, part, rcond=None)[0]) ** 2))

    assert float(T @ T) == pytest.approx(rest(plain) - rest(more), rel=1e-9)


def test_normal_deviates_of_the_tail() -> None:
    p = np.array([0.25, 0.1, 0.05, 0.01])
    assert [ndtri_upper(float(v)) for v in p] == pytest.approx(stats.norm.isf(p), abs=5e-4)


def test_gain_of_two_rates_is_the_likelihood_ratio() -> None:
    counts = RNG.poisson(np.where(np.arange(100) < 60, 0.1, 1.0)).astype(float)
    c, whole = 60, counts.mean()
    left, right = counts[:c].mean(), counts[c:].mean()
    logpmf = stats.poisson.logpmf
    expected = logpmf(counts[:c], left).sum() + logpmf(counts[c:], right).sum()
    expected -= logpmf(counts, whole).sum()
    assert rate_gains(counts[None, :], np.array([1000]), 0, 100)[c] == pytest.approx(expected)


def test_strays_go_and_steps_stay() -> None:
    y = 0.01 * RNG.standard_normal(100) + np.where(np.arange(100) >= 50, 1.0, 0.0)
    stray = y.copy()
    stray[[20, 70, 71]] += 3.0
    cured = without_strays(stray)
    assert np.abs(cured - y).max() < 0.1 and cured[50] - cured[49] > 0.8
    jumps = jump_counts(y)
    assert jumps[-1].sum() == 1 and np.flatnonzero(jumps[-1])[0] in (49, 50)


# ---- places against a reference implementation -------------------------------------------------


if sys.version_info < (3, 14):  # ruptures has no wheel for a later Python

    @pytest.mark.parametrize("seed", range(6))
    def test_places_against_ruptures(seed: int) -> None:
        # Two channels with two changes in common; ruptures' exact search for two changes of the
        # mean (linear kernel; Truong, Oudre and Vayatis 2020), which is told their number.
        rng = np.random.default_rng(seed)
        at = np.sort(rng.choice(np.arange(80, 320), 2, replace=False))
        while at[1] - at[0] < 60:
            at = np.sort(rng.choice(np.arange(80, 320), 2, replace=False))
        i = np.arange(400)
        y = rng.standard_normal((2, 400)) + 4 * (i >= at[0]) - 5 * (i >= at[1])
        import ruptures

        theirs = ruptures.KernelCPD(kernel="linear", min_size=10).fit(y.T).predict(n_bkps=2)[:-1]
        ours = search(
            Evidence((Series("a", "level", y[0]), Series("b", "level", y[1])), ()), 0, 9.0
        )
        assert len(ours) == 2
        assert [s.at for s in ours] == pytest.approx(theirs, abs=3)
        assert [s.at for s in ours] == pytest.approx(at, abs=3)


def test_nothing_in_noise_and_bursts_alone() -> None:
    noise = RNG.standard_normal(400)
    assert search(Evidence((Series("a", "level", noise),), ()), 0, 9.0) == ()
    counts = RNG.poisson(np.where(np.arange(400) < 220, 0.01, 0.4)).astype(float)[None, :]
    found = search(Evidence((Series("a", "level", noise),), (Bursts("b", "bursts", counts),)), 0, 9)
    assert len(found) == 1 and abs(found[0].at - 220) <= 8


def test_interval_of_a_known_likelihood() -> None:
    places = np.arange(-40.0, 41.0)
    middle, low, high = interval(places, -0.5 * (places / 8) ** 2, 0.95)
    assert middle == pytest.approx(0.25, abs=0.01)
    assert (low, high) == pytest.approx((0.25 - 1.96 * 8.05, 0.25 + 1.96 * 8.05), abs=0.1)


def test_confidence_rises_with_evidence_and_falls_behind_a_failure() -> None:
    gains = np.linspace(9, 200, 50)
    assert np.all(np.diff([confidence(g, 2, 0) for g in gains]) > 0)
    assert confidence(20, 2, 0) > confidence(20, 2, 1) > confidence(20, 2, 3)
    assert confidence(20, 2, 3) == confidence(20, 2, 7)


# ---- invented tracks ---------------------------------------------------------------------------


def one(kind: str, seed: int, ratio: float = 20.0) -> tuple[Levelled, float]:
    truth = TrackTruth(events=(TrackEvent(kind, 0.3, ratio),))
    record = simulate_track(truth, seed)
    return level(record.track), record.loads[0]


@pytest.mark.parametrize("kind", EVENTS)
def test_every_kind_of_event_is_found(kind: str) -> None:
    speaks = {"acoustic": AE, "friction": "lateral force"}
    for seed in (1, 2):
        levelled, load = one(kind, seed)
        found = max(candidates(levelled), key=lambda c: c.score)
        assert found.load == pytest.approx(load, abs=0.03 * 0.5)
        assert found.low <= found.load <= found.high
        assert found.confidence > 0.8
        assert found.channels[0] == found.voices[0].channel
        assert speaks.get(kind, found.channels[0]) == found.channels[0]


def test_quiet_tracks_and_coverage() -> None:
    # The long run with its floors is benchmarks/bench_scratch.py; here what would be a fault.
    alarms = sum(len(candidates(level(simulate_track(TrackTruth(), s).track))) for s in range(12))
    assert alarms <= 3
    covered = 0
    for seed in range(10, 22):
        levelled, load = one("worn through", seed, 15.0)
        best = max(candidates(levelled), key=lambda c: c.score)
        covered += best.low <= load <= best.high
    assert covered >= 9


def test_same_input_same_output_and_words_name_no_failure() -> None:
    levelled, _ = one("chips", 4)
    first, second = candidates(levelled), candidates(levelled)
    assert first == second
    words = {v.respect for c in first for v in c.voices} | {ch for c in first for ch in c.channels}
    assert words <= {"level", "spread", "bursts", "jumps", "lateral force", "depth under load",
                     "residual depth", AE}  # fmt: skip


def test_units_of_a_channel_do_not_matter() -> None:
    record = simulate_track(TrackTruth(events=(TrackEvent("cracks", 0.3, 20.0),)), 6)

    def louder(factor: float) -> Levelled:
        passes = tuple(
            replace(p, extra={k: factor * v for k, v in p.extra.items()})
            for p in record.track.passes
        )
        return level(replace(record.track, passes=passes))

    a, b = candidates(louder(1.0)), candidates(louder(1000.0))
    assert [c.load for c in a] == pytest.approx([c.load for c in b], rel=1e-9)
    assert [c.score for c in a] == pytest.approx([c.score for c in b], rel=1e-6)


def test_scale_of_the_load_shows_in_what_is_shared() -> None:
    record = simulate_track(TrackTruth(events=(TrackEvent("friction", 0.3, 20.0),)), 7)
    found = candidates(level(record.track, Inputs(normal_scale=Known(1.0, 0.01))))[0]
    assert found.us_load == pytest.approx(0.01 * found.load, rel=1e-6)


def test_where_the_load_steps_is_no_candidate() -> None:
    n = 8000
    x = np.linspace(0, 4e-4, n)
    F = np.where(x < 2e-4, 0.1, 0.2)
    rng = np.random.default_rng(3)
    record = simulate_track(TrackTruth(), 0)
    scratch = record.track.scratch
    assert scratch is not None
    noisy = 0.2 * F + 1e-3 * rng.standard_normal(n)
    stepped = replace(
        record.track,
        passes=(type(scratch)("scratch", x, F + 1e-5 * rng.standard_normal(n), noisy),),
    )
    levelled = level(stepped)
    assert candidates(levelled) == ()
    assert len(candidates(levelled, CandidateOptions(load_step=np.inf))) >= 1


def test_few_channels_and_short_tracks_are_no_trouble() -> None:
    record = simulate_track(TrackTruth(samples=600), 1)
    assert isinstance(candidates(level(record.track)), tuple)
    bare = tuple(replace(p, h=None, F_l=None, extra={}) for p in record.track.passes)
    assert candidates(level(replace(record.track, passes=bare))) == ()
