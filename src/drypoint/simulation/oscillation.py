"""The oscillation on an invented record: amplitudes and phase, and the means that are recorded.

The walk gives force and depth at the top of each swing: that is where the contact grows. From the
top the contact unloads and reloads along its own unloading curve, F (1 - 2 z_c / L)^m with
L = m F / S; the swing of the force F_s and of the contact z_c go with the recorded amplitude,
z_0 = z_c + C_f F_s. Everything is solved on true values; no formula of the reduction is used but
that of the oscillator itself.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from drypoint.contact.oscillation import response
from drypoint.records.segments import Kind
from drypoint.simulation.envelope import Envelope
from drypoint.simulation.path import Path
from drypoint.simulation.truth import Oscillation, Truth

Floats = NDArray[np.float64]

_ROUNDS = 60


@dataclass(frozen=True)
class Swing:
    """What the oscillation adds, each of shape (n_samples,): ``force`` and ``depth`` are taken off
    the top to give the means (N, m); channels as recorded (SI), NaN off the contact."""

    force: Floats
    depth: Floats
    channels: dict[str, Floats]


def swing(truth: Truth, o: Oscillation, path: Path, rng: np.random.Generator) -> Swing:
    """The oscillation of a record, on its loading legs (and nothing on the others)."""
    n = len(path.time)
    loading = (path.segment == Kind.LOADING) & (path.force > 0)
    nothing = np.full(n, np.nan)
    off_F, off_h = np.zeros(n), np.zeros(n)
    noise = rng.standard_normal((3, n))
    force, depth, phase = nothing.copy(), nothing.copy(), nothing.copy()
    at = np.flatnonzero(loading)
    if len(at):
        top = path.force[at]
        s = Envelope(truth, force=float(top.max())).at_force(top)
        F_s, z_c = _chord(top, s.S, s.m, truth.compliance, o.amplitude)
        S = F_s / z_c
        D_c = o.loss_factor * S / (2 * np.pi * o.frequency)
        ratio, lag = response(
            S, o.frequency, D_c=D_c, C_f=truth.compliance, K_s=o.support_spring,
            mass=o.moving_mass, D_i=o.damping,
        )  # fmt: skip
        off_F[at], off_h[at] = F_s, z_c
        force[at] = ratio * o.amplitude + o.force_noise * noise[0, at]
        depth[at] = o.amplitude + o.depth_noise * noise[1, at]
        phase[at] = lag + o.phase_noise * noise[2, at]
    frequency = np.where(loading, o.frequency, np.nan)
    return Swing(
        off_F, off_h,
        {"amplitude": depth, "force_amplitude": force, "frequency": frequency, "phase": phase},
    )  # fmt: skip


def _chord(F: Floats, S: Floats, m: Floats, C_f: float, amplitude: float) -> tuple[Floats, Floats]:
    """Swing of force and of contact for which z_c + C_f F_s is the amplitude, by bisection; the
    contact is never lifted by more than 49.9 % of its force (peak to peak 99.8 %)."""
    L = m * F / S

    def force_of(z: Floats) -> Floats:
        out: Floats = 0.5 * F * (1 - np.maximum(1 - 2 * z / L, 0.0) ** m)
        return out

    low: Floats = np.zeros(len(F))
    high = np.minimum(amplitude, 0.5 * L * (1 - 0.002 ** (1 / m)))
    for _ in range(_ROUNDS):
        z = 0.5 * (low + high)
        over = z + C_f * force_of(z) > amplitude
        low, high = np.where(over, low, z), np.where(over, z, high)
    return force_of(low), low
