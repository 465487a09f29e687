"""Invented tests of about a thousand samples for the speed benchmarks, many and quickly made."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo
from drypoint.reduction.options import Options
from drypoint.simulation import Creep, Law, Record, Truth, simulate, single
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame

Floats = NDArray[np.float64]

SAMPLES = 1000
KINDS = 20
FORCE_NOISE, DEPTH_NOISE = 0.3e-6, 0.15e-9
NU = {"glass": (0.17, 0.02)}
OPTIONS = Options()


def bench() -> Bench:
    """A blunted pyramid, its radius and angle uncertain, on a frame of known compliance."""
    tip = blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1")
    return Bench(tip, Frame())


@lru_cache(maxsize=1)
def kinds() -> tuple[Record, ...]:
    """Twenty tests without noise, all different, of exactly a thousand samples each."""
    rng = np.random.default_rng(7)
    tip = bench().tip
    cycle = single(10e-3, load=20.0)
    span = len(simulate(_truth(tip, 72e9, 9e9), cycle).time)
    cycle = replace(cycle, rate=cycle.rate * 1.02 * SAMPLES / span)
    out = []
    for _ in range(KINDS):
        t = _truth(tip, 72e9 * rng.uniform(0.97, 1.03), 9e9 * rng.uniform(0.97, 1.03))
        out.append(simulate(t, cycle))
    return tuple(out)


def _truth(tip, E: float, H: float) -> Truth:  # type: ignore[no-untyped-def]
    return Truth(
        tip=tip, E=Law.constant(E), H=Law.constant(H), nu=0.17, name="T", specimen="glass",
        m=1.3, creep=Creep(0.004),
    )  # fmt: skip


def signals(n: int, seed: int = 0) -> tuple[Floats, Floats, Floats]:
    """Time, force, depth of n tests, each (n, SAMPLES), every one with noise of its own."""
    rng = np.random.default_rng(seed)
    base = kinds()
    which = np.arange(n) % len(base)

    def pick(name: str) -> Floats:
        return np.stack([getattr(r, name)[:SAMPLES] for r in base])[which]

    force, depth = pick("force"), pick("depth")
    force += FORCE_NOISE * rng.standard_normal(force.shape)
    depth += DEPTH_NOISE * rng.standard_normal(depth.shape)
    depth += rng.uniform(100e-9, 500e-9, (n, 1))
    return pick("time"), force, depth


def batch(n: int, seed: int = 0) -> Batch:
    """n tests as a batch."""
    t, f, h = signals(n, seed)
    nothing = Source("invented", "0" * 64)
    return Batch(
        tests=tuple(TestInfo(f"T{i:06d}", "glass", nothing) for i in range(n)),
        offsets=np.arange(n + 1, dtype=np.int64) * SAMPLES,
        time=t.ravel(), force=f.ravel(), depth=h.ravel(),
        segment=np.full(n * SAMPLES, UNDECLARED, dtype=np.int16),
    )  # fmt: skip
