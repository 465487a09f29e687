"""Modulus of a film (and, where asked, thickness or substrate) from many tests together.

The data are ln E_eff* of each test against its contact radius. The sought numbers are found by
weighted least squares (moduli and thicknesses as logarithms); the weights are the tests' own
errors and what scatter they leave unexplained. What is given, the shared inputs of the bench and
the known numbers of the layers, goes through the fit by the implicit derivative of its minimum,
D = (J'WJ + P)^-1 J'W dr/dgiven, so that it is not shrunk by the number of tests [gum2008].
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from drypoint.contact.film_models import outside
from drypoint.films.forward import Forward, forward, model_of, pair_of
from drypoint.films.given import U_MODEL, FilmTests, Structure
from drypoint.films.grouped import by_group
from drypoint.films.least import STEP, Fit, fit
from drypoint.films.problems import FilmError
from drypoint.uncertainty.joint import Joint, join
from drypoint.uncertainty.propagation import coverage_factor, welch_satterthwaite

Floats = NDArray[np.float64]

#: A number whose 95 % interval reaches further than this factor either way is not identified.
IDENTIFIED = 2.0
#: How far from its start a modulus or thickness may go.
REACH = 1e3


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
        Everything that was given: shared inputs of the bench and known numbers of the layers.
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

    def correlation_with(self, name: str, given: str) -> float:
        """Correlation of a sought number with a given input, for example "film.t"."""
        i, j = self.names.index(name), self.inputs.index(given)
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
        tests; the input "model.elastic" of the result.

    Raises
    ------
    FilmError
        When there are fewer tests than free numbers or the model does not apply.
    """
    tests = tests.with_model_error(u_model)
    problem = _Problem(tests, structure, forward(structure, model, tests.depth))
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
    found = problem.fit()
    return _result(problem, found, model)


