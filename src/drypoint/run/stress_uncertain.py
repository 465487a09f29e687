"""What the stated uncertainties of the solids bring to a stress run.

    u(y)^2 = sum_i (dy/dx_i)^2 u(x_i)^2                                              [gum2008]

The derivatives are central differences of runs with one number changed; the numbers are taken as
independent. The force of first yield comes from the exact elastic answer, since a run shows it in
steps only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from drypoint.recipe.varied_stress import Varied
from drypoint.run.elastic_first import ElasticAnswer, elastic_answer, problem_key
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.stress import Problem, Solution, field, interface
from drypoint.stress.solve import solve
from drypoint.version import __version__

#: Relative uncertainty below which a result counts as not moved: the forces are met to about that.
SMALL = 1e-5
#: Called with the share done (0 to 1) and words; may stop the work.
Tell = Callable[[float, str], None]


@dataclass(frozen=True)
class Part:
    """What one number brings to a result: ``slope`` times its uncertainty, in the result's unit."""

    name: str
    unit: str
    value: float
    u: float
    contribution: float


@dataclass(frozen=True)
class Uncertain:
    """A result of a run (lab units) with its standard uncertainty and the parts, largest first."""

    quantity: str
    unit: str
    value: float
    u: float
    parts: tuple[Part, ...]

    def share(self, part: Part) -> float:
        """Share of the variance, 0 to 1."""
        return part.contribution**2 / self.u**2 if self.u > 0 else 0.0


@dataclass(frozen=True)
class Numbers:
    """Results of one run by name: (value, unit)."""

    found: Mapping[str, tuple[float, str]]


def numbers_of(run: Solution, elastic: ElasticAnswer, names: Sequence[str]) -> Numbers:
    """The results of a run that an uncertainty is told for; NaN where there is none."""
    k = run.peak
    top, last = field(run, k), field(run, -1)
    clear = run.force[-1] == 0
    out = {
        "largest force": (float(run.force[k]) * 1e3, "mN"),
        "depth at the peak": (float(run.depth[k]) * 1e9, "nm"),
        "contact radius at the peak": (float(run.contact_radius[k]) * 1e9, "nm"),
        "hardness by the true area": (run.hardness / 1e9, "GPa"),
        "height of pile-up": (run.pile_up * 1e9, "nm"),
        "depth left behind": (float(run.depth[-1]) * 1e9 if clear else np.nan, "nm"),
        "largest tension at the peak": (_largest(top.principal[..., 0]), "GPa"),
        "largest tension left behind": (_largest(last.principal[..., 0]), "GPa"),
    }
    for n in range(len(names) - 1):
        one = interface(run, k, n)
        out[f"pressure on interface {n + 1}"] = (-float(one.normal.min()) / 1e9, "GPa")
        out[f"shear on interface {n + 1}"] = (float(np.abs(one.shear).max()) / 1e9, "GPa")
    for name, y in zip(names, elastic.first_yield, strict=True):
        force = np.nan if y.always else y.force * 1e3
        out[f"first yield of {name} (elastic answer)"] = (force, "mN")
    return Numbers(out)


def _largest(values: np.ndarray) -> float:
    return float(values.mean(axis=1).max()) / 1e9


def propagate(
    varied: Sequence[Varied], middle: Numbers, names: Sequence[str], cache: Cache | None, tell: Tell
) -> tuple[Uncertain, ...]:
    """Uncertainty of every result; what does not change with any number is left out.

    Parameters
    ----------
    varied : sequence of Varied
        The problems with one number changed each.
    middle : Numbers
        Results of the run itself.
    names : sequence of str
        Names of the solids, from the surface downwards.
    cache : Cache, optional
        Keeps the changed runs, so that an interrupted study goes on where it was.
    tell : callable
        Hears of progress.

    Raises
    ------
    StressError
        Where a changed problem cannot be solved.
    """
    slopes: list[dict[str, float]] = []
    for i, v in enumerate(varied):
        ends = []
        for n, problem in enumerate((v.low, v.high)):
            part = (2 * i + n) / (2 * len(varied))

            def heard(share: float, words: str, part: float = part, what: str = v.name) -> None:
                tell(part + share / (2 * len(varied)), f"{what}: {words}")

            ends.append(_numbers(problem, names, cache, heard))
        low, high = ends
        slopes.append(
            {q: (high.found[q][0] - low.found[q][0]) / (v.down + v.up) for q in middle.found}
        )
    out = []
    for q, (value, unit) in middle.found.items():
        parts = [
            Part(v.name, v.unit, v.value, v.u, slope[q] * v.u)
            for v, slope in zip(varied, slopes, strict=True)
        ]
        size = np.array([p.contribution for p in parts])
        if not np.isfinite(value) or not np.isfinite(size).all():
            continue
        u = float(np.sqrt(np.sum(size**2)))
        if u > SMALL * abs(value):
            parts.sort(key=lambda p: -abs(p.contribution))
            out.append(Uncertain(q, unit, value, u, tuple(parts)))
    return tuple(out)


def _numbers(problem: Problem, names: Sequence[str], cache: Cache | None, tell: Tell) -> Numbers:
    key = cache_key("stress numbers", __version__, problem_key(problem))
    entry = cache.get(key) if cache is not None else None
    value = kept(entry.meta, entry.arrays) if entry is not None else None
    if isinstance(value, Numbers):
        return value
    run = solve(
        problem.stack, problem.profile, problem.protocol, mesh=problem.mesh,
        friction=problem.friction, errors=False, watch=tell,
    )  # fmt: skip
    found = numbers_of(run, elastic_answer(problem), names)
    if cache is not None:
        tree, arrays = encode(found)
        cache.put(key, arrays, tree)
    return found
