"""A contact under a small oscillation: amplitude and phase from stiffness, and back.

The indenter of mass m_i hangs on springs of stiffness K_s in parallel with the contact (S in
series with the frame's compliance C_f), everything damped by D_i and D_c. With w = 2 pi f, force
amplitude F_0 and depth amplitude z_0 [pethica1989] [oliver1992] [li2002]:

    K     = 1 / (1/S + C_f),
    F_0 / z_0 = sqrt((K + K_s - m_i w^2)^2 + (w D)^2),    D = D_i + D_c,
    tan phi   = w D / (K + K_s - m_i w^2).

All functions broadcast; those that go back accept complex numbers (complex-step derivatives
[squire1998]).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[Any]


def response(
    S: ArrayLike,
    frequency: ArrayLike,
    *,
    D_c: ArrayLike = 0.0,
    C_f: ArrayLike = 0.0,
    K_s: ArrayLike = 0.0,
    mass: ArrayLike = 0.0,
    D_i: ArrayLike = 0.0,
) -> tuple[Array, Array]:
    """Amplitude ratio F_0/z_0 (N/m) and phase lag of the depth (rad) by the model above.

    ``S`` in N/m, ``frequency`` in Hz, ``C_f`` in m/N, ``K_s`` in N/m, ``mass`` in kg, ``D_i`` and
    ``D_c`` in N s/m.
    """
    w = 2 * np.pi * np.asarray(frequency)
    K = 1 / (1 / np.asarray(S) + np.asarray(C_f))
    real = K + np.asarray(K_s) - np.asarray(mass) * w * w
    imaginary = w * (np.asarray(D_i) + np.asarray(D_c))
    return np.hypot(real, imaginary), np.arctan2(imaginary, real)


def stiffness_in_frame(
    in_phase: ArrayLike, frequency: ArrayLike, K_s: ArrayLike = 0.0, mass: ArrayLike = 0.0
) -> Array:
    """Stiffness of contact and frame in series, K = (F_0/z_0) cos phi - (K_s - m_i w^2), N/m.

    ``in_phase`` is (F_0/z_0) cos phi in N/m.
    """
    w = 2 * np.pi * np.asarray(frequency)
    return np.asarray(np.asarray(in_phase) - (np.asarray(K_s) - np.asarray(mass) * w * w))


def contact_damping(out_of_phase: ArrayLike, frequency: ArrayLike, D_i: ArrayLike = 0.0) -> Array:
    """Damping of the contact, D_c = (F_0/z_0) sin phi / w - D_i, N s/m.

    ``out_of_phase`` is (F_0/z_0) sin phi in N/m.
    """
    w = 2 * np.pi * np.asarray(frequency)
    return np.asarray(np.asarray(out_of_phase) / w - np.asarray(D_i))


def compliance_at_the_peak(
    mean_compliance: ArrayLike, F_peak: ArrayLike, F_swing: ArrayLike, m: ArrayLike
) -> Array:
    """Contact compliance at the top of the swing from that over the whole swing, m/N.

    In each swing the contact unloads along F = F_peak ((x - x_f) / L)^m from F_peak to
    F_peak - 2 F_swing, so that the mean compliance C over the swing (twice its depth over twice
    its force) and that of the tangent at the top, L / (m F_peak), hang together by

        2 F_swing C = L (1 - (1 - 2 F_swing / F_peak)^(1/m)).

    This is the power law of [oliver1992], taken as a chord as in [pharr2009]. The limit of a small
    swing is C itself. NaN where the swing takes the whole force or more.
    """
    F, f, n = np.asarray(F_peak), np.asarray(F_swing), np.asarray(m)
    x = 2 * f / F
    fits = (x.real >= 0) & (x.real < 1) & (F.real > 0)
    x = np.where(fits, x, 0.5)
    small = x.real < 1e-4
    y = np.where(small, 0.5, x)
    # x / (m (1 - (1 - x)^(1/m))) = 1 - (m - 1) / (2 m) x + O(x^2)
    ratio = np.where(small, 1 - (n - 1) / (2 * n) * x, y / (n * (1 - (1 - y) ** (1 / n))))
    return np.where(fits, np.asarray(mean_compliance) * ratio, np.nan)


def dynamic_ratio(force_amplitude: ArrayLike, depth_amplitude: ArrayLike) -> Array:
    """F_0/z_0 in N/m; NaN where the depth amplitude is not above zero."""
    f, z = np.asarray(force_amplitude), np.asarray(depth_amplitude)
    return np.where(z > 0, f / np.where(z > 0, z, 1.0), np.nan)
