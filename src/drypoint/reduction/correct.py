"""From raw records to corrected ones: scales, frame compliance, zero, drift; and the way there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numba import njit
from numpy.typing import NDArray

from drypoint.records.batch import Batch
from drypoint.records.segments import Kind, Segments
from drypoint.reduction import drift as drift_
from drypoint.reduction import zero as zero_
from drypoint.reduction.base_line import BaseLine, base_lines, in_air, level, peaks
from drypoint.reduction.law_zeros import put_zeros
from drypoint.reduction.options import Options
from drypoint.reduction.zero_laws import ContactLaw, by_law
from drypoint.tips.tip import Tip
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.noise import Quiet

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Between a sphere's exponent and a cone's; only the first look at a record uses it.
_HALFWAY = 1.75


@dataclass(frozen=True)
class Corrected:
    """Corrected records with each correction kept, so that every step can be shown.

    ``force`` (N) and ``depth`` (m) have shape (n_samples,). ``C_f``, ``force_scale`` and
    ``depth_scale`` are the values used. ``quiet_force`` and ``quiet_depth`` are the parts of each
    drift hold that show the colour of the noise; a constant in the force does not matter there.
    ``base_line`` is there where the force before contact was taken as a line; ``approach`` counts
    the samples before contact.
    """

    force: Floats
    depth: Floats
    time: Floats
    offsets: Ints
    zero: zero_.Zero
    drift: drift_.Drift
    C_f: float
    force_scale: float
    depth_scale: float
    first_load: tuple[Ints, Ints]
    drift_hold: tuple[Ints, Ints]
    quiet_force: Quiet
    quiet_depth: Quiet
    base_line: BaseLine | None = None
    approach: Ints = field(default_factory=lambda: np.empty(0, np.int64))


def _span_of(segments: Segments, kind: Kind, last: bool, otherwise: Ints) -> tuple[Ints, Ints]:
    """First (or last) segment of a kind in each test; empty at ``otherwise`` where none."""
    n = len(segments.first) - 1
    start, stop = otherwise.copy(), otherwise.copy()
    rows = np.flatnonzero(segments.kind == kind)
    order = rows if last else rows[::-1]
    start[segments.test[order]] = segments.start[order]
    stop[segments.test[order]] = segments.stop[order]
    assert len(start) == n
    return start, stop


def _quiet(time: Floats, hold: tuple[Ints, Ints], load: tuple[Ints, Ints]) -> tuple[Ints, Ints]:
    """The later four fifths of each drift hold, where nothing but noise and drift moves the depth;
    empty where the samples do not come as fast as in loading."""
    start, stop = hold[0] + (hold[1] - hold[0]) // 5, hold[1]
    if not len(time):
        return start, start

    def step(a: Ints, b: Ints) -> Floats:
        first, last = np.minimum(a, len(time) - 1), np.maximum(b - 1, 0)
        return (time[last] - time[first]) / np.maximum(last - first, 1)

    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = step(start, stop) / step(*load)
    same = (ratio > 0.8) & (ratio < 1.25)
    return start, np.where(same, stop, start)


@njit(cache=True, nogil=True)
def _scaled(
    force: Floats, depth: Floats, f_scale: float, d_scale: float, c_f: float
) -> tuple[Floats, Floats]:
    """Force and depth with their scales, the depth without what the frame yields.

    The frame yields under the whole force that the transducer feels, offset included: the constant
    part of that is taken out with the zero.
    """
    f, h = np.empty(len(force)), np.empty(len(force))
    for i in range(len(force)):
        f[i] = force[i] * f_scale
        h[i] = depth[i] * d_scale - c_f * f[i]
    return f, h


@njit(cache=True, nogil=True)
def _less(x: Floats, offsets: Ints, constant: Floats) -> Floats:
    """x less a number of each test."""
    out = np.empty(len(x))
    for t in range(len(constant)):
        for i in range(offsets[t], offsets[t + 1]):
            out[i] = x[i] - constant[t]
    return out


@njit(cache=True, nogil=True)
def _less_drift(depth: Floats, time: Floats, offsets: Ints, contact: Ints, rate: Floats) -> Floats:
    """Depth less the drift since contact; as it is where there is no time."""
    out = np.empty(len(depth))
    for t in range(len(rate)):
        if offsets[t] == offsets[t + 1]:
            continue
        begin = time[contact[t]]
        for i in range(offsets[t], offsets[t + 1]):
            since = time[i] - begin
            out[i] = depth[i] - rate[t] * (since if np.isfinite(since) else 0.0)
    return out


def _loading(
    segments: Segments, begin: Ints, approach: Ints, found: tuple[Ints, Ints]
) -> tuple[Ints, Ints]:
    """The first loading of each test that goes on after contact: a head's spring may look like one
    before."""
    start, stop = found[0].copy(), found[1].copy()
    rows = np.flatnonzero(segments.kind == Kind.LOADING)
    test = segments.test[rows]
    late = rows[segments.stop[rows] > begin[test] + approach[test]][::-1]
    start[segments.test[late]] = segments.start[late]
    stop[segments.test[late]] = segments.stop[late]
    return start, stop


def approach_of(batch: Batch, segments: Segments) -> Ints:
    """Samples of approach at the start of each test, 0 where there is none."""
    approach = np.zeros(len(batch), dtype=np.int64)
    rows = np.flatnonzero(segments.kind == Kind.APPROACH)
    at_start = rows[segments.start[rows] == batch.offsets[:-1][segments.test[rows]]]
    approach[segments.test[at_start]] = segments.stop[at_start] - segments.start[at_start]
    return approach


def correct(
    batch: Batch,
    segments: Segments,
    inputs: Joint,
    options: Options,
    *,
    zero_depth: Mapping[int, float] | None = None,
    zero_time: Mapping[int, float] | None = None,
    drift_windows: NDArray[np.float64] | None = None,
    laws: Mapping[str, ContactLaw] | None = None,
    tip: Tip | None = None,
) -> Corrected:
    """Apply every correction to every test.

    Parameters
    ----------
    batch : Batch
        Raw records, SI.
    segments : Segments
    inputs : Joint
        Holds ``frame.C_f`` (m/N), ``force_scale``, ``depth_scale``.
    options : Options
    zero_depth, zero_time : mapping, optional
        Test index -> contact point moved by hand: recorded depth (m) or time (s).
    drift_windows : array, shape (n_tests, 2), optional
        Window of the drift hold by test; NaN where the option's holds.
    laws : mapping, optional
        Specimen -> its law of first contact, with the ``tip`` that it belongs to; where zeros are
        found by a shared law and none is given, by the power law halfway between sphere and cone.

    Returns
    -------
    Corrected
    """
    f_scale, d_scale = inputs["force_scale"], inputs["depth_scale"]
    c_f = inputs["frame.C_f"]
    force, depth = _scaled(batch.force, batch.depth, f_scale, d_scale, c_f)
    begin = batch.offsets[:-1].copy()
    load_start, load_stop = _span_of(segments, Kind.LOADING, False, begin)
    approach = approach_of(batch, segments)
    hold = _span_of(segments, Kind.DRIFT_HOLD, True, begin)
    quiet = _quiet(batch.time, hold, (load_start, load_stop))
    base = None
    if options.zero.base_line == "line":
        recorded = batch.depth * d_scale
        approach = in_air(force, recorded, batch.offsets, peaks(force, batch.offsets))
        load_start, load_stop = _loading(segments, begin, approach, (load_start, load_stop))
        base = base_lines(force, recorded, begin, approach, Quiet(force, *quiet))
        force = level(force, recorded, batch.offsets, base.spring, base.at)
        depth = recorded - c_f * force
    quiet_force = Quiet(force, *quiet)
    shared = by_law(options.zero)
    first = replace(options.zero, exponent=_HALFWAY) if shared else options.zero
    zero = zero_.find_zero(
        force, depth, batch.offsets, approach, load_start, load_stop,
        (quiet_force, Quiet(depth, *quiet)), first,
    )  # fmt: skip
    drift = None
    if shared and laws is not None and tip is not None:
        drift = drift_.find_drift(
            batch.time, depth, *hold, options.drift, drift_windows, zero.contact
        )
        level_depth = depth
        if np.any(drift.rate != 0.0):
            level_depth = _less_drift(depth, batch.time, batch.offsets, zero.contact, drift.rate)
        zero = put_zeros(
            zero, laws, batch, (force, level_depth, load_stop), (base, approach),
            (quiet_force, Quiet(depth, *quiet)), tip, inputs, options.zero,
        )  # fmt: skip
    if options.zero.method in ("declared", "as recorded"):
        # The recorded depth of the zero, at which the force is the offset.
        at = options.zero.depth if options.zero.method == "declared" else 0.0
        zero = replace(zero, depth=at * d_scale - c_f * zero.force)
    moved = dict(zero_depth or {})
    for i, t in (zero_time or {}).items():
        span = batch.span(i)
        moved[i] = float(np.interp(t, batch.time[span], batch.depth[span]))
    if moved:
        zero = _moved(zero, moved, batch, depth, (d_scale, c_f), options)
    force = _less(force, batch.offsets, zero.force)
    depth = _less(depth, batch.offsets, zero.depth)
    if drift is None:
        drift = drift_.find_drift(
            batch.time, depth, *hold, options.drift, drift_windows, zero.contact
        )
    if np.any(drift.rate != 0.0):
        depth = _less_drift(depth, batch.time, batch.offsets, zero.contact, drift.rate)
    return Corrected(
        force, depth, batch.time, batch.offsets, zero, drift, c_f, f_scale, d_scale,
        (load_start, load_stop), hold, quiet_force, Quiet(depth, *quiet), base, approach,
    )  # fmt: skip


def _moved(
    zero: zero_.Zero,
    by_hand: Mapping[int, float],
    batch: Batch,
    depth: Floats,
    scale_and_compliance: tuple[float, float],
    options: Options,
) -> zero_.Zero:
    """Zeros with contact points (recorded depths, m) that a person chose put in their place."""
    z, u, law = zero.depth.copy(), zero.u_depth.copy(), zero.per_exponent.copy()
    how, contact = zero.how.copy(), zero.contact.copy()
    d_scale, c_f = scale_and_compliance
    for i, value in by_hand.items():
        z[i] = value * d_scale - c_f * zero.force[i]
        how[i], law[i] = zero_.DECLARED, 0.0
        u[i] = np.hypot(zero.noise_depth[i], options.zero.u_zero)
        span = batch.span(i)
        contact[i] = span.start + int(np.argmax(depth[span] >= z[i]))
    own = zero.by_law
    if own is not None and by_hand:
        at = np.array(sorted(by_hand), dtype=np.int64)
        own = own.without(at)
    return replace(zero, depth=z, u_depth=u, per_exponent=law, how=how, contact=contact, by_law=own)
