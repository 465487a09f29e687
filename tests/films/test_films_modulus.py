"""Film modulus: truth found again, intervals that cover, what cannot be known said.

The tests are invented with the exact solution and stated noise; the exact solution itself is held
against outside values in tests/contact/test_layered_checks.py.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from drypoint import films
from drypoint.contact import layered as ly
from drypoint.films.emulator import Emulator
from drypoint.films.forward import exact_log
from drypoint.films.least import fit
from drypoint.films.posed import _root
from drypoint.uncertainty.joint import Joint, single

GPA, UM = 1e9, 1e-6


def invented_on(
    E_f: float, E_s: float, a: np.ndarray, rng: np.random.Generator | None = None,
    noise: float = 0.02, bench: float = 0.0, nu: tuple[float, float] = (0.25, 0.2), t: float = UM,
) -> films.FilmTests:  # fmt: skip
    """Tests on one film; ``bench`` is the relative uncertainty of the area scale."""
    true = ly.effective_modulus(ly.film(E_f, nu[0], t, E_s, nu[1]), a)
    scale = 1 + (bench * rng.standard_normal() if rng is not None else 0.0)
    z = rng.standard_normal(len(a)) if rng is not None else np.zeros(len(a))
    seen, radius = true * (1 + noise * z) / np.sqrt(scale), a * np.sqrt(scale)
    inputs = single("tip.scale", 1.0, bench)
    return films.FilmTests(
        radius, seen, noise * seen, radius / 2.8, inputs, -seen[:, None] / 2, radius[:, None] / 2
    )


def structure(
    E_s: float, t: films.Entry, E_f: films.Entry | None = None, u: float = 0.0
) -> films.Structure:
    return films.one_film(
        E_f or films.sought(100 * GPA), films.known(0.25, u), t, films.known(E_s, u / 5 * E_s),
        films.known(0.2, u),
    )  # fmt: skip


A = np.geomspace(0.1 * UM, 3 * UM, 25)


@pytest.mark.parametrize("E_f", [2, 20, 150, 900])
@pytest.mark.parametrize("E_s", [70, 400])
def test_the_truth_comes_back(E_f: float, E_s: float) -> None:
    """Without noise, to 1e-5, from a start of 100 GPa; thickness too where both are sought."""
    tests = invented_on(E_f * GPA, E_s * GPA, A)
    alone = films.infer(tests, structure(E_s * GPA, films.known(UM)))
    assert alone.of("film.E")[0] == pytest.approx(E_f * GPA, rel=1e-5)
    if not 0.6 < E_f / E_s < 1.6:
        both = films.infer(tests, structure(E_s * GPA, films.sought(0.8 * UM)))
        assert both.best[0] == pytest.approx(E_f * GPA, rel=1e-3)
        assert both.best[1] == pytest.approx(UM, rel=1e-3)


def test_intervals_cover() -> None:
    """95 % intervals hold the truth in 95 % of benches: all that is given is drawn as stated.

    36 benches; 31 or more is what a coverage of 95 % gives with probability 0.99.
    """
    hits = 0
    for seed in range(36):
        rng = np.random.default_rng(seed)
        E_f, nu_f, t = 200 * GPA, 0.25 + 0.02 * rng.standard_normal(), UM
        E_s = 72 * GPA * (1 + 0.004 * rng.standard_normal())
        nu_s = 0.2 + 0.02 * rng.standard_normal()
        stated = t * (1 + 0.03 * rng.standard_normal())
        tests = invented_on(E_f, E_s, A[::3], rng, 0.03, 0.02, (nu_f, nu_s), t)
        r = films.infer(
            tests, structure(72 * GPA, films.known(stated, 0.03 * t), u=0.02), u_model=0
        )
        low, high = r.interval("film.E")
        hits += low <= E_f <= high
    assert hits >= 31


def test_systematic_parts_do_not_shrink_with_tests() -> None:
    few = invented_on(200 * GPA, 70 * GPA, A[::3], bench=0.03)
    many = invented_on(200 * GPA, 70 * GPA, np.repeat(A[::3], 9), bench=0.03)
    s = structure(70 * GPA, films.known(UM, 0.02 * UM))
    one, two = films.infer(few, s), films.infer(many, s)
    assert set(two.inputs.names) >= {"tip.scale", "film.t", "model.elastic", "model.elastic.1"}
    assert two.u_systematic[0] == pytest.approx(one.u_systematic[0], rel=0.1)
    assert two.u_random[0] == pytest.approx(one.u_random[0] / 3, rel=0.35)  # weights differ
    without = films.infer(many, s, u_model=0)
    assert set(without.inputs.names) == {"tip.scale", "film.t"}
    added = np.sqrt(two.u_systematic[0] ** 2 - without.u_systematic[0] ** 2) / two.best[0]
    assert 0.02 < added < 0.1  # 3 % of E_eff*, more of the film, which is only part of it


def test_what_is_known_better_never_makes_it_worse() -> None:
    """Least squares with the covariance of all data is the best there is [aitken1936]; so the
    uncertainty falls with every number that is known better, and a prior is never left."""
    tests = invented_on(200 * GPA, 70 * GPA, A, bench=0.02)

    def u(t: films.Entry, u_substrate: float) -> float:
        s = films.one_film(
            films.sought(100 * GPA), films.known(0.25), t,
            films.known(70 * GPA, u_substrate * 70 * GPA), films.known(0.2),
        )  # fmt: skip
        return float(films.infer(tests, s).u[0])

    by_thickness = [u(films.known(UM, x * UM), 0.01) for x in (0.0, 0.02, 0.1, 0.3)]
    assert np.all(np.diff(by_thickness) > 0)
    by_substrate = [u(films.known(UM), x) for x in (0.0, 0.01, 0.05, 0.3)]
    assert np.all(np.diff(by_substrate) > 0)
    for before in (0.02, 0.1):
        r = films.infer(tests, structure(70 * GPA, films.sought(UM, before * UM)))
        value, random, systematic = r.of("film.t")
        assert np.hypot(random, systematic) <= before * UM * (1 + 1e-6)
        assert value == pytest.approx(UM, abs=2e-3 * UM)
        known = films.infer(tests, structure(70 * GPA, films.known(UM, before * UM)))
        assert r.of("film.E")[0] == pytest.approx(known.of("film.E")[0], rel=2e-3)
        assert r.u[0] == pytest.approx(known.u[0], rel=0.02)


def test_the_whole_covariance_is_weighed() -> None:
    """The fit's combined uncertainty is that of generalised least squares, written out."""
    tests = invented_on(200 * GPA, 70 * GPA, A[::3], bench=0.02)
    s = structure(70 * GPA, films.known(UM, 0.03 * UM), u=0.02)
    r = films.infer(tests, s)
    seen = tests.with_model_error(films.given.U_MODEL, UM)
    run = films.forward.forward(s, "exact", None)
    values = np.array([e.value for _, e in s.entries()])
    values[0] = r.best[0]
    log_a, step = np.log(tests.radius), 1e-4

    def by(i: int) -> np.ndarray:
        up, down = values.copy(), values.copy()
        up[i] *= 1 + step
        down[i] *= 1 - step
        return (run(up, log_a) - run(down, log_a)) / (2 * step)

    bend = (run(values, log_a + step) - run(values, log_a - step)) / (2 * step)
    bench = seen.jac_E / seen.E_star[:, None]
    bench -= bend[:, None] * seen.jac_radius / seen.radius[:, None]
    C = np.diag((seen.u_random / seen.E_star) ** 2) + bench @ seen.inputs.cov @ bench.T
    for i, (name, e) in enumerate(s.entries()):
        if name != "film.E" and e.u > 0:
            column = by(i) * e.u / e.value
            C += np.outer(column, column)
    J = by(0)
    assert r.u[0] / r.best[0] == pytest.approx((J @ np.linalg.solve(C, J)) ** -0.5, rel=1e-3)


