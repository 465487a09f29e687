"""From a batch of records to properties: the one entry of this room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import ReductionError
from drypoint.records.batch import Batch
from drypoint.records.segments import Segments, find_segments
from drypoint.reduction.assemble import assemble
from drypoint.reduction.base_line import level_roughly
from drypoint.reduction.correct import Corrected, correct
from drypoint.reduction.cycles import Cycles, read_cycles
from drypoint.reduction.derive import LOCAL, Context, jacobians
from drypoint.reduction.dynamic import Dynamic, reduce_dynamic
from drypoint.reduction.events import Events, find_events
from drypoint.reduction.faults import Fault, find_faults
from drypoint.reduction.inputs import systematic_inputs
from drypoint.reduction.local import Locals, local_inputs
from drypoint.reduction.options import Options
from drypoint.reduction.result import Reduction, take_rows
from drypoint.reduction.seeding import seeds_of
from drypoint.reduction.unloading import Unloading, fit_unloading
from drypoint.reduction.viscous import Viscous, find_viscous, share_of, with_viscous
from drypoint.reduction.zero_laws import ContactLaw, Seeds, by_law, find_laws
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Overrides:
    """What a person moved by hand, by test name. See the decisions file.

    ``zero`` is the recorded depth (m) at which contact begins, ``zero_time`` the time (s);
    ``drift_window`` and ``unloading_window`` are shares; ``segments`` are (kind, first, stop) in
    samples of the test; ``area`` is (value, standard uncertainty) in m^2 of the impression.
    Windows and areas belong to a (test, cycle); cycle ``None`` is every cycle of the test for a
    window, and the one with the largest force for an area.
    """

    zero: Mapping[str, float] = field(default_factory=dict)
    zero_time: Mapping[str, float] = field(default_factory=dict)
    drift_window: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    unloading_window: Mapping[tuple[str, int | None], tuple[float, float]] = field(
        default_factory=dict
    )
    segments: Mapping[str, Sequence[tuple[str, int, int]]] = field(default_factory=dict)
    area: Mapping[tuple[str, int | None], tuple[float, float]] = field(default_factory=dict)


NO_OVERRIDES = Overrides()


@dataclass(frozen=True)
class Reduced:
    """Everything that a reduction found, step by step.

    ``cycles`` has one row per unloading, ``tests`` one row per test (the unloading from its
    largest force); ``tests_rows`` are that row's indices in ``cycles``. ``readings``, ``fits``
    and ``locals`` belong to the rows of ``cycles``, ``events`` to the tests of the batch.
    ``dynamic`` has rows along loading where the records oscillate.
    """

    segments: Segments
    corrected: Corrected
    readings: Cycles
    fits: Unloading
    locals: Locals
    context: Context
    cycles: Reduction
    tests: Reduction
    tests_rows: NDArray[np.int64]
    faults: tuple[Fault, ...]
    events: Events
    dynamic: Dynamic | None = None


@dataclass(frozen=True)
class _Fitted:
    """Corrected records of a batch with their unloadings read and fitted."""

    corrected: Corrected
    readings: Cycles
    fits: Unloading
    tests_rows: NDArray[np.int64]


def seed_batch(
    batch: Batch,
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    *,
    nu_of: Mapping[str, str] | None = None,
    inputs: Joint | None = None,
) -> Seeds:
    """What the laws of first contact of the batch's specimens are found from.

    Parts of one study are seeded one by one, joined by
    :func:`~drypoint.reduction.zero_laws.join_seeds`, and reduced with the laws that
    :func:`~drypoint.reduction.zero_laws.find_laws` finds: so the laws do not depend on the parts.
    Parameters are those of :func:`reduce_batch`.
    """
    owners, inputs = _prepared(batch, bench, options, poisson, nu_of, inputs)
    segments = _segments(batch, options, NO_OVERRIDES)
    fitted = _fit(batch, segments, inputs, options, NO_OVERRIDES, None, bench)
    nu = {s: poisson[o] for s, o in owners.items()}
    return seeds_of(
        batch, bench, options, nu, fitted.corrected, fitted.readings, fitted.fits,
        fitted.tests_rows, inputs, fitted.corrected.approach,
    )  # fmt: skip


def _prepared(
    batch: Batch,
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    nu_of: Mapping[str, str] | None,
    inputs: Joint | None,
) -> tuple[dict[str, str], Joint]:
    """Whose Poisson's ratio each specimen has, and the systematic inputs."""
    shared = nu_of or {}
    owners = {t.specimen: shared.get(t.specimen, t.specimen) for t in batch.tests}
    missing = set(owners.values()) - set(poisson)
    if missing:
        raise ReductionError(
            f"Poisson's ratio of {', '.join(sorted(missing))} is not given.",
            remedy="Add nu and u_nu under [specimens.NAME].",
        )
    if inputs is None:
        of = {s: poisson[s] for s in sorted(set(owners.values()))}
        inputs = systematic_inputs(bench, options, of, owners)
    return owners, inputs


