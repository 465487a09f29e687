"""Modulus of a film (and, where asked, thickness or substrate) from many tests together.

The data are ln E_eff* of each test against its contact radius. The sought numbers are found by
generalised least squares (moduli and thicknesses as logarithms): each test's own error and what
scatter it leaves unexplained, and what all tests share (the inputs of the bench, the known numbers
of the layers, the elastic model's own error) as one covariance [aitken1936]. So a number that is
known better never makes the result worse, what is shared is not shrunk by the number of tests
[gum2008], and what was known before of a sought number is kept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from drypoint.films.forward import forward, model_of
from drypoint.films.given import MODEL, U_MODEL, FilmTests, Structure
from drypoint.films.grouped import by_group
from drypoint.films.least import Fit
from drypoint.films.posed import Posed
from drypoint.films.problems import FilmError
from drypoint.films.words import remarks_on
from drypoint.uncertainty.joint import Joint, join, single
from drypoint.uncertainty.propagation import coverage_factor, welch_satterthwaite

Floats = NDArray[np.float64]

#: A number whose 95 % interval reaches further than this factor either way is not identified.
IDENTIFIED = 2.0
#: A course of the residuals below this (relative) is let pass.
UNSEEN = 0.02
#: Probability below which a misfit is no chance.
UNLIKELY = 1e-3


@dataclass(frozen=True)
class FilmResult:
    """Found numbers, in SI, with random and systematic parts apart.

    Parameters
    ----------
    model : str
        Key of the model.
    names : tuple of str
        What was sought, for example ("film.E", "film.t").
    best, value : array, shape (m,)
        Minimum of the fit; the same, or NaN where the tests do not identify the number.
    u_random, u_systematic : array, shape (m,)
        Standard uncertainties (of a logarithm, times the value).
    correlation : array, shape (m, m)
        Of the sought numbers, random and systematic together.
    inputs : Joint
        Everything that was given: shared inputs of the bench, the elastic model's error, known
        numbers of the layers, and what was known before of sought ones ("film.t before").
    sensitivity : array, shape (m, k)
        Derivative of each sought number with respect to ``inputs``.
    relative : array of bool, shape (m,)
        Whether the interval is lognormal.
    dof : float
        Of the random part: of the fit where scatter beyond the stated uncertainties was found from
        it, one less than the tests where values of one test go together more than they say,
        infinite where the stated uncertainties stand.
    scatter : float
        Relative scatter from test to test beyond the stated uncertainties.
    fitted, residual : array, shape (n,)
        E_eff* of the model at each test (Pa), and ln of measured over fitted.
    fits : bool
        Whether layers as stated and model describe the tests: no trend of the residuals along the
        contact radius beyond what is uncertain anyhow.
    information : array, shape (n,)
        Share of each test in what is known of the first sought number; adds up to 1.
    informative : (float, float)
        Contact radii (m) between which the middle 80 % of that information lies.
    identified : tuple of bool
    remarks : tuple of str
        Plain sentences: what is not identified, what lies outside a model's domain.
    """

    model: str
    names: tuple[str, ...]
    best: Floats
    value: Floats
    u_random: Floats
    u_systematic: Floats
    correlation: Floats
    inputs: Joint
    sensitivity: Floats
    relative: NDArray[np.bool_]
    dof: float
    scatter: float
    fitted: Floats
    residual: Floats
    fits: bool
    information: Floats
    informative: tuple[float, float]
    identified: tuple[bool, ...]
    remarks: tuple[str, ...]

    @property
    def u(self) -> Floats:
        """Combined standard uncertainties."""
        return np.hypot(self.u_random, self.u_systematic)

    def of(self, name: str) -> tuple[float, float, float]:
        """Value, random and systematic standard uncertainty of one sought number."""
        i = self.names.index(name)
        return float(self.value[i]), float(self.u_random[i]), float(self.u_systematic[i])

    def interval(self, name: str, level: float = 0.95) -> tuple[float, float]:
        """Coverage interval; of moduli and thicknesses lognormal. Wide where not identified."""
        i = self.names.index(name)
        k = _factor(self.u_random[i], self.u_systematic[i], self.dof, level)
        v, u = self.best[i], self.u[i]
        if self.relative[i]:
            with np.errstate(over="ignore"):
                return float(v * np.exp(-k * u / v)), float(v * np.exp(k * u / v))
        return float(v - k * u), float(v + k * u)

    def given(self, name: str) -> tuple[Joint, Floats]:
        """What was given, and the derivative of one sought number with respect to it, with the
        course of the elastic model's error (independent parts, equal uncertainty) as one input."""
        row = self.sensitivity[self.names.index(name)]
        course = np.array([n.startswith(MODEL) for n in self.inputs.names])
        if not np.any(course):
            return self.inputs, row
        others = [n for n, one in zip(self.inputs.names, course, strict=True) if not one]
        first = self.inputs.names[int(np.argmax(course))]
        model = replace(self.inputs.pick([first]), names=(MODEL,))
        size = float(np.sqrt(np.sum(row[course] ** 2)))
        return join([self.inputs.pick(others), model]), np.append(row[~course], size)

    def correlation_with(self, name: str, given: str) -> float:
        """Correlation of a sought number with a given input, for example "film.t"."""
        i = self.names.index(name)
        if given == MODEL and MODEL in self.inputs.names:  # level and course together
            inputs, row = self.given(name)
            return float(row[-1] * inputs.sd[-1] / self.u[i]) if self.u[i] > 0 else 0.0
        j = self.inputs.index(given)
        part = self.sensitivity[i] @ self.inputs.cov[:, j]
        size = self.u[i] * self.inputs.sd[j]
        return float(part / size) if size > 0 else 0.0


