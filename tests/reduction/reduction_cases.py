"""Batches and short ways that the tests of the reduction share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import UNDECLARED, Batch, Source, TestInfo
from drypoint.reduction.options import (
    AnalysisOptions,
    DriftOptions,
    FlagLimits,
    Options,
    SegmentOptions,
    ZeroOptions,
)
from drypoint.reduction.reduce import Overrides, Reduced, reduce_batch
from drypoint.simulation import Creep, Law, Noise, Truth
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame, Tip

Floats = NDArray[np.float64]

DEFAULT = Options()
#: Zero and drift are left alone: for handmade records that begin at contact.
PLAIN = Options(zero=ZeroOptions(method="as recorded"), drift=DriftOptions(method="none"))

#: Noise of a quiet instrument.
QUIET = Noise(force_white=0.3e-6, depth_white=0.15e-9)


def batch(
    records: Sequence[tuple[Floats, Floats, Floats | None]], specimen: str = "glass"
) -> Batch:
    """Records (force in N, depth in m, time in s or None) as a batch without declared segments."""
    n = sum(len(f) for f, _, _ in records)
    names = [f"T{i:02d}" for i in range(1, len(records) + 1)]
    times = [np.full(len(f), np.nan) if t is None else t for f, _, t in records]
    return Batch(
        tests=tuple(TestInfo(name, specimen, Source(name, "0" * 64)) for name in names),
        offsets=np.cumsum([0] + [len(f) for f, _, _ in records]).astype(np.int64),
        time=np.concatenate(times),
        force=np.concatenate([f for f, _, _ in records]),
        depth=np.concatenate([h for _, h, _ in records]),
        segment=np.full(n, UNDECLARED, dtype=np.int16),
    )


def bare(b: Batch) -> Batch:
    """The batch without what the simulation declares of its segments and control."""
    tests = tuple(replace(t, declared={}) for t in b.tests)
    return replace(b, tests=tests, segment=np.full_like(b.segment, UNDECLARED), segment_labels=())


def invented_tip() -> Tip:
    """A modified Berkovich pyramid with an end of 80 nm."""
    return blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1")


def glass(**changes: object) -> Truth:
    """An invented glass under that tip; without disturbance unless asked for."""
    base = Truth(
        tip=invented_tip(),
        E=Law.constant(72e9),
        H=Law.constant(9.2e9),
        nu=0.17,
        name="T01",
        specimen="glass",
        m=1.3,
        creep=Creep(0.004),
    )
    return replace(base, **changes)  # type: ignore[arg-type]


def reduced(
    b: Batch,
    tip: Tip | None = None,
    options: Options = DEFAULT,
    *,
    nu: tuple[float, float] = (0.17, 0.0),
    frame: Frame | None = None,
    overrides: Overrides | None = None,
) -> Reduced:
    """Reduce a batch whose specimens share one Poisson's ratio."""
    bench = Bench(tip or invented_tip(), frame or Frame())
    names = {t.specimen: nu for t in b.tests}
    more = {"overrides": overrides} if overrides is not None else {}
    return reduce_batch(b, bench, options, names, **more)


def with_(options: Options, **sections: dict[str, object]) -> Options:
    """Options with some keys of some sections changed."""
    changed = {name: replace(getattr(options, name), **keys) for name, keys in sections.items()}
    return replace(options, **changed)  # type: ignore[arg-type]


__all__ = [
    "PLAIN",
    "QUIET",
    "AnalysisOptions",
    "Batch",
    "FlagLimits",
    "Options",
    "SegmentOptions",
    "bare",
    "batch",
    "glass",
    "invented_tip",
    "reduced",
    "with_",
]
