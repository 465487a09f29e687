"""Difference and ratio of specimens or treatments; equivalence; how many more tests decide.

What is systematic to both cancels: ``u^2 = u_a^2 + u_b^2 + (Ja - Jb) Cov (Ja - Jb)'`` with the
``u`` of each mean from its own spread (positions as random effects, :mod:`.nested`). The two
spreads count as one t with Welch's degrees of freedom, what does not cancel as another
(:class:`.tails.Sum`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import UncertaintyError
from drypoint.uncertainty.joint import Joint
from drypoint.uncertainty.planning import tests_needed
from drypoint.uncertainty.propagation import block_components, welch_satterthwaite
from drypoint.uncertainty.series import SeriesResult, series
from drypoint.uncertainty.tails import Sum, dof_of_factor, range_factor, range_sf
from drypoint.uncertainty.verdict import sentence

Floats = NDArray[np.float64]
Kind = Literal["difference", "ratio"]
Adjust = Literal["tukey", "holm"]


@dataclass(frozen=True)
class Sample:
    """Tests on one specimen: values and random parts (n,), sensitivities (n, k), labels (n,)."""

    name: str
    values: Floats
    u_random: Floats
    sens: Floats
    position: object = None
    day: object = None


@dataclass(frozen=True)
class Comparison:
    """``a`` against ``b``.

    ``estimate`` is ``a - b`` or ``a/b``; ``interval`` at ``level``. ``u`` is the standard
    uncertainty of the difference (ratio: of its logarithm), ``u_type_a`` and ``u_systematic``
    its parts after cancelling, ``p`` the two-sided probability of such a difference by chance.
    ``margin`` and ``p_equivalent`` (the larger of two one-sided tests) are None unless asked
    for. ``more_tests`` (positions, where those carry
    the spread) is None where nothing is open, ``inf`` where no number would decide.
    ``adjusted`` says how several comparisons were allowed for.
    """

    a: str
    b: str
    kind: Kind
    estimate: float
    u: float
    u_type_a: float
    u_systematic: float
    dof: float
    level: float
    interval: tuple[float, float]
    p: float
    margin: float | None
    p_equivalent: float | None
    verdict: Literal["different", "equivalent", "not decided"]
    more_tests: float | None
    sentence: str
    adjusted: str


@dataclass(frozen=True)
class _Raw:
    """On the scale where the comparison is a difference (ratio: logarithms)."""

    d: float
    va: float
    vb: float
    na: int
    nb: int
    u_sys: float
    sum: Sum
    carrier: str
    alone: tuple[bool, bool]

    @property
    def u(self) -> float:
        return self.sum.u


def _mean(sample: Sample, joint: Joint, kind: Kind) -> SeriesResult:
    x, u, j = (np.asarray(v, dtype=float) for v in (sample.values, sample.u_random, sample.sens))
    if kind == "ratio":
        if np.any(x <= 0):
            raise UncertaintyError(f"A ratio needs positive values; {sample.name} has others.")
        x, u, j = np.log(x), u / x, j / x[:, None]
    return series(x, u, j, joint, group=sample.position, day=sample.day)


def _raw(a: SeriesResult, b: SeriesResult, joint: Joint) -> _Raw:
    j = a.sensitivity - b.sensitivity
    v, nu = block_components(j, joint.cov, joint.dof)
    va, vb = a.u_type_a**2, b.u_type_a**2
    dof_a = welch_satterthwaite(np.array([va, vb]), np.array([a.dof_type_a, b.dof_type_a]))
    u_sys = float(np.sqrt(max(float(j @ joint.cov @ j), 0.0)))
    both = Sum(float(np.sqrt(va + vb)), dof_a, u_sys, welch_satterthwaite(v, nu))
    na, nb = (1 if m.n == 1 else round(m.dof_type_a + 1) for m in (a, b))
    carrier = next((m.carrier for m in (a, b) if m.carrier != "test"), "test")
    return _Raw(a.mean - b.mean, va, vb, na, nb, u_sys, both, carrier, (a.n == 1, b.n == 1))


@dataclass(frozen=True)
class _Ask:
    kind: Kind
    margin: float | None
    level: float
    power: float
    unit: str


def _p_two_sided(raw: _Raw) -> float:
    if raw.u == 0.0:
        return 0.0 if raw.d else 1.0
    return min(1.0, 2 * raw.sum.sf(abs(raw.d)))


def compare(
    a: Sample,
    b: Sample,
    joint: Joint,
    *,
    kind: Kind = "difference",
    margin: float | None = None,
    level: float = 0.95,
    power: float = 0.8,
    unit: str = "",
) -> Comparison:
    """Two specimens or treatments.

    Parameters
    ----------
    kind : {"difference", "ratio"}
        A ratio is compared as a difference of logarithms, so of geometric means.
    margin : float, optional
        Equivalent means within ``-+ margin`` (ratio: within ``1/(1 + margin)`` to
        ``1 + margin``): two one-sided tests at ``1 - level`` each [schuirmann1987].
    power : float
        For the number of further tests.
    """
    raw = _raw(_mean(a, joint, kind), _mean(b, joint, kind), joint)
    k = raw.sum.factor(level)
    ask = _Ask(kind, margin, level, power, unit)
    return _conclude(a.name, b.name, raw, ask, k, _p_two_sided(raw), 1, "")


def compare_all(
    samples: Sequence[Sample],
    joint: Joint,
    *,
    kind: Kind = "difference",
    adjust: Adjust = "tukey",
    margin: float | None = None,
    level: float = 0.95,
    power: float = 0.8,
    unit: str = "",
) -> tuple[Comparison, ...]:
    """Every pair of several specimens, allowed for being several.

    "tukey": Games-Howell intervals, factor ``q(level; g, dof)/sqrt(2)`` with each pair's own
    degrees of freedom [games1976]. "holm": p values stepped down [holm1979], intervals by
    Bonferroni, which hold together but are wider. Equivalence: Bonferroni in both.
    """
    if len(samples) < 2:
        raise UncertaintyError("A comparison needs two specimens or more.")
    if adjust not in ("tukey", "holm"):
        raise UncertaintyError(f"No such adjustment: {adjust}.", remedy="tukey or holm.")
    means = [_mean(s, joint, kind) for s in samples]
    pairs = list(combinations(range(len(samples)), 2))
    raws = [_raw(means[i], means[j], joint) for i, j in pairs]
    plain = np.array([_p_two_sided(r) for r in raws])
    g, m = len(samples), len(pairs)
    if m == 1:
        factors, p, said = [raws[0].sum.factor(level)], plain, ""
    elif adjust == "tukey":
        nus = [dof_of_factor(r.sum.factor(level), level) for r in raws]
        q = [np.sqrt(2) * abs(r.d) / r.u if r.u > 0 else np.inf for r in raws]
        factors = [range_factor(level, g, nu) / float(np.sqrt(2)) for nu in nus]
        p = np.array([range_sf(x, g, nu) for x, nu in zip(q, nus, strict=True)])
        said = f"Games-Howell, {g} specimens"
    else:
        order = np.argsort(plain)
        stepped = np.maximum.accumulate(plain[order] * (m - np.arange(m)))
        p = np.empty(m)
        p[order] = np.minimum(stepped, 1.0)
        factors = [r.sum.factor(1 - (1 - level) / m) for r in raws]
        said = f"Holm for p, Bonferroni for intervals, {m} pairs"
    ask = _Ask(kind, margin, level, power, unit)
    return tuple(
        _conclude(samples[i].name, samples[j].name, r, ask, k, float(pp), m, said)
        for (i, j), r, k, pp in zip(pairs, raws, factors, p, strict=True)
    )


def _conclude(
    a: str, b: str, raw: _Raw, ask: _Ask, k: float, p: float, pairs: int, adjusted: str
) -> Comparison:
    half = k * raw.u
    ratio = ask.kind == "ratio"
    bound: float | None = None
    p_eq: float | None = None
    if ask.margin is not None:
        if not ask.margin > 0:
            raise UncertaintyError("The margin of equivalence must be positive.")
        bound = float(np.log1p(ask.margin)) if ratio else float(ask.margin)
        one = raw.sum.sf(bound - abs(raw.d)) if raw.u > 0 else float(abs(raw.d) >= bound)
        p_eq = min(1.0, pairs * one)
    different = p < 1 - ask.level
    more: float | None = None
    verdict: Literal["different", "equivalent", "not decided"]
    if p_eq is not None and p_eq < 1 - ask.level:
        verdict = "equivalent"
    elif different:
        verdict = "different"
    else:
        verdict = "not decided"
        more = tests_needed(
            raw.va * raw.na,
            raw.vb * raw.nb,
            raw.d,
            u_systematic=raw.u_sys,
            margin=bound,
            level=ask.level,
            power=ask.power,
            start=(raw.na, raw.nb),
        )
    low, high, estimate = raw.d - half, raw.d + half, raw.d
    if ratio:
        low, high, estimate = (float(np.exp(v)) for v in (low, high, estimate))
    text = sentence(
        a,
        b,
        ratio=ratio,
        verdict=verdict,
        estimate=estimate,
        interval=(low, high),
        level=ask.level,
        margin=ask.margin,
        more=more,
        carrier=raw.carrier,
        power=ask.power,
        unit=ask.unit,
    )
    if different and verdict == "equivalent":
        text += " They differ, by less than the margin."
    for name, single in zip((a, b), raw.alone, strict=True):
        if single:
            text += f" One test only on {name}: how it varies from place to place is left out."
    return Comparison(
        a=a,
        b=b,
        kind=ask.kind,
        estimate=estimate,
        u=raw.u,
        u_type_a=float(np.sqrt(raw.va + raw.vb)),
        u_systematic=raw.u_sys,
        dof=dof_of_factor(raw.sum.factor(ask.level), ask.level),
        level=ask.level,
        interval=(low, high),
        p=p,
        margin=ask.margin,
        p_equivalent=p_eq,
        verdict=verdict,
        more_tests=more,
        sentence=text,
        adjusted=adjusted,
    )