def infer(
    tests: FilmTests, structure: Structure, model: str = "exact", *, u_model: float = U_MODEL
) -> FilmResult:
    """Find what is sought in a structure from tests.

    Parameters
    ----------
    tests : FilmTests
    structure : Structure
        At least one number sought. Uncertain thickness: ``known(t, u)`` carries its uncertainty,
        ``sought(t, u)`` lets the tests improve on it.
    model : str
        A key of :data:`drypoint.contact.film_models.MODELS`.
    u_model : float
        Relative standard uncertainty of E_eff* as the elastic solution gives it, shared by all
        tests; the inputs "model.elastic" of the result.

    Raises
    ------
    FilmError
        When there are fewer tests than free numbers or the model does not apply.
    """
    t = structure.layers[0].t.value
    problem, found = _fitted(tests.with_model_error(u_model, t), structure, model)
    for _ in range(3):  # the model's error goes with a/t, by the thickness that is found
        at = float(problem.unfold(found.p)[2])
        if not structure.layers[0].t.sought or abs(np.log(at / t)) < 0.02:
            break
        t = at
        near = None if found.at_bound else found.p
        problem, found = _fitted(tests.with_model_error(u_model, t), structure, model, near)
    return _result(problem, found, model)


def _fitted(
    tests: FilmTests, structure: Structure, model: str, near: Floats | None = None
) -> tuple[Posed, Fit]:
    problem = Posed(tests, structure, forward(structure, model, tests.depth))
    lost = int(np.sum(~np.isfinite(problem.model(problem.start()))))
    if lost:
        raise FilmError(
            f"{model_of(model).title} has no value for {lost} of the tests: the tip has gone "
            "through the film.",
            remedy="Leave these tests out, or use the exact model.",
        )
    free = sum(1 for e in problem.entries if not np.isfinite(e.u))
    if len(tests) < free:
        raise FilmError(
            f"{free} numbers are sought without a prior from {len(tests)} tests.",
            remedy="Test at more depths, or state what is known.",
        )
    return problem, problem.fit(near)


def _factor(u_random: float, u_systematic: float, dof: float, level: float = 0.95) -> float:
    """Coverage factor; the systematic part is taken as well known [gum2008]."""
    parts, nu = np.array([u_random**2, u_systematic**2]), np.array([dof, np.inf])
    return coverage_factor(max(welch_satterthwaite(parts, nu), 1.0), level)


def _given(problem: Posed, found: Fit) -> tuple[Joint, Floats]:
    """All that was given, and the derivative of the sought parameters with respect to it."""
    inputs, slopes = problem.residual_slopes(found.p)
    before = [
        (single(f"{n} before", e.value, e.u, "known before the tests"), found.cov[:, j] * pull / r)
        for j, (n, e, pull) in enumerate(
            zip(problem.names, problem.entries, found.pull, strict=True)
        )
        for r in [e.value if problem.relative[j] else 1.0]
        if pull > 0
    ]
    columns = [found.gain @ slopes, *(c[:, None] for _, c in before)]
    return join([inputs, *(x for x, _ in before)]), np.concatenate(columns, axis=1)