def test_what_is_shared_does_not_depend_on_units() -> None:
    """The columns of a covariance in Pa, m and m/N side by side multiply to it, as do those of the
    same inputs in units of their own size; a certain input has no column."""
    rng = np.random.default_rng(5)
    mixed = rng.standard_normal((6, 4))  # of rank 4
    sd = np.array([5e9, 3e-9, 2e-10, 0.02, 4e-17, 0.0])
    own = mixed / np.linalg.norm(mixed, axis=1)[:, None]
    correlation = own @ own.T
    root = _root(correlation * np.outer(sd, sd))
    scaled = root / np.where(sd > 0, sd, 1.0)[:, None]
    assert scaled[:5] @ scaled[:5].T == pytest.approx(correlation[:5, :5], abs=1e-7)
    assert not root[5].any()


def test_sensitivities_are_derivatives() -> None:
    """Each given number moved by hand: the fit moves as its sensitivity says."""
    tests = invented_on(200 * GPA, 70 * GPA, A, bench=0.03)
    base = structure(70 * GPA, films.known(UM, 0.02 * UM), u=0.02)
    r = films.infer(tests, base)
    for name, step in (("film.t", 1e-3 * UM), ("substrate.E", 1e-3 * 70 * GPA), ("film.nu", 1e-3)):
        moved = {
            n: films.known(e.value + step * (n == name), e.u)
            for n, e in base.entries()
            if not e.sought
        }
        other = films.one_film(
            films.sought(100 * GPA), moved["film.nu"], moved["film.t"], moved["substrate.E"],
            moved["substrate.nu"],
        )  # fmt: skip
        change = films.infer(tests, other).best[0] - r.best[0]
        assert change == pytest.approx(r.sensitivity[0, r.inputs.index(name)] * step, rel=0.02), (
            name
        )
    one_depth = invented_on(200 * GPA, 70 * GPA, np.linspace(0.8, 1.2, 9) * UM)
    alone = films.infer(one_depth, structure(70 * GPA, films.known(UM, 0.1 * UM)), u_model=0)
    assert -1 <= alone.correlation_with("film.E", "film.t") < -0.5  # thicker: less to explain


