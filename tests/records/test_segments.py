"""Segments found from the signal against those that invented records were built from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from drypoint.errors import RecordError
from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo
from drypoint.records.corners import noise_of
from drypoint.records.polygon import find
from drypoint.records.segments import KIND_NAMES, Kind, Segments, find_segments
from drypoint.simulation import (
    Creep,
    Cycle,
    Law,
    Noise,
    Record,
    Truth,
    batch_of,
    cyclic,
    simulate,
    single,
    stepped,
    to_depth,
)
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry

Floats = NDArray[np.float64]
A, L, H, U, D = Kind.APPROACH, Kind.LOADING, Kind.HOLD, Kind.UNLOADING, Kind.DRIFT_HOLD


def truth(noise: float, creep: float = 0.004) -> Truth:
    """An invented glass with drift, offsets and ``noise`` times the noise of a quiet instrument."""
    return Truth(
        tip=blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1"),
        E=Law.constant(72e9),
        H=Law.constant(9.2e9),
        nu=0.17,
        m=1.3,
        creep=Creep(creep),
        zero_offset=300e-9,
        force_offset=5e-6,
        drift_rate=0.02e-9,
        noise=Noise(force_white=noise * 0.3e-6, depth_white=noise * 0.15e-9),
    )


def undeclared(record: Record) -> Batch:
    b = batch_of([record])
    tests = tuple(replace(t, declared={}) for t in b.tests)
    return replace(b, tests=tests, segment=np.full_like(b.segment, UNDECLARED), segment_labels=())


def built(record: Record) -> list[tuple[int, int]]:
    """(kind, first sample) as the record was built."""
    cuts = np.flatnonzero(np.diff(record.segment)) + 1
    return [(int(record.segment[i]), int(i)) for i in [0, *cuts]]


def found(s: Segments) -> list[tuple[int, int]]:
    return [(int(k), a) for k, a, _, _ in s.of(0)]


CYCLES: dict[str, Cycle] = {
    "one loading": single(10e-3),
    "slow first contact": single(10e-3, shape=2.0),
    "no drift hold": single(10e-3, drift_hold=0.0),
    "no hold": single(10e-3, hold=0.0),
    "from contact": single(10e-3, gap=0.0),
    "from contact, nothing else": single(10e-3, gap=0.0, hold=0.0, drift_hold=0.0),
    "short hold": single(10e-3, hold=1.0),
    "low drift hold": single(10e-3, drift_level=0.02),
    "many samples": single(10e-3, rate=200.0),
    "few samples": single(10e-3, rate=2.0),
    "cyclic": cyclic(10e-3),
    "stepped": stepped(10e-3, steps=8, F_first=0.4e-3),
}
#: Boundaries that stand at a soft place: a parabola leaves zero force slowly.
SOFT = {"slow first contact": 25, "cyclic": 10, "stepped": 25}


@pytest.mark.parametrize("noise", [0.0, 1.0, 10.0])
@pytest.mark.parametrize("name", CYCLES)
def test_force_control(name: str, noise: float) -> None:
    """Each boundary within 3 samples of where the record was built to have it (1 % of a segment
    where there are many samples)."""
    record = simulate(truth(noise), CYCLES[name], 3)
    s = find_segments(undeclared(record))
    want, got = built(record), found(s)
    assert [k for k, _ in got] == [k for k, _ in want]
    assert s.control.tolist() == [0]
    few = max(3, len(record.force) // 2000)
    for i, ((kind, at), (_, true_at)) in enumerate(zip(got, want, strict=True)):
        soft = kind == L and i == 1
        assert abs(at - true_at) <= (SOFT.get(name, few) if soft else few), (i, kind)


def test_every_sample_belongs_to_one_segment() -> None:
    s = find_segments(undeclared(simulate(truth(1.0), CYCLES["stepped"], 3)))
    np.testing.assert_array_equal(s.start[1:], s.stop[:-1])
    assert s.start[0] == 0


def test_steps_count_as_cycles() -> None:
    s = find_segments(undeclared(simulate(truth(1.0), CYCLES["stepped"], 3)))
    assert s.cycle[s.kind == L].tolist() == list(range(1, 9))
    assert s.cycle[0] == 0
    assert s.cycle[s.kind == D].tolist() == [8]


def test_steps_that_start_far_below_the_largest_force() -> None:
    """Twenty steps, the first at a 400th of the last: all of them are seen."""
    record = simulate(truth(0.3), stepped(10e-3, steps=20), 3)
    s = find_segments(undeclared(record))
    assert [k for k, _ in found(s)] == [k for k, _ in built(record)]


@pytest.mark.parametrize("noise", [0.0, 1.0, 5.0])
@pytest.mark.parametrize("gap", [0.0, 150e-9])
def test_depth_control(noise: float, gap: float) -> None:
    """Depth control shows itself by a relaxing force."""
    record = simulate(truth(noise, creep=0.015), to_depth(300e-9, gap=gap), 3)
    s = find_segments(undeclared(record))
    assert s.control.tolist() == [1]
    assert [k for k, _ in found(s)] == [k for k, _ in built(record)]
    for (kind, at), (_, true_at) in zip(found(s), built(record), strict=True):
        # Thermal drift moves the depth in the hold: its ends are softer than the force's.
        assert abs(at - true_at) <= (30 if kind in (D, U) else 12), kind


def test_control_that_is_declared_or_asked_for_wins() -> None:
    b = undeclared(simulate(truth(0.0, creep=0.015), to_depth(300e-9), 3))
    assert find_segments(b, control="force").control.tolist() == [0]
    declared = replace(b, tests=(replace(b.tests[0], declared={"control": "force"}),))
    assert find_segments(declared).control.tolist() == [0]
    assert find_segments(declared, control="depth").control.tolist() == [1]


def exponential(noise: float, approach: int, rng: np.random.Generator) -> Batch:
    """Loading at a constant strain rate, F = F_0 exp(k t), on a cone-like solid; then a hold and
    an unloading."""
    t = np.arange(900) / 20
    F = 10e-3 * np.exp(0.15 * (t - t[-1]))
    down = 10e-3 * np.linspace(1, 0, 200)[1:]
    h_top = 300e-9
    force = np.concatenate([np.zeros(approach), F, np.full(200, F[-1]), down])
    back = 0.5 * h_top * (1 + (down / 10e-3) ** (1 / 1.4))
    depth = np.concatenate(
        [
            np.linspace(-100e-9, 0, approach) if approach else np.empty(0),
            h_top * np.sqrt(F / F[-1]),
            h_top * (1 + 1e-3 * np.log1p(np.arange(200) / 20)),
            back,
        ]
    )
    n = len(force)
    force = force + noise * 0.3e-6 * rng.standard_normal(n)
    depth = depth + noise * 0.15e-9 * rng.standard_normal(n)
    info = TestInfo("T01", "s", Source("T01", "0" * 64))
    none = np.full(n, UNDECLARED, dtype=np.int16)
    return Batch((info,), np.array([0, n]), np.arange(n) / 20, force, depth, none)


@pytest.mark.parametrize("noise", [0.0, 1.0])
def test_loading_at_a_constant_strain_rate(noise: float) -> None:
    b = exponential(noise, 300, np.random.default_rng(5))
    got = found(find_segments(b))
    assert [k for k, _ in got] == [A, L, H, U]
    assert 300 <= got[1][1] <= 420  # the first 6 s of such a loading add less than 30 µN
    assert abs(got[2][1] - 1200) <= 3
    assert abs(got[3][1] - 1399) <= 3


def test_a_steady_load_from_contact_is_no_approach() -> None:
    got = found(find_segments(exponential(0.0, 0, np.random.default_rng(5))))
    assert [k for k, _ in got] == [L, H, U]


def test_a_record_without_unloading_has_none() -> None:
    record = simulate(replace(truth(1.0), fault="missing unloading"), single(10e-3), 3)
    s = find_segments(undeclared(record))
    assert U not in set(s.kind.tolist())
    assert s.kind.tolist()[:2] == [A, L]


def test_labels_of_the_file_are_used_when_asked_for() -> None:
    record = simulate(truth(1.0), single(10e-3), 3)
    b = replace(batch_of([record]), segment_labels=("App", "Load", "Hold", "Back", "Drift"))
    words = {"App": "approach", "Load": "loading", "hold": "hold", "Back": "unloading"}
    s = find_segments(b, labels={**words, "Drift": "drift hold"})
    assert found(s) == built(record)
    with pytest.raises(RecordError, match="“Drift” is not known") as e:
        find_segments(b, labels=words)
    assert "drift hold" in e.value.remedy
    assert e.value.where.test == record.truth.name


def test_without_labels_what_the_file_declares_is_not_needed() -> None:
    record = simulate(truth(1.0), single(10e-3), 3)
    assert found(find_segments(batch_of([record]))) == found(find_segments(undeclared(record)))


def test_overrides_stand_for_what_was_found() -> None:
    b = undeclared(simulate(truth(1.0), single(10e-3), 3))
    name = b.tests[0].name
    mine = [("loading", 310, 890), ("unloading", 1105, 1300)]
    s = find_segments(b, overrides={name: mine})
    assert [(KIND_NAMES[k], a, e) for k, a, e, _ in s.of(0)] == mine
    assert s.cycle.tolist() == [1, 1]


@pytest.mark.parametrize(
    "entry", [("loading", 5, 5), ("loading", -1, 5), ("loading", 0, 10**6), ("rest", 0, 5)]
)
def test_an_impossible_override_is_refused(entry: tuple[str, int, int]) -> None:
    b = undeclared(simulate(truth(1.0), single(10e-3), 3))
    with pytest.raises(RecordError, match="not possible"):
        find_segments(b, overrides={b.tests[0].name: [entry]})


def test_tests_do_not_see_each_other() -> None:
    records = [simulate(truth(1.0), c, 3) for c in (CYCLES["cyclic"], CYCLES["one loading"])]
    both = find_segments(replace(batch_of(records), segment_labels=()))
    for i, r in enumerate(records):
        first = int(both.start[both.first[i]])
        alone = find_segments(undeclared(r))
        assert [(k, a - first, e - first, c) for k, a, e, c in both.of(i)] == alone.of(0)


@pytest.mark.parametrize("sigma", [1e-9, 1e-3])
def test_noise_of_a_bent_curve(sigma: float) -> None:
    """White noise of known size on a parabola: within 10 % (2000 samples; C)."""
    x = np.linspace(0, 1, 2000)
    y = sigma * np.random.default_rng(1).standard_normal(2000) + 1e-2 * x**2
    assert noise_of(y) == pytest.approx(sigma, rel=0.1)
    assert noise_of(x[:40] ** 2) < 1e-12  # few points on a parabola are no noise


def _noisy(rng: np.random.Generator, noise: str, partial: int = 0) -> tuple[Floats, Floats]:
    """A computed record of 0.1 mN with 0.3 µN of noise; a partial unloading of five times that."""
    rate, hold = 50.0, 10.0
    t = np.arange(0.0, 20.0 + hold, 1.0 / rate)
    a, b = int(10.0 * rate), int((10.0 + hold) * rate)
    f = np.full(len(t), 1e-4)
    f[:a] = 1e-4 * (t[:a] / 10.0) ** 2
    f[b:] = 1e-4 * np.clip(1.0 - (t[b:] - t[b]) / 10.0, 0.0, 1.0)
    if partial:
        at = int(rng.integers(a + 3 * partial, b - 3 * partial))
        fall = np.linspace(0.0, 1.5e-6, partial)
        f[at : at + 2 * partial] -= np.concatenate([fall, fall[::-1]])
    h = 80e-9 * np.sqrt(np.maximum(f, 0.0) / 1e-4)
    h[b:] = 80e-9 - 18e-9 * (1.0 - f[b:] / 1e-4) ** 0.7
    f = np.concatenate([np.zeros(150), f])
    h = np.concatenate([np.linspace(-60e-9, 0.0, 150), h]) + 0.2e-9 * rng.standard_normal(len(f))
    steps = rng.standard_normal(len(f) + 500)
    if noise == "autoregressive":
        for i in range(1, len(steps)):
            steps[i] = 0.8 * steps[i - 1] + 0.6 * steps[i]
    return f + 0.3e-6 * steps[500:], h


@pytest.mark.parametrize("noise", ["white", "autoregressive"])
def test_two_extremes_of_noise_are_no_unloading(noise: str) -> None:
    """Before, about one hold in ten was cut; coloured noise cut them all."""
    rng = np.random.default_rng(1)
    for _ in range(150):
        f, h = _noisy(rng, noise)
        kind = find(f, h, np.array([0, len(f)]), np.array([-1]), 0.004)[1]
        assert int(np.sum(kind == Kind.UNLOADING)) == 1


@pytest.mark.parametrize("noise", ["white", "autoregressive"])
def test_a_small_partial_unloading_is_kept(noise: str) -> None:
    """Five times the noise, over 20 samples each way: the depth bears it out. Before, none of them
    was found in coloured noise."""
    rng = np.random.default_rng(2)
    found = 0
    for _ in range(100):
        f, h = _noisy(rng, noise, partial=20)
        kind = find(f, h, np.array([0, len(f)]), np.array([-1]), 0.004)[1]
        found += int(np.sum(kind == Kind.UNLOADING)) == 2
    assert found >= 95


def test_a_fine_staircase_keeps_its_steps() -> None:
    """Forty steps of 2.5 % each in a quiet record: none is taken for noise."""
    rng = np.random.default_rng(3)
    up = np.concatenate([np.concatenate([np.linspace(k, k + 1, 20), np.full(30, k + 1.0)])
                         for k in range(40)])  # fmt: skip
    f = 1e-4 * np.concatenate([np.zeros(200), up, np.linspace(40, 0, 800)]) / 40
    h = 8e-6 * np.sqrt(np.maximum.accumulate(f))
    h[-800:] = h[-800] - 18e-9 * (1.0 - (f[-800:] / 1e-4) ** (2 / 3))
    f = f + 1e-9 * rng.standard_normal(len(f))
    h = h + 0.05e-9 * rng.standard_normal(len(h))
    kind = find(f, h, np.array([0, len(f)]), np.array([0]), 0.004)[1]
    assert int(np.sum(kind == Kind.LOADING)) == 40
    assert int(np.sum(kind == Kind.UNLOADING)) == 1