def _result(problem: Posed, found: Fit, model: str) -> FilmResult:
    inputs, D = _given(problem, found)
    cov, dof = _own_scatter(problem.tests, found)
    systematic = D @ inputs.cov @ D.T
    total = cov + systematic
    best = problem.unfold(found.p)[problem.where]
    scale = np.where(problem.relative, best, 1.0)
    sd = np.sqrt(np.diag(total))
    random = np.sqrt(np.diag(cov))
    shared = np.sqrt(np.clip(np.diag(systematic), 0.0, None))
    k = np.array([_factor(r, s, dof) for r, s in zip(random, shared, strict=True)])
    wide = np.where(problem.relative, k * sd > np.log(IDENTIFIED), k * sd > 0.2)
    identified = tuple(bool(not w) and found.converged and not found.at_bound for w in wide)
    information = _information(found)
    lo, hi = _middle(problem.tests.radius, information)
    fits = _fits(problem.tests, found)
    remarks = remarks_on(problem, found, model, identified, fits)
    return FilmResult(
        model,
        problem.names,
        best,
        np.where(identified, best, np.nan),
        scale * random,
        scale * shared,
        total / np.outer(sd, sd),
        inputs,
        D * scale[:, None],
        problem.relative,
        dof,
        found.scatter,
        np.exp(problem.model(found.p)),
        found.residual,
        fits,
        information,
        (lo, hi),
        identified,
        remarks,
    )


def _own_scatter(tests: FilmTests, found: Fit) -> tuple[Floats, float]:
    """Random covariance and its degrees of freedom; wider where values of one test go together."""
    dof = max(found.dof, 1.0) if found.scatter > 0 else np.inf
    random = found.random
    if tests.group is None or len(np.unique(tests.group)) == len(tests):
        return random, dof
    seen = by_group(found.gain.T * found.own[:, None], tests.group)
    base = np.maximum(np.diag(random), 1e-300)
    wider = np.sqrt(np.maximum(np.diag(seen.cov) / base, 1.0))
    if not np.any(wider > 1):
        return random, dof
    return random * np.outer(wider, wider), min(dof, seen.dof)


def _fits(tests: FilmTests, found: Fit) -> bool:
    """Nothing asked of what is shared that is unlikely, and no smooth course of what is left.

    What is shared (bench, layers, model) may explain a course of the residuals, but not by amounts
    that its uncertainties make all but impossible. To the rest Legendre polynomials up to the third
    are fitted with the weights of the fit; their sum of squares is held against chi-squared, and a
    course below 2 % is let pass.
    """
    if chdtrc(max(found.told, 1.0), found.strain) < UNLIKELY:
        return False
    if len(tests) < 8:
        return True
    x = np.log(tests.radius)
    x = 2 * (x - x.min()) / max(float(np.ptp(x)), 1e-12) - 1
    base = np.polynomial.legendre.legvander(x, 3) * np.sqrt(found.weight)[:, None]
    q, _ = np.linalg.qr(base)
    own = q.T @ (found.own * np.sqrt(found.weight))
    course = q @ own / np.sqrt(found.weight)
    return bool(chdtrc(4, float(own @ own)) > UNLIKELY or np.sqrt(np.mean(course**2)) < UNSEEN)


def _information(found: Fit) -> Floats:
    """Each test's share in the first number: how much of it would follow if the film there were
    another, gain times derivative; what only corrects others counts as nothing."""
    share = np.maximum(found.gain[0] * found.jac[:, 0], 0.0)
    total = float(np.sum(share))
    return share / total if total > 0 else np.full(len(share), 1 / len(share))


def _middle(radius: Floats, share: Floats) -> tuple[float, float]:
    order = np.argsort(radius)
    running = np.cumsum(share[order])
    last = len(radius) - 1
    low, high = (min(int(np.searchsorted(running, x)), last) for x in (0.1, 0.9))
    return float(radius[order[low]]), float(radius[order[high]])