def test_information_comes_from_where_the_film_is_felt() -> None:
    r = films.infer(invented_on(20 * GPA, 170 * GPA, A), structure(170 * GPA, films.known(UM)))
    assert r.information.sum() == pytest.approx(1.0)
    assert r.informative[1] < A.max()
    assert r.information[np.argmin(A)] > r.information[np.argmax(A)]


def test_what_deep_tests_cannot_tell_is_said() -> None:
    deep = invented_on(200 * GPA, 70 * GPA, np.geomspace(80 * UM, 200 * UM, 10))
    r = films.infer(deep, structure(70 * GPA, films.known(UM)))
    assert np.isnan(r.value[0]) and not r.identified[0]
    assert "not identifiable from these depths" in r.remarks[0]
    low, high = r.interval("film.E")
    assert high > 2 * low
    near = films.infer(
        invented_on(70 * GPA, 72 * GPA, A), structure(72 * GPA, films.sought(0.7 * UM))
    )
    assert near.identified == (True, False)  # no contrast: the thickness leaves no trace


def test_a_prior_helps_and_is_kept_where_data_say_nothing() -> None:
    deep = invented_on(200 * GPA, 70 * GPA, np.geomspace(300 * UM, 900 * UM, 10))
    prior = structure(70 * GPA, films.known(UM), films.sought(180 * GPA, 18 * GPA))
    r = films.infer(deep, prior)
    assert r.identified[0]
    assert r.of("film.E")[0] == pytest.approx(180 * GPA, rel=0.1)
    assert r.u[0] == pytest.approx(18 * GPA, rel=0.15)
    assert r.sensitivity[0, r.inputs.index("film.E before")] == pytest.approx(1.0, abs=0.1)


def test_scatter_is_found_and_said() -> None:
    rng = np.random.default_rng(3)
    tests = invented_on(200 * GPA, 70 * GPA, A, rng, noise=0.05)
    calm = films.FilmTests(tests.radius, tests.E_star, tests.u_random / 10, tests.depth)
    r = films.infer(calm, structure(70 * GPA, films.known(UM)))
    honest = films.infer(tests, structure(70 * GPA, films.known(UM)))
    assert any("scatter" in x for x in r.remarks)
    assert r.scatter == pytest.approx(0.05, rel=0.4)
    assert r.u_random[0] == pytest.approx(honest.u_random[0], rel=0.4)


