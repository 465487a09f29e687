"""Windows of depth along loading, and the means of what oscillates over each of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.contact.oscillation import dynamic_ratio
from drypoint.records.batch import Batch
from drypoint.records.segments import Kind, Segments
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.options import DynamicOptions
from drypoint.uncertainty.noise import line_fits

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Signals:
    """What oscillates, for every sample, shape (n_samples,); NaN where it was not measured.

    ``in_phase`` and ``out_of_phase`` are (F_0/z_0) cos phi and sin phi in N/m, or ``in_phase`` is
    the stiffness of the column in tests where ``by_amplitude`` is False (``out_of_phase`` NaN).
    ``swing`` is the depth amplitude (m, half of peak to peak), ``frequency`` in Hz.
    """

    in_phase: Floats
    out_of_phase: Floats
    swing: Floats
    frequency: Floats
    by_amplitude: NDArray[np.bool_]


@dataclass(frozen=True)
class Windows:
    """One row a window, shape (n,), SI: means over its samples, u_ their standard uncertainties.

    ``row`` is the row of the cycles to which the loading belongs, ``number`` counts the windows of
    one loading from 1, ``samples`` were used, ``first`` and ``last`` bound them in the batch.
    """

    row: Ints
    number: Ints
    samples: Ints
    first: Ints
    last: Ints
    F: Floats
    h: Floats
    in_phase: Floats
    out_of_phase: Floats
    u_F: Floats
    u_h: Floats
    u_in_phase: Floats
    u_out_of_phase: Floats
    swing: Floats
    frequency: Floats
    time: Floats
    by_amplitude: NDArray[np.bool_]


def signals_of(
    batch: Batch, options: DynamicOptions, scales: tuple[float, float], spring_given: bool
) -> Signals | None:
    """The oscillation of a batch, or ``None`` where its records have none.

    ``scales`` are those of force and depth.
    """
    if not {"stiffness", "force_amplitude"} & batch.channels.keys():
        return None
    n = len(batch.force)
    by_force, by_depth = scales

    def channel(name: str) -> Floats:
        values = batch.channels.get(name, np.full(n, np.nan))
        return np.where(np.isfinite(values), values, np.nan)

    depth_amplitude = channel("amplitude") * by_depth
    stiffness = channel("stiffness") * (by_force / by_depth)
    ratio = dynamic_ratio(channel("force_amplitude") * by_force, depth_amplitude)
    phase = channel("phase")
    measured = _tests_with(batch, np.isfinite(ratio) & np.isfinite(phase))
    given = _tests_with(batch, np.isfinite(stiffness))
    if options.source == "stiffness":
        measured &= False
    elif options.source == "amplitude and phase":
        given &= False
    elif not spring_given:
        measured &= ~given
    if not np.any(measured | given):
        return None
    by_amplitude = np.repeat(measured, np.diff(batch.offsets))
    swing = depth_amplitude * (np.sqrt(2.0) if options.amplitude == "rms" else 1.0)
    declared = np.nan if options.frequency is None else options.frequency
    frequency = channel("frequency")
    return Signals(
        np.where(by_amplitude, ratio * np.cos(phase), stiffness),
        np.where(by_amplitude, ratio * np.abs(np.sin(phase)), np.nan),
        swing,
        np.where(np.isfinite(frequency), frequency, declared),
        by_amplitude,
    )


def _tests_with(batch: Batch, found: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Tests that have at least one such sample."""
    before = np.concatenate([[0], np.cumsum(found)])
    return np.asarray(np.diff(before[batch.offsets]) > 0)


