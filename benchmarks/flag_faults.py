"""The invented tests of ``bench_flags.py``: clean ones, and ones with a fault of stated size."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drypoint.records.batch import Batch
from drypoint.simulation import (
    Creep,
    Cycle,
    Law,
    Noise,
    Record,
    Truth,
    batch_of,
    plant,
    simulate,
    single,
    stepped,
    to_depth,
)
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame, Tip

Generator = np.random.Generator

#: Area function known up to this depth, m.
REACH = 1500e-9
TIP = blunted_tip(Geometry("modified Berkovich", radius=80e-9), h_max=REACH)
BENCH = Bench(TIP, Frame())
SPECIMEN = "invented"
POISSON = {SPECIMEN: (0.25, 0.0)}

#: Solids that deserve no flag, with h_p/h_max from 0.4 to 0.6: E and H (Pa), largest force (N).
SOLIDS: dict[str, tuple[float, float, float]] = {
    "glass-like": (72e9, 9.2e9, 10e-3),
    "ceramic-like": (380e9, 27e9, 20e-3),
    "hard coating": (300e9, 28e9, 15e-3),
    "polymer-like": (5e9, 0.5e9, 3e-3),
}
#: Test cycles by name, from the largest force (N) or depth (m).
CYCLES: dict[str, Callable[[float], Cycle]] = {
    "force, 20 Hz": lambda F: single(F, shape=2.0),
    "even ramp, 50 Hz": lambda F: single(F, shape=1.5, rate=50.0, drift_hold=30.0),
    "coarse, 5 Hz": lambda F: single(F, shape=2.0, rate=5.0, gap=400e-9),
    "stepped, 20 Hz": lambda F: stepped(F, steps=6, F_first=F / 12, drift_hold=30.0),
}


@dataclass(frozen=True)
class Plan:
    """A test before it is invented: its truth and its cycle."""

    truth: Truth
    cycle: Cycle


@dataclass(frozen=True)
class Fault:
    """A planted fault: the flag that it deserves, its size in words, and how it is made.

    ``change`` alters the plan, ``spoil`` the record; ``aside`` is set where the test must be set
    aside, with a word of the reason as ``code``.
    """

    code: str
    size: str
    change: Callable[[Plan, Generator], Plan] | None = None
    spoil: Callable[[Record, Generator], Record] | None = None
    aside: bool = False
    control: str = "auto"


def plan(rng: Generator, name: str) -> Plan:
    """A clean test: solid, cycle, noise, drift and zero drawn at random."""
    E, H, F = SOLIDS[str(rng.choice(list(SOLIDS)))]
    cycle = CYCLES[str(rng.choice(list(CYCLES)))](F)
    white, slow = rng.uniform(0.05e-9, 0.4e-9), rng.uniform(0.0, 0.2e-9)
    # Noise of the force in proportion to the force, as ranges of an instrument have it.
    noise = Noise(3e-5 * F, 1e-5 * F, white, slow, memory=float(rng.choice([0.1, 0.5, 2.0])))
    truth = Truth(
        tip=TIP, E=Law.constant(E), H=Law.constant(H), nu=0.25, name=name, specimen=SPECIMEN,
        m=float(rng.uniform(1.3, 1.45)), creep=Creep(0.003), noise=noise,
        drift_rate=float(rng.uniform(-0.03e-9, 0.03e-9)), drift_walk=0.003e-9,
        zero_offset=float(rng.uniform(100e-9, 900e-9)),
    )  # fmt: skip
    return Plan(truth, cycle)


def truth_with(**changes: object) -> Callable[[Plan, Generator], Plan]:
    """A change of the truth."""
    return lambda p, _: replace(p, truth=replace(p.truth, **changes))  # type: ignore[arg-type]


def cycle_of(
    make: Callable[[float], Cycle], **changes: object
) -> Callable[[Plan, Generator], Plan]:
    """Another cycle, with the largest force of the plan, and perhaps another truth."""

    def change(p: Plan, _: Generator) -> Plan:
        cycle = make(p.cycle.peak)
        return Plan(replace(p.truth, **changes), cycle)  # type: ignore[arg-type]

    return change


def _depth_control(p: Plan, _: Generator) -> Plan:
    return Plan(p.truth, to_depth(250e-9))


def _drifting(rate: float) -> Callable[[Plan, Generator], Plan]:
    def change(p: Plan, rng: Generator) -> Plan:
        sign = float(rng.choice([-1.0, 1.0]))
        return replace(p, truth=replace(p.truth, drift_rate=sign * rate))

    return change


def _noisy(share: float) -> Callable[[Plan, Generator], Plan]:
    def change(p: Plan, _: Generator) -> Plan:
        depth = simulate(p.truth, p.cycle, 0).expected[-1].h_max
        return replace(p, truth=replace(p.truth, noise=Noise(0.0, 0.0, share * depth)))

    return change


def _wave(record: Record, _: Generator) -> Record:
    """A wave of 4 % of the largest force in the main unloading."""
    F = record.true_force
    down = (record.segment == 3) & (0.15 * F.max() < F)
    phase = 6 * np.pi * np.cumsum(down) / max(int(down.sum()), 1)
    return replace(record, force=record.force + np.where(down, 0.04 * F.max() * np.sin(phase), 0.0))


def _at(rng: Generator) -> float:
    """Share of the largest force at which a jump is planted."""
    return float(rng.uniform(0.2, 0.7))


def _pop_in(size: float, seconds: float = 0.0) -> Callable[[Record, Generator], Record]:
    return lambda r, rng: plant.pop_in(r, _at(rng), size, seconds)


def _pop_out(size: float) -> Callable[[Record, Generator], Record]:
    return lambda r, rng: plant.pop_out(r, _at(rng), size)


def _drop(share: float) -> Callable[[Record, Generator], Record]:
    def spoil(r: Record, rng: Generator) -> Record:
        at = _at(rng)
        return plant.force_drop(r, at, share * at * float(r.true_force.max()), 15e-9)

    return spoil


def _touch(share: float) -> Callable[[Record, Generator], Record]:
    return lambda r, rng: plant.first_touch(
        r, float(rng.uniform(30e-9, 80e-9)), share * float(r.true_force.max()), 1.5
    )


FAULTS: tuple[Fault, ...] = (
    Fault("no drift hold", "none in the cycle", cycle_of(lambda F: single(F, shape=2.0,
                                                                          drift_hold=0.0))),
    Fault("drift", "0.06 nm/s", _drifting(0.06e-9)),
    Fault("drift", "0.1 nm/s", _drifting(0.1e-9)),
    Fault("zero by threshold", "loading of 4 samples",
          cycle_of(lambda F: single(F, load=4.0, rate=1.0))),
    Fault("contact lost", "touch of 0.05 % of F_max", None, _touch(5e-4)),
    Fault("contact lost", "touch of 1 % of F_max", None, _touch(1e-2)),
    Fault("pop-in", "2 nm at once", None, _pop_in(2e-9)),
    Fault("pop-in", "5 nm at once", None, _pop_in(5e-9)),
    Fault("pop-in", "10 nm at once", None, _pop_in(10e-9)),
    Fault("pop-in", "20 nm at once", None, _pop_in(20e-9)),
    Fault("pop-in", "10 nm in 0.2 s", None, _pop_in(10e-9, 0.2)),
    Fault("pop-in", "depth control, drop of 2 % of the force", _depth_control, _drop(0.02),
          control="depth"),
    Fault("pop-in", "depth control, drop of 10 % of the force", _depth_control, _drop(0.10),
          control="depth"),
    Fault("step back", "5 nm", None, _pop_in(-5e-9)),
    Fault("step back", "20 nm", None, _pop_in(-20e-9)),
    Fault("pop-out", "5 nm", None, _pop_out(5e-9)),
    Fault("pop-out", "20 nm", None, _pop_out(20e-9)),
    Fault("noise", "0.8 % of h_max", _noisy(0.008)),
    Fault("noise", "1.5 % of h_max", _noisy(0.015)),
    Fault("poor fit", "wave of 4 % of F_max", None, _wave),
    Fault("odd exponent", "m = 1.02", truth_with(m=1.02)),
    Fault("pile-up likely", "E/H = 150", truth_with(E=Law.constant(75e9), H=Law.constant(0.5e9),
                                                   creep=Creep(0.0005))),
    Fault("tip range", "1.4 times the range",
          cycle_of(lambda _: single(100e-3, shape=2.0), E=Law.constant(20e9),
                   H=Law.constant(0.9e9))),
    Fault("still elastic", "5 % of the force at yield",
          cycle_of(lambda _: single(20e-6, shape=2.0), E=Law.constant(72e9),
                   H=Law.constant(20e9), noise=Noise(5e-9, 0.0, 0.05e-9))),
    Fault("creep at unloading", "2 s hold, 60 s unloading",
          cycle_of(lambda F: single(F, shape=2.0, hold=2.0, unload=60.0), creep=Creep(0.06))),
    Fault("no contact", "never touches", truth_with(fault="no contact"), aside=True),
    Fault("no unloading", "breaks off at the end of the hold",
          truth_with(fault="missing unloading"), aside=True),
)  # fmt: skip


def batch(plans: Sequence[Plan], fault: Fault | None, seed: int) -> tuple[Batch, list[Record]]:
    """Records of the plans with a fault put in, without declared segments; and the records."""
    records = []
    for i, p in enumerate(plans):
        rng = np.random.default_rng((seed, i, 1))
        if fault is not None and fault.change is not None:
            p = fault.change(p, rng)
        record = simulate(p.truth, p.cycle, (seed, i))
        if fault is not None and fault.spoil is not None:
            record = fault.spoil(record, rng)
        records.append(record)
    b = batch_of(records)
    bare = tuple(replace(t, declared={}) for t in b.tests)
    none = np.full_like(b.segment, -1)
    return replace(b, tests=bare, segment=none, segment_labels=()), records


def plans(n: int, seed: int) -> list[Plan]:
    """Clean tests."""
    return [plan(np.random.default_rng((seed, i, 2)), f"T{i:04d}") for i in range(n)]


__all__ = ["BENCH", "FAULTS", "POISSON", "SPECIMEN", "TIP", "Fault", "Plan", "Tip", "batch",
           "plans"]  # fmt: skip
