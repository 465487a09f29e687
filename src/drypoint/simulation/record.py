"""From an undisturbed path to a raw test record with the errors of a measurement."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import Batch, Source, TestInfo
from drypoint.records.segments import KIND_NAMES, Kind
from drypoint.simulation.cycles import Cycle, single
from drypoint.simulation.oscillation import swing
from drypoint.simulation.path import walk
from drypoint.simulation.truth import Expected, SimulationError, Truth

Floats = NDArray[np.float64]

#: Cycle where none is asked for: 10 mN, an even approach to the first contact.
USUAL = single(10e-3, shape=2.0)

#: Samples that the fault "not a number" spoils.
_SPOILED = 8


@dataclass(frozen=True)
class Record:
    """One invented record.

    ``force`` and ``depth`` are raw, with all errors of the measurement; ``true_force`` and
    ``true_depth`` are those of the specimen. ``segment`` indexes
    :data:`~drypoint.records.segments.Kind`. ``zero`` is the raw depth at contact without noise,
    ``contact`` the sample. ``expected`` has one entry an unloading, and none where the record has
    a fault. ``channels`` holds what oscillates, by role.
    """

    truth: Truth
    time: Floats
    force: Floats
    depth: Floats
    segment: NDArray[np.int16]
    true_force: Floats
    true_depth: Floats
    contact: int
    zero: float
    expected: tuple[Expected, ...]
    channels: Mapping[str, Floats] = field(default_factory=dict)


def simulate(truth: Truth, cycle: Cycle, seed: int | Sequence[int] = 0) -> Record:
    """The raw record of one test; the same to the bit for the same seed.

    raw depth = h + C_f F + zero offset + drift since contact + noise,
    raw force = F + force offset + noise.
    """
    path = walk(truth, cycle)
    streams = [np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(6)]
    n, dt = len(path.time), 1 / cycle.rate
    F, h = path.force, path.depth
    segment, expected = path.segment, path.expected
    channels: dict[str, Floats] = {}
    if truth.oscillation is not None:
        moving = swing(truth, truth.oscillation, path, streams[5])
        F, h, channels = F - moving.force, h - moving.depth, moving.channels
    if truth.fault == "no contact":
        F = np.zeros(n)
        h = (path.time - path.time[path.contact]) * cycle.approach_speed
        segment = np.full(n, Kind.APPROACH, dtype=np.int16)
    steps = truth.drift_walk * dt**0.5 * streams[0].standard_normal(n)
    drift = truth.drift_rate * path.time + np.cumsum(steps)
    drift = drift - drift[path.contact]
    noise = truth.noise
    raw_F = F + truth.force_offset
    raw_F = raw_F + noise.force_white * streams[1].standard_normal(n)
    raw_F = raw_F + noise.force_coloured * _coloured(streams[2], n, dt / noise.memory)
    raw_h = h + truth.compliance * F + truth.zero_offset + drift
    raw_h = raw_h + noise.depth_white * streams[3].standard_normal(n)
    raw_h = raw_h + noise.depth_coloured * _coloured(streams[4], n, dt / noise.memory)
    raw_F, stop = _spoil(truth, raw_F, F, segment)
    return Record(
        truth=truth,
        time=path.time[:stop],
        force=raw_F[:stop],
        depth=raw_h[:stop],
        segment=segment[:stop],
        true_force=F[:stop],
        true_depth=h[:stop],
        contact=path.contact,
        zero=truth.zero_offset,
        expected=() if truth.fault else expected,
        channels={k: v[:stop] for k, v in channels.items()},
    )


def _coloured(rng: np.random.Generator, n: int, step: float) -> Floats:
    """AR(1) noise of unit variance whose correlation falls as exp(-step) a sample."""
    phi = float(np.exp(-step))
    z = rng.standard_normal(n)
    z[1:] *= np.sqrt(1 - phi * phi)
    return np.array(list(accumulate(z.tolist(), lambda x, e: phi * x + e)))


def _spoil(
    truth: Truth, raw: Floats, force: Floats, segment: NDArray[np.int16]
) -> tuple[Floats, int]:
    """Put the fault into the raw force; also how many samples are left."""
    level = truth.fault_level * float(np.max(force, initial=0.0))
    unloading = np.flatnonzero(segment == Kind.UNLOADING)
    first = int(unloading[0]) if len(unloading) else len(raw)
    if truth.fault == "saturated force":
        return np.minimum(raw, level), len(raw)
    if truth.fault == "not a number":
        spoiled = raw.copy()
        spoiled[first + 1 : first + 1 + _SPOILED] = np.nan
        return spoiled, len(raw)
    if truth.fault == "missing unloading":
        return raw, first
    if truth.fault == "truncated":
        below = np.flatnonzero(force[first:] < level)
        return raw, first + (int(below[0]) if len(below) else len(raw) - first)
    return raw, len(raw)


def simulate_many(
    truths: Sequence[Truth], cycle: Cycle | Sequence[Cycle], seed: int = 0
) -> tuple[Record, ...]:
    """The records of many tests.

    ``cycle`` is one for all, or one a test. Test ``i`` has the seed ``(seed, i)``, so that it does
    not depend on the others.
    """
    cycles = [cycle] * len(truths) if isinstance(cycle, Cycle) else list(cycle)
    if len(cycles) != len(truths):
        raise SimulationError("There are not as many cycles as tests.", remedy="Give one a test.")
    pairs = zip(truths, cycles, strict=True)
    return tuple(simulate(t, c, (seed, i)) for i, (t, c) in enumerate(pairs))


def simulate_batch(
    truths: Sequence[Truth], cycle: Cycle | Sequence[Cycle] = USUAL, seed: int = 0
) -> Batch:
    """The same as a batch, ready for the reduction. ``batch_of`` turns records into a batch."""
    return batch_of(simulate_many(truths, cycle, seed))


def batch_of(records: Sequence[Record]) -> Batch:
    """Records as a batch, with their segments declared and the hash of their numbers."""
    tests = []
    for r in records:
        digest = hashlib.sha256()
        for a in (r.time, r.force, r.depth, *(r.channels[k] for k in sorted(r.channels))):
            digest.update(a.astype("<f8").tobytes())
        tests.append(
            TestInfo(
                name=r.truth.name,
                specimen=r.truth.specimen,
                source=Source(f"invented/{r.truth.name}", digest.hexdigest()),
                position_m=r.truth.position_m,
                declared=dict(r.truth.declared),
            )
        )

    def cat(arrays: list[Floats]) -> Floats:
        return np.concatenate(arrays) if arrays else np.empty(0)

    return Batch(
        tests=tuple(tests),
        offsets=np.cumsum([0] + [len(r.time) for r in records]).astype(np.int64),
        time=cat([r.time for r in records]),
        force=cat([r.force for r in records]),
        depth=cat([r.depth for r in records]),
        segment=np.concatenate([np.empty(0, dtype=np.int16), *(r.segment for r in records)]),
        segment_labels=tuple(KIND_NAMES[k] for k in Kind),
        channels={
            name: cat([r.channels.get(name, np.full(len(r.time), np.nan)) for r in records])
            for name in sorted({name for r in records for name in r.channels})
        },
    )
