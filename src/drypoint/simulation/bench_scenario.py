"""The demo's calibration: an invented reference glass, and an invented certified block.

The tip and the frame are those of the specimens' study. What is certified is fixed below; what is
true is drawn from the seed, within one standard uncertainty of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from drypoint.simulation.cycles import single, stepped
from drypoint.simulation.scenario import Planned, Scenario, base_truth, declared, disturbed
from drypoint.simulation.scenario import scenario as study_scenario
from drypoint.simulation.truth import Creep, Law, Truth

#: Certified value and standard uncertainty, in the units of the study file.
CERTIFIED: Mapping[str, tuple[float, float]] = {
    "E.reference": (71.8, 0.35),
    "nu.reference": (0.168, 0.002),
    "E.block": (206.0, 1.6),
    "H.block": (6.20, 0.06),
    "nu.block": (0.292, 0.004),
}
REFERENCE_H = 9.1e9
_REFERENCE_TESTS, _BLOCK_TESTS = 10, 8
_BLOCK_FORCE = 12e-3


def bench_scenario(seed: int) -> Scenario:
    """Tests of the demo's calibration for a seed, with the tip and frame of its study."""
    rng = np.random.default_rng(np.random.SeedSequence((seed, 3)))
    true = {k: v + u * float(rng.uniform(-1, 1)) for k, (v, u) in CERTIFIED.items()}
    study = study_scenario(seed)
    base = base_truth(study.tip, study.true)
    tests = [*_reference(base, true, rng), *_block(base, true, rng)]
    return Scenario(seed, study.tip, {**study.true, **true}, tuple(tests))


def _reference(base: Truth, true: Mapping[str, float], rng: np.random.Generator) -> list[Planned]:
    """Stepped loading with partial unloadings, so that each test spans the range of depths."""
    planned = []
    for i in range(_REFERENCE_TESTS):
        name = f"R-{i + 1:02d}"
        truth = replace(
            disturbed(base, rng),
            name=name,
            specimen="reference",
            E=Law.constant(true["E.reference"] * 1e9),
            H=Law.constant(REFERENCE_H),
            nu=true["nu.reference"],
            m=1.30,
            creep=Creep(0.003),
            position_m=(30e-6 * (i % 5), 30e-6 * (i // 5)),
            declared=declared("reference glass R7, invented", "2025-03-06", 5 * i, rng),
        ).with_radial_factor()
        cycle = stepped(25e-3, steps=10, load=4.0, hold=4.0, unload=4.0, gap=120e-9, rate=15.0)
        planned.append(Planned(f"raw/reference/{name}.txt", truth, cycle))
    return planned


def _block(base: Truth, true: Mapping[str, float], rng: np.random.Generator) -> list[Planned]:
    """Single cycles on the block."""
    planned = []
    for i in range(_BLOCK_TESTS):
        name = f"V-{i + 1:02d}"
        truth = replace(
            disturbed(base, rng),
            name=name,
            specimen="block",
            E=Law.constant(true["E.block"] * 1e9),
            H=Law.constant(true["H.block"] * 1e9 * (1 + 0.008 * float(rng.standard_normal()))),
            nu=true["nu.block"],
            m=1.36,
            creep=Creep(0.004),
            position_m=(25e-6 * i, 0.0),
            declared=declared("certified block V3, invented", "2025-03-06", 70 + 3 * i, rng),
        ).with_radial_factor()
        cycle = single(_BLOCK_FORCE, load=15.0, unload=12.0, shape=2.0, gap=120e-9)
        planned.append(Planned(f"raw/block/{name}.txt", truth, cycle))
    return planned