def _segments(batch: Batch, options: Options, overrides: Overrides) -> Segments:
    seen = batch
    if options.zero.base_line == "line":
        seen = replace(batch, force=level_roughly(batch.force, batch.depth, batch.offsets))
    return find_segments(
        seen,
        control=options.segments.control,
        tolerance=options.segments.tolerance,
        labels=dict(options.segments.labels),
        overrides=overrides.segments,
    )


def _fit(
    batch: Batch,
    segments: Segments,
    inputs: Joint,
    options: Options,
    overrides: Overrides,
    laws: Mapping[str, ContactLaw] | None,
    bench: Bench,
) -> _Fitted:
    """Correct the records, read their cycles, fit their unloadings."""
    index = {t.name: i for i, t in enumerate(batch.tests)}
    corrected = correct(
        batch,
        segments,
        inputs,
        options,
        zero_depth={index[k]: v for k, v in overrides.zero.items() if k in index},
        zero_time={index[k]: v for k, v in overrides.zero_time.items() if k in index},
        drift_windows=_windows(overrides.drift_window, index, len(batch)),
        laws=laws,
        tip=bench.tip,
    )
    readings = read_cycles(corrected, segments, options.analysis.hms_window)
    a = options.analysis
    linear = a.unloading == "linear"
    fit_window = np.tile(a.linear_window if linear else a.window, (len(readings.test), 1))
    for (name, cycle), pair in overrides.unloading_window.items():
        if name in index:
            fit_window[_rows_of(readings, index[name], cycle)] = pair
    fits = fit_unloading(
        corrected.force,
        corrected.depth,
        corrected.time,
        readings.start,
        readings.stop,
        readings.F_max,
        readings.h_max,
        fit_window,
        linear=linear,
        quiet=corrected.quiet_depth.of(readings.test),
    )
    return _Fitted(corrected, readings, fits, _largest(readings))


def reduce_batch(
    batch: Batch,
    bench: Bench,
    options: Options,
    poisson: Mapping[str, tuple[float, float]],
    *,
    nu_of: Mapping[str, str] | None = None,
    overrides: Overrides = NO_OVERRIDES,
    inputs: Joint | None = None,
    laws: Mapping[str, ContactLaw] | None = None,
) -> Reduced:
    """Reduce every test of a batch.

    Parameters
    ----------
    batch : Batch
        Raw records, SI.
    bench : Bench
        Tip and frame.
    options : Options
        All choices.
    poisson : mapping
        Specimen name -> (nu, standard uncertainty). Every specimen of the batch must be there.
    nu_of : mapping, optional
        Specimen -> the specimen whose Poisson's ratio it shares (one input for both).
    overrides : Overrides
    inputs : Joint, optional
        Joint distribution of the systematic inputs; by default made from bench and options.
    laws : mapping, optional
        Specimen -> its law of first contact, where zeros are found by a shared law; by default
        found from this batch.

    Returns
    -------
    Reduced

    Raises
    ------
    ReductionError
        When a specimen has no Poisson's ratio. A bad test never raises: it is among ``faults``.
    """
    owners, inputs = _prepared(batch, bench, options, poisson, nu_of, inputs)
    specimens = sorted(set(owners.values()))
    index = {t.name: i for i, t in enumerate(batch.tests)}
    segments = _segments(batch, options, overrides)
    if laws is None and by_law(options.zero):
        seeds = seed_batch(batch, bench, options, poisson, nu_of=nu_of, inputs=inputs)
        laws = find_laws(seeds, bench.tip, inputs, options.zero)
    fitted = _fit(batch, segments, inputs, options, overrides, laws, bench)
    corrected, readings, fits = fitted.corrected, fitted.readings, fitted.fits
    tests_rows, a = fitted.tests_rows, options.analysis
    area = np.full((len(readings.test), 2), np.nan)
    for (name, cycle), pair in overrides.area.items():
        if name in index:
            rows = _rows_of(readings, index[name], cycle)
            area[rows if cycle is not None else np.intersect1d(rows, tests_rows)] = pair
    local = local_inputs(corrected, readings, fits, area, a.depth_at_F_max)
    viscous = find_viscous(corrected, readings)
    u_C = np.sqrt(local.parts["fit"][:, LOCAL.index("C_t"), LOCAL.index("C_t")])
    share = share_of(viscous, local.values["C_t"], u_C, len(inputs.names))
    if a.viscous_correction:
        local = with_viscous(local, viscous)
    ctx = _context(batch, bench, options, corrected, readings, fits, local, specimens, owners,
                   area, viscous)  # fmt: skip
    values, by_local, by_theta = jacobians(local.values, inputs.as_dict(), ctx)
    events = find_events(corrected, segments, (batch.force, batch.depth), options.flags)
    cycles = assemble(bench, options, corrected, readings, fits, events, local, ctx, inputs,
                       values, by_local, by_theta, share)  # fmt: skip
    faults = find_faults(batch, corrected, readings, fits, tests_rows)
    bad = {f.test for f in faults}
    good = np.array([r for r in tests_rows if int(readings.test[r]) not in bad], dtype=np.int64)
    keep = np.array([i for i, t in enumerate(readings.test) if int(t) not in bad], dtype=np.int64)
    return Reduced(
        segments, corrected, readings, fits, local, ctx,
        take_rows(cycles, keep), take_rows(cycles, good), good, faults, events,
        reduce_dynamic(
            batch, bench, options, corrected, segments, readings, fits, ctx, inputs, keep
        ),
    )  # fmt: skip


