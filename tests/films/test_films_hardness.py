"""Hardness against relative depth: plateaus found where they are, and only there."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from drypoint import films
from drypoint.contact import film_hardness as fh
from drypoint.uncertainty.joint import single

GPA = 1e9
B = np.geomspace(0.03, 3, 40)


def invented(
    H: np.ndarray, noise: float, seed: int = 1, beta: np.ndarray = B
) -> films.HardnessTests:
    z = np.random.default_rng(seed).standard_normal(len(H))
    seen = H * (1 + noise * z)
    return films.HardnessTests(
        beta, seen, noise * H, single("tip.scale", 1.0, 0.02), -seen[:, None]
    )


def test_a_plateau_is_found() -> None:
    """Flat to h/t = 0.2, then falling: the interval holds the flat part's hardness."""
    H = np.where(B < 0.2, 20.0, 20.0 - 12 * np.log(B / 0.2)) * GPA
    H = np.maximum(H, 4 * GPA)
    hits = 0
    for seed in range(20):
        p = films.plateau(invented(H, 0.02, seed))
        assert p is not None and p.beta[1] < 0.35
        low, high = p.interval()
        hits += low <= 20 * GPA <= high
        assert p.u_systematic == pytest.approx(np.hypot(0.02 * p.H, p.u_flat), rel=1e-6)
    assert hits >= 18


def test_a_slow_fall_is_no_certain_plateau() -> None:
    """Falls by 4 % over the depths that look flat: the surface's hardness stays in the interval."""
    H = (12 + 6 * np.exp(-B)) * GPA
    found = [films.plateau(invented(H, 0.015, seed)) for seed in range(25)]
    seen = [p.interval() for p in found if p is not None]
    assert sum(low <= 18 * GPA <= high for low, high in seen) >= 0.9 * len(seen)


def test_no_plateau_no_value() -> None:
    falling = 20 * GPA * B**-0.5
    assert films.plateau(invented(falling, 0.005)) is None
    # Too noisy to show that it is flat.
    assert films.plateau(invented(np.full(8, 5 * GPA), 0.3, beta=B[:8])) is None
    # Flat only where the substrate is measured.
    assert films.plateau(invented(np.where(B < 1, 20 * GPA * B**-0.5, 5 * GPA), 0.005)) is None


@pytest.mark.parametrize("k", [1.0, 8.0, 60.0])
def test_korsunsky_comes_back(k: float) -> None:
    H = fh.korsunsky(B, 20 * GPA, 5 * GPA, k)
    r = films.film_hardness(invented(H, 1e-6), films.known(5 * GPA, 0.2 * GPA))
    assert float(r.H) == pytest.approx(20 * GPA, rel=1e-4) and r.constant == pytest.approx(
        k, rel=1e-3
    )
    assert r.identified
    # An error of the substrate's hardness moves both film hardness and k.
    moved = films.film_hardness(invented(H, 1e-6), films.known(5.2 * GPA))
    exact = films.film_hardness(invented(H, 1e-6), films.known(5 * GPA))
    assert abs(moved.H - exact.H) < r.u_systematic * 1.5


@pytest.mark.parametrize("film", ["soft", "hard"])
def test_bhattacharya_nix_comes_back(film: str) -> None:
    if film == "soft":
        H = fh.bhattacharya_nix_soft(B, 1 * GPA, 8 * GPA, 0.1, 0.5)
    else:
        H = fh.bhattacharya_nix_hard(B, 20 * GPA, 5 * GPA, 3.0, 2.0)
    base, top = (8, 1) if film == "soft" else (5, 20)
    r = films.film_hardness(
        invented(H, 1e-6), films.known(base * GPA), f"bhattacharya-nix {film} film"
    )
    assert float(r.H) == pytest.approx(top * GPA, rel=1e-3)
    expected = 0.2 if film == "soft" else 4 / (3 * np.sqrt(2.0))
    assert r.constant == pytest.approx(expected, rel=1e-2)


def test_deep_tests_do_not_identify_the_film() -> None:
    H = fh.korsunsky(B[-12:], 20 * GPA, 5 * GPA, 60.0)
    r = films.film_hardness(invented(H, 0.03, beta=B[-12:]), films.known(5 * GPA, 0.2 * GPA))
    assert not r.identified


def test_words_on_stress_and_pile_up() -> None:
    H = np.full(40, 10 * GPA)
    plain = invented(H, 0.02)
    assert films.stress_remark(plain) == ""
    pressed = films.HardnessTests(
        plain.beta, plain.H, plain.u_random, residual_stress=films.known(-2 * GPA)
    )
    assert "compressive" in films.stress_remark(pressed)
    assert "raises" in films.stress_remark(pressed)


REFUSED: list[tuple[Callable[[], object], str]] = [
    (lambda: films.HardnessTests(B, B[:3], B), "differ in number"),
    (lambda: films.HardnessTests(B, -B, B), "not a positive number"),
    (lambda: films.film_hardness(invented(B, 0.1), films.known(1.0), "other"), "no hardness model"),
    (
        lambda: films.film_hardness(films.HardnessTests(B[:3], B[:3], B[:3]), films.known(1.0)),
        "four tests",
    ),
]


@pytest.mark.parametrize(("make", "words"), REFUSED, ids=[w for _, w in REFUSED])
def test_refusals(make: Callable[[], object], words: str) -> None:
    with pytest.raises(films.FilmError, match=words):
        make()