def test_several_layers() -> None:
    """A known interlayer is taken along; the top layer's modulus and the lower one's are found."""
    stack = ly.Stack(
        (ly.Layer(300 * GPA, 0.2, UM), ly.Layer(120 * GPA, 0.3, 0.5 * UM)),
        ly.Medium(210 * GPA, 0.3),
    )
    E = ly.effective_modulus(stack, A)
    two = films.Structure(
        (
            films.FilmLayer("top", films.sought(200 * GPA), films.known(0.2), films.known(UM)),
            films.FilmLayer(
                "bond", films.sought(150 * GPA), films.known(0.3), films.known(0.5 * UM)
            ),
        ),
        films.Substrate(films.known(210 * GPA), films.known(0.3)),
    )
    r = films.infer(films.FilmTests(A, E, 0.005 * E), two)
    np.testing.assert_allclose(r.best, [300 * GPA, 120 * GPA], rtol=1e-3)
    with pytest.raises(films.FilmError, match="one bonded film only"):
        films.infer(films.FilmTests(A, E, 0.005 * E), two, "hay-crawford")


def test_all_models_and_their_spread() -> None:
    tests = invented_on(110 * GPA, 72 * GPA, A)
    s = structure(72 * GPA, films.known(UM, 0.02 * UM))
    c = films.compare(tests, s)
    assert {"exact", "hay-crawford", "gao-chiu-lee", "doerner-nix-king"} <= set(c.within)
    assert c.spread[0] < 110 * GPA < c.spread[1]
    assert c.u_model == pytest.approx((c.spread[1] - c.spread[0]) / np.sqrt(12))
    assert c.extrapolated is not None
    assert float(c.extrapolated.E) == pytest.approx(110 * GPA, rel=0.1)
    stiff = films.compare(invented_on(900 * GPA, 72 * GPA, A), s)
    assert stiff.within == ("exact",)
    assert all(stiff.results[k].remarks for k in stiff.results if k != "exact")
    bare = films.FilmTests(tests.radius, tests.E_star, tests.u_random)
    assert "doerner-nix" in films.compare(bare, s).skipped


def test_extrapolation_is_a_line() -> None:
    """By hand: data on a line give its intercept; a parabola is called curved."""
    x = np.linspace(0.1, 1.4, 14)
    s = structure(170 * GPA, films.known(UM))
    line = films.FilmTests(x * UM, (60 + 20 * x) * GPA, np.full(14, 0.5 * GPA))
    r = films.extrapolate(line, s)
    assert float(r.E_star) == pytest.approx(60 * GPA, rel=1e-9) and not r.curved
    assert float(r.E) == pytest.approx(60 * GPA * (1 - 0.25**2), rel=1e-9)
    bent = films.FilmTests(x * UM, (60 + 20 * x**2) * GPA, np.full(14, 0.5 * GPA))
    assert films.extrapolate(bent, s).curved
    with pytest.raises(films.FilmError, match="needs 5"):
        films.extrapolate(films.FilmTests(x * 9 * UM, line.E_star, line.u_random), s)


def test_sampling_agrees_with_the_fit() -> None:
    """One sought number, all else exact: the posterior is the fit's interval; repeatable."""
    pytest.importorskip("emcee")
    rng = np.random.default_rng(5)
    tests = invented_on(200 * GPA, 70 * GPA, A, rng, bench=0.01)
    s = structure(70 * GPA, films.known(UM))
    short, again = (
        films.sample(tests, s, u_model=0, steps=6, walkers=12, seed=2) for _ in range(2)
    )
    assert np.array_equal(short.draws, again.draws)
    assert not short.settled  # too short for its own length to be judged
    one = films.sample(tests, s, u_model=0, steps=140, walkers=12, seed=2)
    mid, low, high = one.interval("film.E")
    r = films.infer(tests, s, u_model=0)
    assert mid == pytest.approx(r.best[0], rel=0.02)
    assert (high - low) == pytest.approx(
        r.interval("film.E")[1] - r.interval("film.E")[0], rel=0.25
    )


