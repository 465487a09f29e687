"""From raw records to film modulus: records invented on a film, reduced, and handed on.

Each record is a simulated test on a solid whose modulus is the exact effective one at the contact
radius that its force and hardness give.
"""

from __future__ import annotations

import numpy as np
import pytest

from drypoint import films
from drypoint.contact import layered as ly
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import Reduced, reduce_batch
from drypoint.simulation import Creep, Law, Noise, Truth, simulate_batch, single
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame

E_F, NU_F, T, E_S, NU_S, H = 250e9, 0.25, 500e-9, 80e9, 0.2, 10e9


@pytest.fixture(scope="module")
def reduction() -> Reduced:
    tip = blunted_tip(Geometry("modified Berkovich", radius=80e-9), name="B1")
    forces = np.geomspace(1.5e-3, 60e-3, 10)
    E_eff = ly.effective_modulus(ly.film(E_F, NU_F, T, E_S, NU_S), np.sqrt(forces / (np.pi * H)))
    truths = [
        Truth(
            tip=tip, E=Law.constant(float(E * (1 - NU_F**2))), H=Law.constant(H), nu=NU_F,
            name=f"T{i:02d}", specimen="film", m=1.3, creep=Creep(0.004),
            noise=Noise(force_white=0.3e-6, depth_white=0.15e-9),
        )
        for i, E in enumerate(E_eff)
    ]  # fmt: skip
    batch = simulate_batch(truths, [single(float(f), shape=2.0) for f in forces], 3)
    return reduce_batch(batch, Bench(tip, Frame()), Options(), {"film": (NU_F, 0.02)})


def test_records_to_film_modulus(reduction: Reduced) -> None:
    tests = films.film_tests(reduction.tests)
    assert len(tests) == 10
    structure = films.one_film(
        films.sought(100e9), films.known(NU_F), films.known(T, 0.01 * T), films.known(E_S),
        films.known(NU_S),
    )  # fmt: skip
    found = films.infer(tests, structure, u_model=0)
    low, high = found.interval("film.E")
    assert low <= E_F <= high
    assert float(found.value[0]) == pytest.approx(E_F, rel=0.04)
    assert {"film.t", "beta"} <= set(found.inputs.names)


def test_what_is_handed_on(reduction: Reduced) -> None:
    """The specimen's Poisson's ratio cancels in E_star; radius and modulus scale with the area."""
    table = reduction.tests
    tests = films.film_tests(table)
    np.testing.assert_allclose(np.pi * tests.radius**2, table["A_p"].value)
    for j, name in enumerate(tests.inputs.names):
        if name.startswith("nu.") or name == "nu.film":
            assert np.max(np.abs(tests.jac_E[:, j])) < 1e-3 * tests.E_star.max()
    A = table["A_p"]
    np.testing.assert_allclose(
        tests.jac_radius, A.sensitivity * (tests.radius / (2 * A.value))[:, None]
    )
    hard = films.hardness_tests(table, films.known(T), residual_stress=films.known(1e9))
    np.testing.assert_allclose(hard.beta, table["h_c"].value / T)
    flat = films.plateau(hard, deepest=2.0)
    assert flat is not None
    low, high = flat.interval()
    assert low <= H <= high
    with pytest.raises(films.FilmError, match="No test has"):
        films.film_tests(table, np.empty(0, dtype=np.int64))
