"""The oscillator: the published round trip, its limits, and the chord of a swing."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.contact.oscillation import (
    compliance_at_the_peak,
    contact_damping,
    dynamic_ratio,
    response,
    stiffness_in_frame,
)

S, C_F, K_S, MASS, D_I, HZ = 1e5, 1 / 5e6, 100.0, 1e-4, 2.0, 75.0


def test_round_trip_of_the_model() -> None:
    """Round trip of the model of Pethica & Oliver, MRS Symp. Proc. 130 (1989) 13, and Oliver &
    Pharr 1992: the numbers worked out from its formula by hand (C)."""
    ratio, lag = response(S, HZ, C_f=C_F, K_s=K_S, mass=MASS, D_i=D_I)
    assert ratio == pytest.approx(98121.5355, abs=1e-4)
    assert np.degrees(lag) == pytest.approx(0.550346, abs=1e-6)
    K = stiffness_in_frame(ratio * np.cos(lag), HZ, K_S, MASS)
    assert pytest.approx(S, rel=1e-12) == 1 / (1 / K - C_F)
    assert contact_damping(ratio * np.sin(lag), HZ, D_I) == pytest.approx(0.0, abs=1e-12)


def test_damping_of_the_contact_comes_back() -> None:
    ratio, lag = response(S, HZ, D_c=0.7, C_f=C_F, K_s=K_S, mass=MASS, D_i=D_I)
    assert contact_damping(ratio * np.sin(lag), HZ, D_I) == pytest.approx(0.7, rel=1e-12)


def test_limits() -> None:
    """Out of contact the oscillator is at resonance where w^2 = K_s / m; a stiff frame and no
    spring, mass or damper leave the contact alone."""
    resonance = np.sqrt(K_S / MASS) / (2 * np.pi)
    ratio, lag = response(1e-9, resonance, K_s=K_S, mass=MASS, D_i=D_I)
    assert ratio == pytest.approx(D_I * np.sqrt(K_S / MASS), rel=1e-9)
    assert lag == pytest.approx(np.pi / 2, rel=1e-9)
    ratio, lag = response(S, HZ)
    assert (float(ratio), float(lag)) == (pytest.approx(S, rel=1e-14), 0.0)


@pytest.mark.parametrize("m", [1.0, 1.25, 1.5, 2.0])
@pytest.mark.parametrize("share", [1e-5, 0.01, 0.1, 0.3, 0.49])
def test_tangent_at_the_top_of_a_power_law(m: float, share: float) -> None:
    """A power law made here, its chord taken, its tangent known."""
    F, L = 1e-3, 40e-9
    tangent = L / (m * F)
    swing = share * F
    chord = L * -np.expm1(np.log1p(-2 * share) / m) / (2 * swing)
    assert compliance_at_the_peak(chord, F, swing, m) == pytest.approx(tangent, rel=1e-7)


def test_a_swing_that_lifts_the_tip_has_no_tangent() -> None:
    assert np.isnan(compliance_at_the_peak(1e-5, 1e-3, 0.5e-3, 1.5))
    assert np.isnan(dynamic_ratio(1e-6, 0.0))
