"""Zeros by a shared law put into the records of a batch; and what the law is found from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from drypoint.records.batch import Batch
from drypoint.reduction import zero as zero_
from drypoint.reduction.base_line import BaseLine
from drypoint.reduction.first_contact import ENOUGH, LEAST, Windows, windows_of
from drypoint.reduction.options import ZeroOptions
from drypoint.reduction.zero_laws import (
    BLUNTED,
    ContactLaw,
    LawZeros,
    radius_of,
    reach_of,
    zeros_by_law,
)
from drypoint.tips.tip import Tip
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.noise import Quiet

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def contact_windows(
    force: Floats,
    depth: Floats,
    load_stop: Ints,
    zero: zero_.Zero,
    base: BaseLine | None,
    u_constant: Floats,
    reach: float,
) -> Windows:
    """First contact of every test of a batch, ``reach`` (m) deep."""
    u_base = u_constant.copy()
    if base is not None:
        at = np.where(zero.contact >= 0, depth[np.maximum(zero.contact, 0)], 0.0)
        far = np.where(base.found, at - base.at, 0.0)
        u_base = np.where(base.found, np.hypot(base.u_force, base.u_spring * far), u_base)
    contact: Ints = np.where(zero.how >= 0, zero.contact, -1)
    return windows_of(
        force, depth, contact, load_stop, zero.force, (zero.noise_force, zero.noise_depth),
        u_base, np.full(len(contact), reach),
    )  # fmt: skip


def put_zeros(
    zero: zero_.Zero,
    laws: Mapping[str, ContactLaw],
    batch: Batch,
    record: tuple[Floats, Floats, Ints],
    before: tuple[BaseLine | None, Ints],
    quiet: tuple[Quiet, Quiet],
    tip: Tip,
    inputs: Joint,
    options: ZeroOptions,
) -> zero_.Zero:
    """The zeros of a batch by the laws of its specimens.

    Parameters
    ----------
    zero : Zero
        A first look: contact, force before contact, noise.
    laws : mapping
        Specimen -> law.
    batch : Batch
    record : force, depth, load_stop
        N and m (drift taken off), shape (n_samples,); end of each loading.
    before : base line, samples of approach
    quiet : pair of Quiet
        For each test a hold that shows the colour of the noise, in force and in depth.
    tip, inputs, options
        As for the reduction.

    Returns
    -------
    Zero
        Tests with too few samples near contact keep the first sample above the noise, with how
        late it may be in its uncertainty.
    """
    force, depth, load_stop = record
    base, approach = before
    n = len(batch)
    u_constant = zero_.u_of_base(force, batch.offsets[:-1], approach, quiet[0])
    names = tuple(f"zero.law.{s}" for s in sorted(laws))
    specimens = [t.specimen for t in batch.tests]
    of_test = np.array([names.index(f"zero.law.{s}") for s in specimens], dtype=np.int64)
    out = {
        k: np.zeros(n) for k in ("per_law", "per_radius")
    }  # fmt: skip
    marks = {k: np.zeros(n, dtype=bool) for k in ("misfit", "few", "blunted")}
    value, u, how = zero.depth.copy(), zero.u_depth.copy(), zero.how.copy()
    samples = zero.samples.copy()
    wide, near = reach_of(tip, inputs, options)
    cut = {
        r: contact_windows(force, depth, load_stop, zero, base, u_constant, r)
        for r in sorted({wide, near})
    }
    for specimen in dict.fromkeys(specimens):
        law = laws[specimen]
        own = np.array([i for i, s in enumerate(specimens) if s == specimen], dtype=np.int64)
        windows = cut[wide if law.kind == BLUNTED else near].take(own)
        found = zeros_by_law(law, windows, quiet[1].of(own))
        contacted = zero.how[own] >= 0
        fitted = own[contacted & np.isfinite(found.depth) & np.isfinite(found.u_own)]
        _put(found, own, fitted, value, u, out, marks)
        how[fitted], samples[own] = zero_.FITTED, found.samples
        late = own[contacted & ~np.isin(own, fitted)]
        value[late], u[late] = _late(force, depth, zero, late, load_stop)
        how[late] = zero_.THRESHOLD
        marks["few"][own] = contacted & (found.samples < ENOUGH)
    R, u_R, _ = radius_of(tip, inputs) if np.any(marks["blunted"]) else (0.0, 0.0, 0.0)
    shared = zero_.ByLaw(
        names, of_test, out["per_law"], out["per_radius"],
        R, u_R * R, marks["misfit"], marks["few"], marks["blunted"],
    )  # fmt: skip
    return replace(
        zero, depth=value, u_depth=np.hypot(u, options.u_zero), how=how,
        per_exponent=np.zeros(n), samples=samples, by_law=shared,
    )  # fmt: skip


def _put(
    found: LawZeros, own: Ints, fitted: Ints, value: Floats, u: Floats,
    out: Mapping[str, Floats], marks: Mapping[str, NDArray[np.bool_]],
) -> None:  # fmt: skip
    """Zeros of one specimen into those of the batch."""
    at = np.searchsorted(own, fitted)
    value[fitted], u[fitted] = found.depth[at], found.u_own[at]
    for name in ("per_law", "per_radius"):
        out[name][fitted] = getattr(found, name)[at]
    for name in ("misfit", "blunted"):
        marks[name][fitted] = getattr(found, name)[at]


def _late(
    force: Floats, depth: Floats, zero: zero_.Zero, tests: Ints, stop: Ints
) -> tuple[Floats, Floats]:
    """First samples above the noise, and how uncertain they are as zeros: contact came at any
    depth between the sample before and what a sphere or cone would need for the force there."""
    value, u = np.empty(len(tests)), np.empty(len(tests))
    for k, t in enumerate(tests):
        c, last = int(zero.contact[t]), int(stop[t]) - 1
        value[k] = depth[c]
        step = abs(depth[min(c + 1, last)] - depth[max(c - 1, 0)]) / 2.0
        f = force[c : last + 1] - zero.force[t]
        # A point a quarter up the loading tells how stiff the contact is: h ~ F^(1/2) there.
        up = c + int(np.argmax(f >= 0.25 * f.max())) if len(f) else c
        share = np.sqrt(max(f[0], 0.0) / max(force[up] - zero.force[t], 1e-300))
        late = (depth[up] - depth[c]) * share / max(1.0 - share, 0.1)
        u[k] = np.sqrt(zero.noise_depth[t] ** 2 + step**2 / 3.0 + max(late, 0.0) ** 2 / 3.0)
    return value, u


__all__ = ["LEAST", "contact_windows", "put_zeros"]
