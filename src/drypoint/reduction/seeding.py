"""What the laws of first contact are found from: a first look at every record of a batch."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from drypoint.contact import unloading as un
from drypoint.records.batch import Batch
from drypoint.reduction.correct import Corrected
from drypoint.reduction.cycles import Cycles
from drypoint.reduction.law_zeros import contact_windows
from drypoint.reduction.options import Options
from drypoint.reduction.rule import SCALE
from drypoint.reduction.unloading import Unloading
from drypoint.reduction.zero import u_of_base
from drypoint.reduction.zero_laws import Seeds, reach_of
from drypoint.tips import area as areas
from drypoint.tips.tip import Bench
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def seeds_of(
    batch: Batch,
    bench: Bench,
    options: Options,
    nu_of: Mapping[str, tuple[float, float]],
    corrected: Corrected,
    readings: Cycles,
    fits: Unloading,
    rows: Ints,
    inputs: Joint,
    approach: Ints,
) -> Seeds:
    """First contacts, contact moduli and hardnesses of a batch.

    Parameters
    ----------
    nu_of : mapping
        Specimen of the batch -> (nu, standard uncertainty).
    corrected : Corrected
        With the zero of the first look.
    rows : array of int
        The row of ``readings`` that stands for its test.
    inputs : Joint
    approach : array, shape (n_tests,)
        Samples of approach.

    Returns
    -------
    Seeds
        In the order of the batch; NaN moduli where an unloading could not be fitted.
    """
    n = len(batch)
    modulus, u_modulus, hardness = (np.full(n, np.nan) for _ in range(3))
    test = readings.test[rows]
    E, u, H = _moduli(bench, options, readings, fits, rows, inputs)
    good = (fits.status[rows] == 0) & np.isfinite(E) & np.isfinite(H) & (E > 0) & (H > 0)
    modulus[test[good]], u_modulus[test[good]], hardness[test[good]] = E[good], u[good], H[good]
    nu = np.array([nu_of[t.specimen] for t in batch.tests], dtype=np.float64).reshape(n, 2)
    zero = corrected.zero
    force = corrected.force + np.repeat(zero.force, np.diff(batch.offsets))
    quiet = corrected.quiet_force
    u_constant = u_of_base(force, batch.offsets[:-1], approach, quiet)
    wide, near = reach_of(bench.tip, inputs, options.zero)
    cut = {
        r: contact_windows(
            force, corrected.depth, corrected.first_load[1], zero, corrected.base_line,
            u_constant, r,
        )
        for r in {wide, near}
    }  # fmt: skip
    return Seeds(
        tuple(t.specimen for t in batch.tests), modulus, u_modulus, hardness,
        nu[:, 0].copy(), nu[:, 1].copy(), cut[wide], cut[near],
    )  # fmt: skip


def _moduli(
    bench: Bench, options: Options, readings: Cycles, fits: Unloading, rows: Ints, inputs: Joint
) -> tuple[Floats, Floats, Floats]:
    """Contact modulus (Pa), its relative uncertainty and hardness (Pa) of some unloadings."""
    a, theta = options.analysis, inputs.as_dict()
    with np.errstate(all="ignore"):
        C_t = fits.L[rows] / (fits.m[rows] * fits.A[rows])
        S, m = 1.0 / C_t, np.maximum(fits.m[rows], 1.0)
        eps = un.epsilon(m) if a.epsilon is None else np.full(len(rows), a.epsilon)
        h_c = readings.h_max[rows] - eps * readings.F_max[rows] * C_t
        A = np.asarray(areas.area(bench.tip, theta, h_c) * theta.get(SCALE, 1.0))
        E = np.asarray(un.reduced_modulus(S, A, theta["beta"]))
        u_S = np.sqrt(np.clip(fits.cov[rows][:, 0, 0], 0, None)) / fits.A[rows]
        slopes = np.zeros((len(rows), len(inputs.names)))
        for j, name in enumerate(inputs.names):
            if name.startswith("tip.") and name in bench.tip.area.parameters.names:
                size = 1e-30 * max(abs(theta[name]), 1e-30)
                up = areas.area(bench.tip, {**theta, name: theta[name] + 1j * size}, h_c)
                slopes[:, j] = np.imag(up) / size / A
        u_A = np.sqrt(np.clip(np.einsum("ij,jk,ik->i", slopes, inputs.cov, slopes), 0, None))
        return E, np.hypot(np.nan_to_num(u_S), 0.5 * np.nan_to_num(u_A)), readings.F_max[rows] / A


__all__ = ["seeds_of"]
