"""Hardness of a film against relative depth h/t: the plateau, and the models' film hardness.

The film's own hardness is what is measured where neither the substrate nor the tip's end counts:
a stretch of depths over which hardness stands still. Where there is none, the models of
:mod:`drypoint.contact.film_hardness` extrapolate; each is a fitted form, so their spread is shown.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from drypoint.contact import film_hardness as fh
from drypoint.films.given import Entry
from drypoint.films.grouped import by_group
from drypoint.films.least import fit
from drypoint.films.problems import FilmError
from drypoint.films.words import short
from drypoint.uncertainty.joint import Joint, join
from drypoint.uncertainty.propagation import coverage_factor

Floats = NDArray[np.float64]

FEWEST = 5
#: A plateau spans at least this factor in depth; the trend over it is known to this part of H.
SPAN, FLAT = 1.3, 0.1


@dataclass(frozen=True)
class HardnessTests:
    """Hardness by relative depth; arrays of shape (n,), SI.

    Parameters
    ----------
    beta : array
        Contact (or largest) depth over film thickness.
    H, u_random : array
        Hardness and its standard uncertainty from the test alone, Pa.
    inputs : Joint
        Shared systematic inputs.
    jac : array, shape (n, k)
        Derivative of H with respect to ``inputs``.
    residual_stress : Entry or None
        Stress in the film as declared by the user, Pa, tension positive.
    group : array of int or None
        Which values come from one test; see :class:`~drypoint.films.given.FilmTests`.
    """

    beta: Floats
    H: Floats
    u_random: Floats
    inputs: Joint = field(default_factory=lambda: join([]))
    jac: Floats = field(default_factory=lambda: np.empty((0, 0)))
    residual_stress: Entry | None = None
    group: NDArray[np.int64] | None = None

    def __post_init__(self) -> None:
        n, k = len(self.beta), len(self.inputs.names)
        if self.jac.size == 0:
            object.__setattr__(self, "jac", np.zeros((n, k)))
        arrays = (self.beta, self.H, self.u_random)
        if any(x.shape != (n,) for x in arrays) or self.jac.shape != (n, k) or n == 0:
            raise FilmError("Depths, hardnesses and uncertainties differ in number, or are none.")
        if not all(np.all(np.isfinite(x) & (x > 0)) for x in arrays):
            raise FilmError(
                "A depth, hardness or uncertainty is not a positive number.",
                remedy="Leave out tests whose hardness was withheld.",
            )


@dataclass(frozen=True)
class Plateau:
    """A stretch of depths over which hardness stands still.

    Parameters
    ----------
    beta : (float, float)
        Its ends as relative depths.
    H, u_random, u_systematic : float
        Weighted mean, Pa, and its standard uncertainties; the random one widened where the tests
        scatter more than they say, the systematic one with ``u_flat``.
    u_flat : float
        Standard uncertainty of taking the stretch as flat, Pa: anywhere up to what the largest
        trend that the tests allow would add between its middle and the surface [gum2008].
    dof : float
    tests : array of bool, shape (n,)
    trend, u_trend : float
        Change of H over the stretch, Pa, by a straight line.
    """

    beta: tuple[float, float]
    H: float
    u_random: float
    u_systematic: float
    u_flat: float
    dof: float
    tests: NDArray[np.bool_]
    trend: float
    u_trend: float

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Coverage interval of the film's hardness, Pa."""
        k = coverage_factor(self.dof, level) * float(np.hypot(self.u_random, self.u_systematic))
        return self.H - k, self.H + k


