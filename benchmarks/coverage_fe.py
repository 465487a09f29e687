"""Coverage on finite-element records, which no formula of the analysis made.

A rigid cone pressed into elastic-plastic solids. The records are self-similar (depth times k,
force times k^2) and are disturbed like all others. The tip is calibrated on the glass-like solid,
as a laboratory would, so its inputs and Poisson's ratio are not redrawn; frame, scales, zero,
drift and noise are.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import coverage_world as cw
import numpy as np
from numpy.typing import NDArray

from drypoint.reduction.options import AnalysisOptions, Options, ZeroOptions
from drypoint.reduction.reduce import Reduced, reduce_batch
from drypoint.tips.build import series_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]

HALF_ANGLE = np.radians(70.3)
RIGID = 1e16  # Pa
CALIBRATED_ON, U_REFERENCE = "silica_like", 0.01
AGAINST_FIT = ("S", "m", "h_c")
AGAINST_SOLID = ("H_IT", "E_IT")


@dataclass(frozen=True)
class Solid:
    """A record (N, m) with what is true of it, SI."""

    load: tuple[Floats, Floats]
    unload: tuple[Floats, Floats]
    E_IT: float
    nu: float
    H_IT: float


@dataclass(frozen=True)
class Found:
    """Of one solid: error of the noise-free result, and coverage with its standard error."""

    seeds: int
    bias: Mapping[str, float]
    half_width: Mapping[str, float]
    covered: Mapping[str, tuple[float, float]]


def folder() -> Path:
    """Where the records lie."""
    return Path(__file__).parents[1] / "tests" / "data" / "fe_records"


def solids() -> dict[str, Solid]:
    """All records."""
    out = {}
    with (folder() / "truth.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for row in rows:
        table = np.loadtxt(folder() / f"{row['record']}.csv", delimiter=",", skiprows=1)
        h, force = table[:, 0] * 1e-9, table[:, 1] * 1e-3
        top = int(np.argmax(h))
        grown = np.maximum.accumulate(force[: top + 1])
        load = (np.concatenate([[0.0], grown]), np.concatenate([[0.0], h[: top + 1]]))
        unload = (force[top:][::-1], h[top:][::-1])
        out[row["record"]] = Solid(
            load, unload, float(row["E_GPa"]) * 1e9, float(row["nu"]),
            float(row["true_hardness_GPa"]) * 1e9,
        )  # fmt: skip
    return out


def path(solid: Solid, k: float) -> tuple[Floats, Floats]:
    """Force and depth of the specimen at scale ``k``, on the usual time base."""
    t, legs = cw.times()
    top = float(solid.unload[0][-1])
    force = np.zeros(len(t))
    n = legs["load"].stop - legs["load"].start
    force[legs["load"]] = top * (np.arange(1, n + 1) / n) ** 2
    force[legs["hold"]] = top
    n = legs["unload"].stop - legs["unload"].start
    level = cw.DRIFT_LEVEL
    force[legs["unload"]] = top * (1 - (1 - level) * np.arange(1, n + 1) / n)
    force[legs["drift"]] = top * level
    n = legs["end"].stop - legs["end"].start
    force[legs["end"]] = top * level * (1 - np.arange(1, n + 1) / n)
    depth = np.interp(force, *solid.unload)
    rising = legs["load"]
    depth[rising] = np.interp(np.sqrt(force[rising]), np.sqrt(solid.load[0]), solid.load[1])
    begin = legs["approach"]
    depth[begin] = -cw.SPEED / cw.RATE * np.arange(begin.stop, 0, -1)
    depth[begin] /= k  # the approach is not scaled
    return force * k * k, depth * k


def _reduce(worlds: list[cw.World], bench: Bench, options: Options, nu: float) -> Reduced:
    u = dict.fromkeys(cw.SPECIMENS, (nu, 0.02))
    return reduce_batch(cw.batch_of(worlds), bench, options, u)


def _world(raw_F: Floats, raw_h: Floats) -> cw.World:
    return cw.World(raw_F, raw_h, {}, {})


def coverage(seeds: int) -> dict[str, Found]:
    """Every solid, ``seeds`` worlds of 20 tests each."""
    all_ = solids()
    frame = Frame(compliance=0.25e-6, u_compliance=0.015e-6, u_force_scale=0.002,
                  u_depth_scale=0.002)  # fmt: skip
    options = Options(
        zero=ZeroOptions(exponent=2.0), analysis=AnalysisOptions(beta=1.05, u_beta=0.02)
    )
    reference = all_[CALIBRATED_ON]
    e_r = reference.E_IT / (1 - reference.nu**2)
    ideal = float(np.pi * np.tan(HALF_ANGLE) ** 2)
    words = (
        ("beta", "1.05"), ("epsilon", "exponent"), ("radial_correction", "False"),
        ("E_r_GPa", str(e_r * 1e-9)), ("u_E_r_GPa", str(U_REFERENCE * e_r * 1e-9)),
    )  # fmt: skip

    def bench(c0: float) -> Bench:
        inputs = Joint(("tip.C0",), np.array([c0]), np.zeros((1, 1)))
        tip = series_tip(
            Geometry("cone", angle=HALF_ANGLE), inputs, h_min=0.0, h_max=1e-4, name="cone",
            found_with=words, E_i=RIGID, nu_i=0.0,
        )  # fmt: skip
        return Bench(tip, frame)

    def quiet(solid: Solid, b: Bench, k: float) -> Reduced:
        force, depth = (v[None, :] for v in path(solid, k))
        return _reduce([_world(force, depth + 0.25e-6 * force)], b, options, solid.nu)

    found_e = float(quiet(reference, bench(ideal), 3.0).tests["E_r"].value[0])
    calibrated = bench(ideal * (found_e / e_r) ** 2)
    out = {}
    for number, (name, solid) in enumerate(all_.items()):
        first = quiet(solid, calibrated, 3.0).tests
        true = {"H_IT": solid.H_IT, "E_IT": solid.E_IT}
        bias = {s: float(first[s].value[0]) / true[s] - 1 for s in AGAINST_SOLID}
        hits: dict[str, list[float]] = {s: [] for s in (*AGAINST_FIT, *AGAINST_SOLID)}
        half: dict[str, list[float]] = {s: [] for s in hits}
        for seed in range(seeds):
            rng = np.random.default_rng(np.random.SeedSequence((seed, 50 + number)))
            k = float(np.exp(rng.uniform(np.log(0.5), np.log(3.0))))
            force, depth = (np.tile(v, (2 * cw.TESTS, 1)) for v in path(solid, k))
            names = ("frame.C_f", "force_scale", "depth_scale")
            joint = first.inputs.pick(names)
            theta = dict(zip(names, joint.draw(rng, 1)[0], strict=True))
            raw_F, raw_h, _, _ = cw.disturb(rng, force, depth, theta)
            r = _reduce([_world(raw_F, raw_h)], calibrated, options, solid.nu).tests
            still = quiet(solid, calibrated, k).tests
            for s in hits:
                goal = true[s] if s in true else float(still[s].value[0])
                u = r.u(s)
                hits[s].append(float(np.mean(np.abs(r[s].value - goal) <= 1.96 * u)))
                half[s].append(float(np.median(1.96 * u / goal)))
        out[name] = Found(
            seeds, bias, {s: float(np.median(v)) for s, v in half.items()},
            {s: (float(np.mean(v)), float(np.std(v) / np.sqrt(seeds))) for s, v in hits.items()},
        )  # fmt: skip
    return out