def _windows(given: Mapping[str, tuple[float, float]], index: Mapping[str, int], n: int) -> Floats:
    out = np.full((n, 2), np.nan)
    for name, pair in given.items():
        if name in index:
            out[index[name]] = pair
    return out


def _rows_of(readings: Cycles, test: int, cycle: int | None) -> NDArray[np.int64]:
    return np.flatnonzero(
        (readings.test == test) & ((readings.cycle == cycle) if cycle is not None else True)
    )


def _largest(readings: Cycles) -> NDArray[np.int64]:
    """For each test the row with the largest force (the later one when equal)."""
    order = np.lexsort((np.arange(len(readings.test)), readings.F_max, readings.test))
    last = np.r_[np.diff(readings.test[order]) != 0, True] if len(order) else np.empty(0, bool)
    rows: NDArray[np.int64] = order[last]
    return rows


def _context(
    batch: Batch,
    bench: Bench,
    options: Options,
    corrected: Corrected,
    readings: Cycles,
    fits: Unloading,
    local: Locals,
    specimens: list[str],
    owners: Mapping[str, str],
    area: Floats,
    viscous: Viscous,
) -> Context:
    since = batch.time[corrected.zero.contact[readings.test]]

    def after(t: Floats) -> Floats:
        return np.where(np.isfinite(t - since), t - since, 0.0)

    nu_of_test = np.array(
        [specimens.index(owners[t.specimen]) for t in batch.tests], dtype=np.int64
    )
    psi = bench.tip.geometry.equivalent_half_angle
    return Context(
        tip=bench.tip,
        analysis=options.analysis,
        C_f=corrected.C_f,
        force_scale=corrected.force_scale,
        depth_scale=corrected.depth_scale,
        nu_names=tuple(f"nu.{s}" for s in specimens),
        nu_of_row=nu_of_test[readings.test],
        t_max=after(readings.t_max),
        t_p=after(np.where(local.h_p_read, readings.t_last, readings.t_max)),
        t_1=after(batch.time[readings.hold_start]),
        force_rate=fits.force_rate,
        moment_total=np.nan_to_num(readings.moment_total),
        moment_back=np.nan_to_num(readings.moment_back),
        t_slope_sqrt=np.nan_to_num(readings.t_slope_sqrt),
        m_per_C=np.nan_to_num(fits.m_per_C),
        C_per_C=np.where(np.isfinite(fits.C_per_C), fits.C_per_C, -1.0),
        creep_per_rate=np.nan_to_num(viscous.per_rate) * options.analysis.viscous_correction,
        seen=np.isfinite(area[:, 0]),
        half_angle=psi,
        zero_exponent=options.zero.exponent,
        zero_per_exponent=corrected.zero.per_exponent[readings.test],
        **_law_part(corrected, readings.test),
    )  # fmt: skip


def _law_part(corrected: Corrected, test: NDArray[np.int64]) -> dict[str, Any]:
    """What the rows of a context take from the laws of first contact."""
    own = corrected.zero.by_law
    if own is None:
        none = np.zeros(len(test))
        return {
            "zero_law_of_row": np.full(len(test), -1, dtype=np.int64),
            "zero_per_law": none,
            "zero_per_radius": none,
        }
    return {
        "zero_laws": own.names,
        "zero_law_of_row": own.of_test[test],
        "zero_per_law": own.per_law[test],
        "zero_per_radius": own.per_radius[test],
        "zero_radius": own.radius,
    }


__all__ = [
    "LOCAL",
    "NO_OVERRIDES",
    "Fault",
    "Overrides",
    "Reduced",
    "reduce_batch",
    "seed_batch",
    "take_rows",
]
