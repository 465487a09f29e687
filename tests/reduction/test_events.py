"""Pop-in, pop-out and lost contact: found where they were planted, and nowhere else."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from reduction_cases import DEFAULT, QUIET, Batch, bare, batch, glass, reduced, with_

from drypoint.reduction.events import Events
from drypoint.reduction.reduce import Overrides
from drypoint.simulation import (
    Creep,
    Cycle,
    Law,
    Noise,
    batch_of,
    cyclic,
    plant,
    simulate,
    simulate_batch,
    single,
    stepped,
    to_depth,
)

COLOURED = Noise(0.1e-6, 0.3e-6, 0.05e-9, 0.2e-9, memory=0.3)
CYCLES: dict[str, Cycle] = {
    "square": single(10e-3, shape=2.0),
    "ramp": single(10e-3),
    "coarse": single(10e-3, rate=2.0),
    "fine": single(10e-3, load=10.0, hold=2.0, unload=5.0, drift_hold=10.0, rate=500.0),
    "steep": single(10e-3, shape=4.0, rate=50.0),
    "stepped": stepped(10e-3, F_first=0.5e-3),
    "cyclic": cyclic(10e-3, down_to=0.0),
    "to depth": to_depth(300e-9),
}


def events(b: Batch) -> Events:
    return reduced(bare(b)).events


@pytest.mark.parametrize("noise", [QUIET, COLOURED], ids=["white", "coloured"])
@pytest.mark.parametrize("cycle", CYCLES)
def test_nothing_happens_in_a_clean_record(cycle: str, noise: Noise) -> None:
    """Corners of the cycle, holds, drift, creep, soft and hard: no event."""
    more = {"noise": noise, "zero_offset": 300e-9, "drift_walk": 0.004e-9}
    truths = [
        glass(name="a", drift_rate=0.04e-9, **more),
        glass(name="b", drift_rate=-0.04e-9, H=Law.constant(0.8e9), creep=Creep(0.02), **more),
        glass(name="c", E=Law.constant(210e9), H=Law.constant(3e9), m=1.35, **more),
    ]
    e = events(simulate_batch(truths, CYCLES[cycle], 3))
    for found in (e.pop_in.count, e.pop_out.count, e.step_back.count, e.lost):
        assert found.tolist() == [0, 0, 0]


@pytest.mark.parametrize("seconds", [0.0, 0.1])
@pytest.mark.parametrize("cycle", ["square", "ramp", "coarse", "fine", "stepped"])
def test_a_planted_pop_in_is_found_with_its_size(cycle: str, seconds: float) -> None:
    """Force, depth and size against what was planted; one event, whatever it lasts."""
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES[cycle], 4)
    size, share = 15e-9, 0.45
    e = events(batch_of([plant.pop_in(record, share, size, seconds)])).pop_in
    step = float(np.max(np.abs(np.diff(record.true_force[record.true_force > 0.3e-3]))))
    slow = seconds / 30 * 10e-3
    assert e.count.tolist() == [1]
    assert e.force[0] == pytest.approx(share * 10e-3, abs=2 * step + slow + 2e-6)
    assert e.size[0] == pytest.approx(size, abs=1.5e-9)
    assert np.isnan(e.drop[0])
    rising = record.true_force[: int(np.argmax(record.true_force))]
    at = int(np.argmin(np.abs(rising - e.force[0])))
    zero = 15e-9 if cycle == "coarse" else 3e-9  # two samples a second tell the zero badly
    assert e.depth[0] == pytest.approx(record.true_depth[at], abs=zero)


@pytest.mark.parametrize("seconds", [0.0, 0.1])
@pytest.mark.parametrize("cycle", ["square", "ramp", "coarse", "fine", "stepped"])
def test_a_step_back_under_rising_force_is_found(cycle: str, seconds: float) -> None:
    """Before, only a step upwards was seen: a slip of the specimen passed without a word."""
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES[cycle], 4)
    size, share = 15e-9, 0.45
    e = events(batch_of([plant.pop_in(record, share, -size, seconds)]))
    assert e.step_back.count.tolist() == [1]
    assert e.pop_in.count.tolist() == [0]
    assert e.step_back.size[0] == pytest.approx(size, abs=4e-9)


@pytest.mark.parametrize("size", [5e-9, 20e-9])
def test_a_pop_in_is_no_step_back(size: float) -> None:
    record = simulate(glass(noise=COLOURED, zero_offset=300e-9), CYCLES["square"], 4)
    assert events(batch_of([plant.pop_in(record, 0.4, size)])).step_back.count.tolist() == [0]


def test_the_pop_in_of_the_truth_is_the_end_of_the_elastic_contact() -> None:
    """The invented pop-in: elastic (Hertz) up to a stated force, then a jump onto the plastic
    curve. The force is found to a sample, the depth is that of the elastic contact."""
    truth = glass(
        E=Law.constant(210e9), H=Law.constant(3e9), m=1.35, nu=0.29, noise=QUIET,
        zero_offset=300e-9, pop_in_force=0.12e-3,
    )  # fmt: skip
    cycle = single(5e-3, load=25.0, shape=2.0)
    record = simulate(truth, cycle, 5)
    e = events(batch_of([record])).pop_in
    assert e.count.tolist() == [1]
    assert e.force[0] == pytest.approx(0.12e-3, abs=6e-6)
    jump = np.diff(record.true_depth)[: int(np.argmax(record.true_force))].max()
    assert e.size[0] == pytest.approx(jump, abs=1.5e-9)


def test_several_pop_ins_are_counted() -> None:
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES["square"], 6)
    for share in (0.2, 0.35, 0.6, 0.8):
        record = plant.pop_in(record, share, 6e-9)
    e = events(batch_of([record]))
    assert e.pop_in.count.tolist() == [4]
    assert e.pop_in.force[0] == pytest.approx(2e-3, rel=0.02)
    assert e.pop_out.count.tolist() == [0]


@pytest.mark.parametrize(("cycle", "size"), [("square", 10e-9), ("coarse", 40e-9), ("fine", 5e-9)])
def test_a_pop_out_is_no_pop_in(cycle: str, size: float) -> None:
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES[cycle], 7)
    e = events(batch_of([plant.pop_out(record, 0.3, size)]))
    assert e.pop_in.count.tolist() == [0]
    assert e.pop_out.count.tolist() == [1]
    assert e.pop_out.size[0] == pytest.approx(size, abs=1.5e-9)


def test_under_depth_control_the_force_drops() -> None:
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES["to depth"], 8)
    e = events(batch_of([plant.force_drop(record, 0.4, 0.5e-3, 20e-9)])).pop_in
    assert e.count.tolist() == [1]
    assert e.drop[0] == pytest.approx(0.5e-3, rel=0.15)
    assert np.isnan(e.size[0])


def test_a_step_of_the_controlled_force_is_no_pop_in() -> None:
    """The instrument itself raised the force at once: the depth follows, and nothing popped in."""
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES["ramp"], 9)
    stairs = np.flatnonzero(record.segment == 1)[40:500]
    force, depth = record.force.copy(), record.depth.copy()
    held = stairs[(np.arange(len(stairs)) // 20) * 20]
    force[stairs] += record.true_force[held] - record.true_force[stairs]
    depth[stairs] += record.true_depth[held] - record.true_depth[stairs]
    e = events(batch_of([replace(record, force=force, depth=depth)]))
    assert e.pop_in.count.tolist() == [0]


@pytest.mark.parametrize("times", [2, 5])
def test_repeated_readings_are_no_pop_ins(times: int) -> None:
    """A recorder that writes faster than its sensor reads."""
    b = simulate_batch([glass(noise=QUIET, zero_offset=300e-9)], CYCLES["ramp"], 9)
    held = (np.arange(len(b.depth)) // times) * times
    e = events(replace(b, force=b.force[held], depth=b.depth[held]))
    assert e.pop_in.count.tolist() == e.pop_out.count.tolist() == [0]


@pytest.mark.parametrize("digits", [1e-9, 0.1e-9])
def test_the_last_digit_is_no_pop_in(digits: float) -> None:
    """A record written in steps of a nanometre, sampled so finely that most steps are zero."""
    b = simulate_batch([glass(zero_offset=300e-9)], CYCLES["fine"], 10)
    e = events(replace(b, depth=np.round(b.depth / digits) * digits))
    assert e.pop_in.count.tolist() == e.pop_out.count.tolist() == [0]


def test_limits_of_the_recipe_are_used() -> None:
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES["square"], 11)
    b = bare(batch_of([plant.pop_in(record, 0.5, 5e-9)]))
    for limits in ({"pop_in_sigma": 1e4}, {"pop_in_ratio": 1e4}):
        assert reduced(b, options=with_(DEFAULT, flags=limits)).events.pop_in.count.tolist() == [0]


@pytest.mark.parametrize("force", [6e-6, 0.2e-3])
def test_a_first_touch_is_a_lost_contact(force: float) -> None:
    """A touch 60 nm above the surface, too small or large enough to be a segment of its own."""
    record = simulate(glass(noise=QUIET, zero_offset=300e-9), CYCLES["square"], 12)
    e = events(batch_of([plant.first_touch(record, 60e-9, force, 1.0)]))
    assert e.lost.tolist() == [1]
    assert e.lost_force[0] == pytest.approx(force, abs=2e-6)


CYCLIC: dict[str, Callable[[], Cycle]] = {
    "cyclic to zero": lambda: cyclic(10e-3, down_to=0.0),
    "stepped to zero": lambda: stepped(10e-3, F_first=0.5e-3, down_to=0.0),
}


@pytest.mark.parametrize("cycle", CYCLIC)
def test_unloading_to_zero_between_cycles_is_no_lost_contact(cycle: str) -> None:
    b = simulate_batch([glass(noise=QUIET, zero_offset=300e-9)], CYCLIC[cycle](), 13)
    assert events(b).lost.tolist() == [0]


def test_without_contact_there_is_no_event() -> None:
    e = events(simulate_batch([glass(noise=QUIET, fault="no contact")], CYCLES["square"], 14))
    assert e.pop_in.count.tolist() == e.pop_out.count.tolist() == e.lost.tolist() == [0]


def test_a_record_of_few_samples_has_no_event() -> None:
    F = np.array([0.0, 2.5e-3, 5e-3, 7.5e-3, 10e-3, 7.5e-3, 5e-3, 2.5e-3, 0.0])
    h = np.array([0, 150, 212, 260, 300, 270, 235, 195, 150]) * 1e-9
    over = Overrides(segments={"T01": [("loading", 0, 5), ("unloading", 5, 9)]})
    e = reduced(batch([(F, h, None)]), overrides=over).events
    assert e.pop_in.count.tolist() == e.pop_out.count.tolist() == [0]