def test_sampling_agrees_where_much_is_uncertain() -> None:
    """Layers and model uncertain, thickness sought with a prior: the same answer both ways."""
    pytest.importorskip("emcee")
    tests = invented_on(200 * GPA, 70 * GPA, A[::2], np.random.default_rng(6), bench=0.01)
    s = structure(70 * GPA, films.sought(1.02 * UM, 0.05 * UM), u=0.02)
    drawn = films.sample(tests, s, steps=500, walkers=16, seed=3)
    r = films.infer(tests, s)
    assert drawn.settled
    for name in ("film.E", "film.t"):
        mid, low, high = drawn.interval(name)
        value, random, systematic = r.of(name)
        u = float(np.hypot(random, systematic))
        assert mid == pytest.approx(value, abs=0.3 * u)
        assert (high - low) / 3.92 == pytest.approx(u, rel=0.2)


def test_a_thickness_is_found_from_afar() -> None:
    """A start ten times off either way, nothing known before."""
    tests = invented_on(200 * GPA, 70 * GPA, A)
    for start in (0.1 * UM, 10 * UM):
        r = films.infer(tests, structure(70 * GPA, films.sought(start)))
        assert r.best == pytest.approx([200 * GPA, UM], rel=0.01)


def test_a_wrong_unit_of_the_start_does_no_harm_or_is_said() -> None:
    tests = invented_on(200 * GPA, 70 * GPA, A)
    r = films.infer(tests, structure(70 * GPA, films.known(UM), films.sought(200.0)))
    assert r.best[0] == pytest.approx(200 * GPA, rel=1e-3)
    wrong = films.one_film(
        films.known(200 * GPA), films.known(0.25), films.known(UM), films.sought(70.0),
        films.known(0.2),
    )  # fmt: skip
    assert "ended at its bound" in films.infer(tests, wrong).remarks[0]


@pytest.mark.parametrize(("E_s", "t"), [(700, 1.0), (30, 1.0), (70, 30.0)])
def test_wrong_layers_are_noticed(E_s: float, t: float) -> None:
    """Substrate or thickness far from the truth: residuals run along the contact radius."""
    tests = invented_on(200 * GPA, 70 * GPA, A, np.random.default_rng(8))
    right = films.infer(tests, structure(70 * GPA, films.known(UM)))
    assert right.fits
    wrong = films.infer(tests, structure(E_s * GPA, films.known(t * UM)))
    assert not wrong.fits
    assert any("do not describe these tests" in x for x in wrong.remarks)
    assert films.compare(tests, structure(E_s * GPA, films.known(t * UM))).within == ()


def test_sampling_does_not_count_one_test_twice() -> None:
    """Each value eight times over, as one test's: the interval stays about as wide as without.

    Taken as so many tests it would shrink by sqrt(8) = 2.8.
    """
    pytest.importorskip("emcee")
    rng = np.random.default_rng(5)
    single = invented_on(200 * GPA, 70 * GPA, A, rng, bench=0.0)
    group = np.repeat(np.arange(len(single)), 8)
    many = films.FilmTests(
        single.radius[group], single.E_star[group], single.u_random[group], group=group
    )
    s = structure(70 * GPA, films.known(UM))
    widths = []
    for tests in (single, many):
        _, low, high = films.sample(tests, s, u_model=0, steps=140, walkers=12, seed=2).interval(
            "film.E"
        )
        widths.append(high - low)
    assert 0.6 < widths[1] / widths[0] < 1.5


def test_interpolation_and_emulator_meet_the_exact_values() -> None:
    stack = ly.film(300.0, 0.3, 1.0, 70.0, 0.2)
    log_a = np.linspace(-3, 3, 60)
    direct = np.log(ly.effective_modulus(stack, np.exp(log_a)))
    np.testing.assert_allclose(exact_log(stack, log_a), direct, atol=1e-5)
    quick = Emulator((0.5, 2.0), (-1.0, 1.0), (0.28, 0.22), False)
    values = np.array([300.0, 0.3, 1.0, 70.0, 0.2])
    near = np.linspace(-0.9, 0.9, 7)
    assert quick.covers(values, near) and not quick.covers(values, log_a)
    np.testing.assert_allclose(
        quick(values, near), np.log(ly.effective_modulus(stack, np.exp(near))), atol=2e-4
    )