def plateau(tests: HardnessTests, deepest: float = 1.0) -> Plateau | None:
    """The longest stretch (in ln h) with no trend, at relative depths up to ``deepest``.

    A stretch counts when it holds five values or more over a factor of 1.3 in depth, its trend is
    below its own standard uncertainty, and that is known (95 %) to 10 % of the hardness, so that
    flatness is shown and not merely unrefuted. Of equal ones the shallower. None where no stretch
    counts. (With the trend allowed up to its 95 % bound the longest stretch would always be one
    that ends just short of it.)
    """
    order = np.argsort(tests.beta, kind="stable")
    order = order[tests.beta[order] <= deepest]
    x, y, s = tests.beta[order], tests.H[order], tests.u_random[order]
    n = len(x)
    k = np.array([coverage_factor(max(m - 2, 1)) for m in range(n + 1)])
    sums = _Sums(x, y, s)
    best: tuple[float, int, int, float, float] | None = None
    for i in range(n - FEWEST + 1):
        j = np.arange(i + FEWEST, n + 1)
        length = np.log(x[j - 1] / x[i])
        change, u, mean = sums.trend(i, j)
        flat = (np.abs(change) <= u) & (k[j - i] * u <= FLAT * mean)
        flat &= length >= max(np.log(SPAN), -np.inf if best is None else np.nextafter(best[0], 9))
        if np.any(flat):
            m = int(np.flatnonzero(flat)[-1])  # the longest from here
            best = (float(length[m]), i, int(j[m]), float(change[m]), float(u[m]))
    if best is None:
        return None
    _, first, last, change_there, u_there = best
    return _mean(tests, order[first:last], change_there, u_there)


class _Sums:
    """Weighted straight lines through any stretch of values, by running sums."""

    def __init__(self, x: Floats, y: Floats, s: Floats) -> None:
        w = 1 / s**2
        self.x, self.level = x, float(np.average(y, weights=w))
        a, b = x - np.average(x, weights=w), y - self.level
        parts = np.stack([w, w * a, w * b, w * a * a, w * a * b, w * b * b])
        self.sums = np.concatenate([np.zeros((6, 1)), np.cumsum(parts, axis=1)], axis=1)

    def trend(self, i: int, j: NDArray[np.int64]) -> tuple[Floats, Floats, Floats]:
        """Change over x[i:j], its standard uncertainty (wider where they scatter), the mean."""
        w, wa, wb, waa, wab, wbb = self.sums[:, j] - self.sums[:, [i]]
        spread = np.maximum(waa - wa * wa / w, 1e-300)
        slope = (wab - wa * wb / w) / spread
        rest = np.maximum(wbb - wb * wb / w - slope * slope * spread, 0.0) / (j - i - 2)
        width = self.x[j - 1] - self.x[i]
        return (
            slope * width,
            width * np.sqrt(np.maximum(1.0, rest) / spread),
            self.level + wb / w,
        )


def _mean(tests: HardnessTests, rows: NDArray[np.int64], trend: float, u: float) -> Plateau:
    y, w = tests.H[rows], 1 / tests.u_random[rows] ** 2
    w = w / w.sum()
    mean = float(w @ y)
    dof = float(len(rows) - 1)
    widen = max(1.0, float(np.sum(((y - mean) / tests.u_random[rows]) ** 2)) / dof)
    random = float(np.sqrt(widen * np.sum((w * tests.u_random[rows]) ** 2)))
    if tests.group is not None:
        sure = by_group((w * (y - mean))[:, None], tests.group[rows])
        random, dof = max(random, float(np.sqrt(sure.cov[0, 0]))), min(dof, sure.dof)
    jac = w @ tests.jac[rows]
    used = np.zeros(len(tests.beta), dtype=bool)
    used[rows] = True
    beta = tests.beta[rows]
    steepest = (abs(trend) + coverage_factor(len(rows) - 2) * u) / float(np.ptp(beta))
    flat = steepest * float(w @ beta) / float(np.sqrt(3.0))
    shared = float(np.sqrt(max(jac @ tests.inputs.cov @ jac, 0.0))) if jac.size else 0.0
    return Plateau(
        (float(tests.beta[rows].min()), float(tests.beta[rows].max())),
        mean,
        random,
        float(np.hypot(shared, flat)),
        flat,
        dof,
        used,
        trend,
        u,
    )


@dataclass(frozen=True)
class FilmHardness:
    """Film hardness by one model: value and uncertainties in Pa, and the model's constant.

    ``constant`` is k of Korsunsky's form, or the product of ratios in the exponent of Bhattacharya
    and Nix. ``identified`` is false where the 95 % interval is wider than a factor of two.
    """

    model: str
    H: float
    u_random: float
    u_systematic: float
    constant: float
    u_constant: float
    residual: Floats
    identified: bool


