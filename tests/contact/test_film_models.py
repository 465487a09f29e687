"""Film models against published and computed values. Marks as in test_contact_checks.py."""

from __future__ import annotations

import numpy as np
import pytest

from drypoint.contact import film_hardness as fh
from drypoint.contact import film_models as fm
from drypoint.errors import ContactError

GAO = "Gao, Chiu & Lee, Int. J. Solids Struct. 29 (1992) 2471"
X = np.array([0.1, 0.5, 1.0, 2.0, 5.0, 10.0])


def test_gao_weights() -> None:
    """Values of I_0 (nu 0.3) and I_1: formula M-hi, numbers C."""
    I_0 = [0.08291, 0.27741, 0.44936, 0.65447, 0.84844, 0.92309]
    I_1 = [0.21035, 0.55132, 0.72064, 0.84689, 0.93676, 0.96822]
    np.testing.assert_allclose(fm.weight_0(X, 0.3), I_0, atol=6e-6, err_msg=GAO)
    np.testing.assert_allclose(fm.weight_1(X), I_1, atol=6e-6, err_msg=GAO)


def test_gao_is_right_to_first_order() -> None:
    """Against the exact solution, with the mismatch alone in the shear modulus; C."""
    a = np.array([0.1, 0.5, 1.0, 3.0])
    for change in (1e-3, -1e-3):
        pair = fm.Pair(1 + change, 0.3, 1.0, 1.0, 0.3)
        gap = fm.gao_chiu_lee(pair, a) / fm.exact(pair, a) - 1
        assert np.max(np.abs(gap)) < 2e-6
        king = fm.doerner_nix_king(pair, a) / fm.exact(pair, a) - 1
        assert np.max(np.abs(king)) < 2e-6


# Largest deviations from the exact solution over a/t 0.05 to 5, nu 0.3 for both: an independent
# solution on a fixed mesh; C.
A = np.array([0.05, 0.1, 0.2, 0.5, 1, 2, 5])


@pytest.mark.parametrize(
    ("ratios", "model", "low", "high"),
    [
        ((0.5, 2.0), fm.gao_chiu_lee, 0.0, 0.115),
        ((5.0,), fm.gao_chiu_lee, 0.085, 0.615),
        ((0.5, 2.0, 5.0), fm.hay_crawford, -0.0235, 0.0235),
        ((10.0,), fm.hay_crawford, -0.05, 0.055),
        ((0.1,), fm.hay_crawford, -0.145, 0.0),
    ],
)
def test_deviations_of_gao_and_of_hay(
    ratios: tuple[float, ...], model: object, low: float, high: float
) -> None:
    gaps = []
    for ratio in ratios:
        pair = fm.Pair(ratio, 0.3, 1.0, 1.0, 0.3)
        gaps.append(model(pair, A) / fm.exact(pair, A) - 1)  # type: ignore[operator]
    assert low <= np.min(gaps) and np.max(gaps) <= high
    assert np.max(np.abs(gaps)) > 0.8 * max(abs(low), abs(high))


def test_king_alpha_lies_among_the_implied_ones() -> None:
    """Alpha that the exact solution implies at ratios 0.1 to 10, nu 0.3; C."""
    for a, low, high in ((0.05, 0.16, 0.18), (0.2, 0.36, 0.45), (1, 0.54, 0.87), (5, 0.56, 1.33)):
        assert low * 0.93 <= float(fm.king_alpha(a)) <= high * 1.07


@pytest.mark.parametrize("key", fm.MODELS)
def test_limits_and_domains(key: str) -> None:
    """Thick: the film; thin: the substrate; no mismatch: neither is seen."""
    model = fm.MODELS[key]
    pair = fm.Pair(150e9, 0.3, 1e-6, 100e9, 0.2)
    small, large = np.array([1e-11]), np.array([1e-3])
    found = model.effective(pair, small, small / 3)
    assert float(found[0]) == pytest.approx(float(pair.film_star), rel=1e-3)
    assert not fm.outside(model, pair, small, small / 3)
    if key != "saha-nix":
        deep = model.effective(pair, large, large / 3)
        assert float(deep[0]) == pytest.approx(float(pair.substrate_star), rel=2e-3)
    same = fm.Pair(100e9, 0.2, 1e-6, 100e9, 0.2)
    mid = model.effective(same, np.array([1e-6]), np.array([0.3e-6]))
    # The formula of Hay and Crawford keeps a little of F I_0 even without mismatch.
    most = 0.02 if key == "hay-crawford" else 1e-9
    assert float(mid[0]) == pytest.approx(float(same.film_star), rel=most)
    hard = fm.Pair(3000e9, 0.3, 1e-6, 100e9, 0.2)
    warned = fm.outside(model, hard, np.array([1e-4]), np.array([3e-5]))
    assert bool(warned) == (key != "exact")
    if model.needs_depth:
        assert any("gone through" in w for w in warned)
        with pytest.raises(ContactError, match="contact depth"):
            model.effective(pair, small)


def test_saha_nix_ends_at_the_interface() -> None:
    pair = fm.Pair(150e9, 0.3, 1e-6, 100e9, 0.2)
    out = fm.saha_nix(pair, np.array([1e-6, 1e-6]), np.array([0.9e-6, 1.1e-6]))
    assert np.isfinite(out[0]) and np.isnan(out[1])


def test_hay_crawford_backwards() -> None:
    a = np.array([0.05, 0.5, 2.0])
    for ratio in (0.2, 0.9, 7.0):
        pair = fm.Pair(ratio, 0.25, 1.0, 1.0, 0.2)
        back = fm.hay_crawford_film_modulus(fm.hay_crawford(pair, a), 0.25, 1.0, 1.0, 0.2, a)
        np.testing.assert_allclose(back, ratio, rtol=1e-9)


def test_hardness_forms() -> None:
    """Ends of each form, and its halfway depth by hand; C."""
    assert fh.korsunsky(0.0, 20.0, 5.0, 8.0) == 20.0
    assert fh.korsunsky(8**-0.5, 20.0, 5.0, 8.0) == pytest.approx(12.5)
    assert fh.bhattacharya_nix_soft(0.0, 1.0, 5.0, 0.1, 0.5) == 1.0
    half = np.sqrt(np.log(2) * 5.0)
    assert fh.bhattacharya_nix_soft(half, 1.0, 5.0, 0.1, 0.5) == pytest.approx(3.0)
    half = np.log(2) / 4 * 3.0 * np.sqrt(2.0)
    assert fh.bhattacharya_nix_hard(half, 20.0, 5.0, 3.0, 2.0) == pytest.approx(12.5)
    for form in (fh.bhattacharya_nix_soft, fh.bhattacharya_nix_hard):
        assert form(50.0, 20.0, 5.0, 3.0, 2.0) == pytest.approx(5.0)