@njit(cache=True)
def _cut(
    depth: Floats, index: Ints, offsets: Ints, share: float, width: float, least: int
) -> tuple[Ints, Ints, Ints]:
    """First and stop position (in ``index``) of each window, and its row."""
    room = len(index) // least + 1
    first = np.empty(room, dtype=np.int64)
    stop = np.empty(room, dtype=np.int64)
    row = np.empty(room, dtype=np.int64)
    n = 0
    for r in range(len(offsets) - 1):
        a = offsets[r]
        deepest = 0.0
        for i in range(offsets[r], offsets[r + 1]):
            h = depth[index[i]]
            deepest = max(deepest, h)
            if i + 1 - a >= least and deepest - depth[index[a]] >= max(width, share * h):
                first[n] = a
                stop[n] = i + 1
                row[n] = r
                n += 1
                a = i + 1
                deepest = 0.0
    return first[:n], stop[:n], row[:n]


def _loading_samples(
    signals: Signals, corrected: Corrected, segments: Segments, readings: Cycles, rows: Ints
) -> tuple[Ints, Ints]:
    """Samples of the loading of each row that go beyond what was loaded before, and offsets."""
    found = []
    reached: dict[int, float] = {}
    usable = np.isfinite(signals.in_phase) & (corrected.force > 0) & (corrected.depth > 0)
    usable &= ~signals.by_amplitude | (signals.frequency > 0)
    for r in rows:
        t, c = int(readings.test[r]), int(readings.cycle[r])
        contact = int(corrected.zero.contact[t])
        parts = [
            np.arange(max(start, contact), stop)
            for kind, start, stop, cycle in segments.of(t)
            if kind is Kind.LOADING and cycle == c
        ]
        at = np.concatenate(parts) if parts else np.empty(0, dtype=np.int64)
        at = at[usable[at] & (corrected.force[at] > reached.get(t, 0.0))]
        reached[t] = max(reached.get(t, 0.0), float(readings.F_max[r]))
        found.append(at.astype(np.int64))
    offsets = np.concatenate([[0], np.cumsum([len(a) for a in found])]).astype(np.int64)
    return (np.concatenate(found) if found else np.empty(0, dtype=np.int64)), offsets


def find_windows(
    batch: Batch,
    signals: Signals,
    corrected: Corrected,
    segments: Segments,
    readings: Cycles,
    rows: Ints,
    options: DynamicOptions,
) -> Windows:
    """Cut the loadings of the given rows of ``readings`` into windows and take their means.

    The force is averaged as its square root, which runs nearly straight in depth: the mean of the
    force itself would be too large by the curvature. Each standard uncertainty is that of a
    straight line through the window, read at its middle, with the noise's own colour.
    """
    index, offsets = _loading_samples(signals, corrected, segments, readings, rows)
    first, stop, row = _cut(
        corrected.depth, index, offsets, options.window_share, options.window_depth,
        options.window_samples,
    )  # fmt: skip
    count = stop - first
    own = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    within = np.arange(own[-1]) - np.repeat(own[:-1], count)
    at = index[within + np.repeat(first, count)]
    x = within.astype(np.float64)
    middle = (count - 1) / 2.0

    def mean(signal: Floats) -> tuple[Floats, Floats]:
        value, _, u, _ = line_fits(x, signal[at], own, middle)
        return value, u

    root, u_root = mean(np.sqrt(np.where(corrected.force > 0, corrected.force, 0.0)))
    h, u_h = mean(corrected.depth)
    K, u_K = mean(signals.in_phase)
    D, u_D = mean(signals.out_of_phase)
    starts = own[:-1]
    plain = [
        np.add.reduceat(s[at], starts) / count if len(count) else np.empty(0)
        for s in (signals.swing, signals.frequency, batch.time)
    ]
    begins = np.concatenate([[True], np.diff(row) != 0]) if len(row) else np.empty(0, bool)
    of_first = np.maximum.accumulate(np.where(begins, np.arange(len(row)), 0))
    return Windows(
        row=rows[row], number=np.arange(len(row)) - of_first + 1, samples=count,
        first=index[first], last=index[stop - 1],
        F=root**2, h=h, in_phase=K, out_of_phase=D,
        u_F=2.0 * root * u_root, u_h=u_h, u_in_phase=u_K, u_out_of_phase=u_D,
        swing=plain[0], frequency=plain[1], time=plain[2],
        by_amplitude=signals.by_amplitude[index[first]],
    )  # fmt: skip