def _korsunsky(b: Floats, f: float, s: float, c: float) -> Floats:
    return fh.korsunsky(b, f, s, c)


def _soft(b: Floats, f: float, s: float, c: float) -> Floats:
    return fh.bhattacharya_nix_soft(b, f, s, c, 1.0)


def _hard(b: Floats, f: float, s: float, c: float) -> Floats:
    return fh.bhattacharya_nix_hard(b, f, s, f / s, 1 / (c * c))


Form = Callable[[Floats, float, float, float], Floats]
#: Key of a model -> its name, by the authors.
TITLES = {
    "korsunsky": "Korsunsky and others",
    "bhattacharya-nix soft film": "Bhattacharya and Nix, soft film",
    "bhattacharya-nix hard film": "Bhattacharya and Nix, hard film",
}
FORMS: dict[str, Form] = {
    "korsunsky": _korsunsky,
    "bhattacharya-nix soft film": _soft,
    "bhattacharya-nix hard film": _hard,
}


def film_hardness(tests: HardnessTests, H_s: Entry, model: str = "korsunsky") -> FilmHardness:
    """Film hardness and the model's constant from all depths, substrate hardness known.

    In the forms of Bhattacharya and Nix the ratios of yield stress and modulus are seldom known on
    their own; their product in the exponent is found in place of them.

    Raises
    ------
    FilmError
        When the model is unknown or there are fewer than four tests.
    """
    if model not in FORMS:
        raise FilmError(
            f"“{model}” is no hardness model.", remedy="Use one of: " + ", ".join(FORMS)
        )
    if len(tests.beta) < 4:
        raise FilmError("Film hardness needs four tests or more at different depths.")
    form, y = FORMS[model], np.log(tests.H)
    base = H_s.value

    def run(p: Floats, substrate: float = base) -> Floats:
        return np.log(form(tests.beta, float(np.exp(p[0])), substrate, float(np.exp(p[1]))))

    first = float(np.log(np.median(tests.H[np.argsort(tests.beta)[:3]])))
    start = np.array([first, float(np.log(1 / np.median(tests.beta) ** 2))])
    found = fit(
        run,
        y,
        tests.u_random / tests.H,
        start,
        (start, np.full(2, np.inf)),
        (start - 7, start + 7),
    )
    step = 1e-4
    by_base = (run(found.p, base * (1 + step)) - run(found.p, base * (1 - step))) / (2 * step)
    slopes = np.concatenate([tests.jac / tests.H[:, None], -by_base[:, None] / base], axis=1)
    D = found.cov @ (found.jac.T * found.weight) @ slopes
    cov = np.zeros((slopes.shape[1],) * 2)
    cov[:-1, :-1], cov[-1, -1] = tests.inputs.cov, H_s.u**2
    systematic = np.sqrt(np.clip(np.diag(D @ cov @ D.T), 0.0, None))
    random = np.sqrt(np.diag(found.cov))
    H, c = np.exp(found.p)
    dof = max(found.dof, 1.0) if found.scatter > 0 else np.inf
    wide = coverage_factor(dof) * np.hypot(random[0], systematic[0])
    return FilmHardness(
        model,
        float(H),
        float(H * random[0]),
        float(H * systematic[0]),
        float(c),
        float(c * np.hypot(random[1], systematic[1])),
        found.residual,
        bool(wide <= np.log(2.0)) and found.converged and not found.at_bound,
    )


def stress_remark(tests: HardnessTests) -> str:
    """A sentence on the declared residual stress; empty when none was declared."""
    s = tests.residual_stress
    if s is None:
        return ""
    share = abs(s.value) / float(np.median(tests.H))
    kind = "tensile" if s.value > 0 else "compressive"
    way = "lowers" if s.value > 0 else "raises"
    return (
        f"The film is declared to hold a {kind} stress of {short(abs(s.value) / 1e9, 3)} GPa, "
        f"{short(100 * share)} % of the hardness measured. Such a stress {way} the apparent "
        "hardness, in good part through pile-up that the contact depth does not see; no number "
        "here is corrected for it."
    )