class _Problem:
    """Maps between the sought parameters (logarithms of what is positive) and all numbers."""

    def __init__(self, tests: FilmTests, structure: Structure, run: Forward) -> None:
        self.tests, self.structure, self.run = tests, structure, run
        pairs = list(structure.entries())
        self.values = np.array([e.value for _, e in pairs])
        self.where = np.array([i for i, (_, e) in enumerate(pairs) if e.sought])
        self.names = tuple(pairs[i][0] for i in self.where)
        self.entries = [pairs[i][1] for i in self.where]
        self.relative = np.array([not n.endswith(".nu") for n in self.names])
        self.log_a = np.log(tests.radius)

    def start(self) -> Floats:
        v = self.values[self.where]
        return np.where(self.relative, np.log(np.where(self.relative, v, 1.0)), v)

    def unfold(self, p: Floats) -> Floats:
        out = self.values.copy()
        out[self.where] = np.where(self.relative, np.exp(np.where(self.relative, p, 0.0)), p)
        return out

    def model(self, p: Floats) -> Floats:
        return self.run(self.unfold(p), self.log_a)

    def prior(self) -> tuple[Floats, Floats]:
        u = np.array(
            [e.u / e.value if r else e.u for e, r in zip(self.entries, self.relative, strict=True)]
        )
        return self.start(), u

    def bounds(self) -> tuple[Floats, Floats]:
        p, far = self.start(), np.log(REACH)
        return (
            np.where(self.relative, p - far, -0.4),
            np.where(self.relative, p + far, 0.4999),
        )

    def fit(self) -> Fit:
        start = self.start()
        t = self.tests
        # The shallowest tests see most of the top layer: a better start than a guess.
        if self.names[0] == f"{self.structure.layers[0].name}.E" and not np.isfinite(
            self.entries[0].u
        ):
            shallow = t.E_star[np.argsort(t.radius)[: max(1, len(t) // 5)]]
            start[0] = np.clip(np.log(np.median(shallow)), *(b[0] for b in self.bounds()))
        return fit(
            self.model, np.log(t.E_star), t.u_random / t.E_star, start, self.prior(), self.bounds()
        )

    def residual_slopes(self, p: Floats) -> tuple[Joint, Floats]:
        """Given inputs, and the derivative of the residuals with respect to them."""
        t = self.tests
        values = self.unfold(p)
        bend = (self.run(values, self.log_a + STEP) - self.run(values, self.log_a - STEP)) / (
            2 * STEP
        )
        bench = t.jac_E / t.E_star[:, None] - bend[:, None] * t.jac_radius / t.radius[:, None]
        layers = self.structure.known_inputs(t.inputs.names)
        for i, (_, e) in enumerate(self.structure.entries()):
            if not e.sought and e.shared in t.inputs.names:
                bench[:, t.inputs.index(e.shared)] -= self._slope(values, i)
        columns = [bench]
        for name in layers.names:
            i = self.structure.names.index(name)
            columns.append(-self._slope(values, i)[:, None])
        return join([t.inputs, layers]), np.concatenate(columns, axis=1)

    def _slope(self, values: Floats, i: int) -> Floats:
        ratio = self.structure.names[i].endswith(".nu")
        step = STEP if ratio else STEP * values[i]
        up, down = values.copy(), values.copy()
        up[i], down[i] = values[i] + step, values[i] - step
        if ratio:
            up[i] = min(up[i], 0.5)
        width = up[i] - down[i]
        return (self.run(up, self.log_a) - self.run(down, self.log_a)) / width


def _factor(u_random: float, u_systematic: float, dof: float, level: float = 0.95) -> float:
    """Coverage factor; the systematic part is taken as well known [gum2008]."""
    parts, nu = np.array([u_random**2, u_systematic**2]), np.array([dof, np.inf])
    return coverage_factor(max(welch_satterthwaite(parts, nu), 1.0), level)


def _result(problem: _Problem, found: Fit, model: str) -> FilmResult:
    inputs, slopes = problem.residual_slopes(found.p)
    cov, dof = _own_scatter(problem.tests, found)
    D = found.cov @ (found.jac.T * found.weight) @ slopes
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
    remarks = _remarks(problem, found, model, identified)
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
        information,
        (lo, hi),
        identified,
        remarks,
    )


def _own_scatter(tests: FilmTests, found: Fit) -> tuple[Floats, float]:
    """Random covariance and its degrees of freedom; wider where values of one test go together."""
    dof = max(found.dof, 1.0) if found.scatter > 0 else np.inf
    if tests.group is None or len(np.unique(tests.group)) == len(tests):
        return found.cov, dof
    pull = (found.residual * found.weight)[:, None] * found.jac @ found.cov
    seen = by_group(pull, tests.group)
    wider = np.sqrt(np.maximum(np.diag(seen.cov) / np.diag(found.cov), 1.0))
    if not np.any(wider > 1):
        return found.cov, dof
    return found.cov * np.outer(wider, wider), min(dof, seen.dof)


def _information(found: Fit) -> Floats:
    """Each test's share of the information on the first number, the others' part taken out."""
    root = np.sqrt(found.weight)
    column = root * found.jac[:, 0]
    others = root[:, None] * found.jac[:, 1:]
    if others.size:
        column = column - others @ np.linalg.lstsq(others, column, rcond=None)[0]
    total = float(column @ column)
    return column**2 / total if total > 0 else np.full(len(column), 1 / len(column))


def _middle(radius: Floats, share: Floats) -> tuple[float, float]:
    order = np.argsort(radius)
    running = np.cumsum(share[order])
    last = len(radius) - 1
    low, high = (min(int(np.searchsorted(running, x)), last) for x in (0.1, 0.9))
    return float(radius[order[low]]), float(radius[order[high]])


def words(name: str) -> str:
    """What a number of the structure is: ``film.E`` -> modulus of film."""
    layer, _, kind = name.rpartition(".")
    return f"{ {'E': 'modulus', 'nu': 'Poisson ratio', 't': 'thickness'}[kind] } of {layer}"


def _remarks(
    problem: _Problem, found: Fit, model: str, identified: tuple[bool, ...]
) -> tuple[str, ...]:
    x = problem.tests.radius / problem.structure.layers[0].t.value
    reach = (float(x.min()), float(x.max()))
    out = [
        f"The {words(name)} is not identifiable from these depths (a/t {reach[0]:.2g} to "
        f"{reach[1]:.2g}): test shallower or deeper, or state what is known."
        for name, good in zip(problem.names, identified, strict=True)
        if not good
    ]
    if not found.converged:
        out.append("The fit did not settle.")
    values = problem.unfold(found.p)
    if len(problem.structure.layers) == 1:
        pair = pair_of(problem.structure, values)
        out += outside(model_of(model), pair, problem.tests.radius, problem.tests.depth)
    beyond = float(np.sum((found.residual * problem.tests.E_star / problem.tests.u_random) ** 2))
    if found.dof >= 1 and chdtrc(found.dof, beyond) < 0.01:
        out.append(
            f"The tests scatter by {100 * found.scatter:.2g} % more than their uncertainties say; "
            "the random part holds it."
        )
    return tuple(out)
