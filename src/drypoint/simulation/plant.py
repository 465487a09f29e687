"""Faults of stated size, planted into an invented record: the raw signals are changed afterwards.

What stays is the record's own noise. ``true_force``, ``true_depth`` and ``expected`` stay those of
the record without the fault. Faults of the specimen or of the bench (drift, noise, a soft
material) need no planting: they are part of the :class:`~drypoint.simulation.truth.Truth`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import Where
from drypoint.records.segments import Kind
from drypoint.simulation.record import Record
from drypoint.simulation.truth import SimulationError

Floats = NDArray[np.float64]


def _first(record: Record, kind: Kind, share: float) -> int:
    """First sample of a kind of segment at which the true force has passed a share of the largest:
    upwards in loading, downwards in unloading."""
    level = share * float(np.max(record.true_force))
    here = record.segment == kind
    passed = record.true_force > level if kind is Kind.LOADING else record.true_force < level
    hits = np.flatnonzero(here & passed)
    if not len(hits):
        raise SimulationError(
            f"The record does not pass {share:g} of its largest force there.",
            where=Where(test=record.truth.name),
            remedy="Choose another share.",
        )
    return int(hits[0])


def _rise(record: Record, at: int, seconds: float) -> Floats:
    """0 before sample ``at``, then up to 1 within ``seconds``; at once where that is 0."""
    since = record.time - record.time[at - 1]
    if seconds <= 0:
        return (np.arange(len(since)) >= at).astype(float)
    return np.clip(since / seconds, 0.0, 1.0)


def pop_in(record: Record, share: float, size: float, seconds: float = 0.0) -> Record:
    """A jump of depth by ``size`` (m) on loading at a share of the largest force.

    It takes ``seconds``; the depth stays deeper by as much to the end of the record.
    """
    rise = _rise(record, _first(record, Kind.LOADING, share), seconds)
    return replace(record, depth=record.depth + size * rise)


def pop_out(record: Record, share: float, size: float, seconds: float = 0.0) -> Record:
    """A jump back of the depth by ``size`` (m) on unloading at a share of the largest force."""
    rise = _rise(record, _first(record, Kind.UNLOADING, share), seconds)
    return replace(record, depth=record.depth - size * rise)


def force_drop(record: Record, share: float, size: float, back: float) -> Record:
    """A drop of force by ``size`` (N) on loading, which heals within ``back`` (m) of depth: a
    pop-in under depth control."""
    at = _first(record, Kind.LOADING, share)
    since = np.maximum(record.true_depth - record.true_depth[at], 0.0)
    lost = np.where(np.arange(len(record.time)) >= at, np.exp(-since / back), 0.0)
    return replace(record, force=record.force - size * lost)


def first_touch(record: Record, before: float, force: float, seconds: float) -> Record:
    """A touch before the true one: half a wave of force with its top ``force`` (N) that lasts
    ``seconds`` and ends ``before`` (m) above the surface."""
    gap = float(record.true_depth[0])
    if not gap < -before < 0:
        raise SimulationError(
            "The approach of this record is shorter than that.",
            where=Where(test=record.truth.name),
            remedy="Choose a smaller distance, or a larger gap of the cycle.",
        )
    end = int(np.argmax(record.true_depth >= -before))
    phase = 1.0 + (record.time - record.time[end]) / seconds
    pulse = np.where((phase > 0) & (phase < 1), np.sin(np.pi * phase), 0.0)
    return replace(record, force=record.force + force * pulse)