def test_least_squares_against_a_line() -> None:
    """A straight line has a closed answer; scatter from a known spread (C)."""
    x = np.linspace(0, 1, 50)
    r = np.where(np.arange(50) % 2, 0.1, -0.1)
    wide = (np.full(2, -9.0), np.full(2, 9.0))
    found = fit(
        lambda p: p[0] + p[1] * x, 1 + 2 * x + r, np.full(50, 0.01), np.zeros(2),
        (np.zeros(2), np.full(2, np.inf)), wide,
    )  # fmt: skip
    best = np.polyfit(x, 1 + 2 * x + r, 1)
    np.testing.assert_allclose(found.p, best[::-1], atol=1e-6)
    assert np.hypot(found.scatter, 0.01) == pytest.approx(0.1 * np.sqrt(50 / 48), rel=0.02)


def test_stiffness_to_modulus() -> None:
    """Round trip through E_r with a diamond: 1141 GPa, 0.07 (Oliver & Pharr 1992; M-hi)."""
    E_star, area = 74.143 * GPA, 1e-12
    E_r = 69.640 * GPA  # fused silica, C in the list of check values
    S = 2 * E_r * np.sqrt(area / np.pi)
    t = films.tests_from_stiffness(S, area, 0.01 * S, (1141 * GPA, 0.07))
    assert t.E_star[0] == pytest.approx(E_star, rel=1e-4)
    assert t.u_random[0] / t.E_star[0] == pytest.approx(0.01 * E_star / E_r, rel=1e-3)
    assert t.radius[0] == pytest.approx(np.sqrt(area / np.pi))


def _plain(n: int = 4, E: float = 1e11) -> films.FilmTests:
    return films.FilmTests(np.full(n, UM), np.full(n, E), np.full(n, 1e9))


def _joint() -> Joint:
    return single("tip.scale", 1.0, 0.1)


REFUSED: list[tuple[Callable[[], object], str]] = [
    (lambda: films.known(np.nan), "no statement"),
    (lambda: films.known(1.0, -1.0), "no statement"),
    (lambda: films.known(1.0, np.inf), "finite uncertainty"),
    (lambda: structure(7e10, films.known(UM), films.known(1e11)), "Nothing is sought"),
    (lambda: films.Structure((), films.Substrate(films.known(1), films.known(0.2))), "no layer"),
    (lambda: _plain(0), "there are none"),
    (lambda: _plain().with_model_error(-0.1, UM), "no relative uncertainty"),
    (lambda: _plain(E=-1.0), "not a positive number"),
    (lambda: films.FilmTests(A, A, A, None, _joint(), np.ones((3, 1))), "sensitivities"),
    (lambda: films.infer(_plain(), structure(7e10, films.known(UM)), "no such"), "no film model"),
    (lambda: films.infer(_plain(), structure(7e10, films.known(UM)), "saha-nix"), "contact depths"),
    (lambda: films.infer(_plain(1), structure(7e10, films.sought(UM))), "2 numbers are sought"),
    (
        lambda: films.tests_from_stiffness(1e9, 1e-12, 1.0, (1141 * GPA, 0.07)),
        "above the indenter's own",
    ),
    (lambda: films.tests_from_stiffness(-1.0, 1e-12, 1.0, (1141 * GPA, 0.07)), "not positive"),
]


@pytest.mark.parametrize(("make", "words"), REFUSED, ids=[w for _, w in REFUSED])
def test_refusals(make: Callable[[], object], words: str) -> None:
    with pytest.raises(films.FilmError, match=words):
        make()


def test_a_tip_through_the_film_is_refused_by_the_model_that_cannot_have_it() -> None:
    tests = films.FilmTests(A, np.full(25, 1e11), np.full(25, 1e9), np.full(25, 2 * UM))
    with pytest.raises(films.FilmError, match="gone through"):
        films.infer(tests, structure(7e10, films.known(UM)), "saha-nix")
