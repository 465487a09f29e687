"""What is not known exactly of solids, tip and load brings to a stress run.

    u(y)^2 = sum_i (dy/dx_i)^2 u(x_i)^2                                              [gum2008]

The derivatives are central differences of runs with one number changed; the numbers are taken as
independent. The force of first yield is told with the elastic answer, since a run shows it in steps
only.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from drypoint.errors import StressError
from drypoint.run.elastic_first import Part, problem_key, together
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.stress import Doubt, Problem, Solution, field, interface
from drypoint.stress.doubts import LOAD, TIP
from drypoint.stress.solve import solve
from drypoint.version import __version__

#: Relative uncertainty below which a result counts as not moved: the forces are met to about that.
SMALL = 1e-5
#: Called with the share done (0 to 1) and words; may stop the work.
Tell = Callable[[float, str], None]


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
        return part.u**2 / self.u**2 if self.u > 0 else 0.0


@dataclass(frozen=True)
class Numbers:
    """Results of one run by name: (value, unit)."""

    found: Mapping[str, tuple[float, str]]


def numbers_of(run: Solution, names: Sequence[str]) -> Numbers:
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
    return Numbers(out)


def _largest(values: np.ndarray) -> float:
    return float(values.mean(axis=1).max()) / 1e9


def propagate(
    problem: Problem, middle: Numbers, names: Sequence[str], cache: Cache | None, tell: Tell
) -> tuple[Uncertain, ...]:
    """Uncertainty of every result; what does not move with any doubt is left out.

    Parameters
    ----------
    problem : Problem
        With its doubts.
    middle : Numbers
        Results of its run.
    names : sequence of str
        Names of the solids, from the surface downwards.
    cache : Cache, optional
        Keeps the moved runs, so that an interrupted study goes on where it was.
    tell : callable
        Hears of progress.

    Raises
    ------
    StressError
        Where a moved problem cannot be solved.
    """
    count = 2 * len(problem.doubts)
    moved: list[dict[str, float]] = []
    for i, doubt in enumerate(problem.doubts):
        share, high, low = _ends(problem, doubt)
        ends = []
        for n, other in enumerate((high, low)):

            def heard(done: float, words: str, part: int = 2 * i + n) -> None:
                tell((part + done) / count, f"moved run {part + 1} of {count}: {words}")

            ends.append(_numbers(replace(other, doubts=()), names, cache, heard).found)
        moved.append({q: (ends[0][q][0] - ends[1][q][0]) / (2 * share) for q in middle.found})
    out = []
    for q, (value, unit) in middle.found.items():
        parts = [Part(d, m[q]) for d, m in zip(problem.doubts, moved, strict=True)]
        u = together(tuple(parts))
        if np.isfinite(value) and np.isfinite(u) and u > SMALL * abs(value):
            parts.sort(key=lambda p: -abs(p.u))
            out.append(Uncertain(q, unit, value, u, tuple(parts)))
    return tuple(out)


def _ends(problem: Problem, doubt: Doubt) -> tuple[float, Problem, Problem]:
    """By which share of its uncertainty a number is moved, and the problem up and down.

    A tenth of the number (a fifth of a Poisson's ratio) where that is more than the uncertainty: a
    run has a scatter of its own, which a smaller step would not stand out of.
    """
    size = _size(problem, doubt)
    wanted = max(1.0, (0.2 if "ratio" in doubt.what else 0.1) * size / doubt.u)
    shares = (wanted, 0.5 * wanted, 0.2 * wanted, 0.1 * wanted)
    for share in shares:
        try:
            return share, problem.moved(doubt, share), problem.moved(doubt, -share)
        except StressError:
            if share == shares[-1]:
                raise
    raise AssertionError


def _size(problem: Problem, doubt: Doubt) -> float:
    """The number that a doubt is about; 1 where the doubt is relative, 0 where none is needed."""
    if doubt.what in LOAD or doubt.what == "tip area":
        return 1.0
    tip = problem.profile
    if doubt.what in TIP:
        return float((tip.E_i if doubt.what == "tip modulus" else tip.nu_i) or 0.0)
    m, k = problem.stack.materials[doubt.solid], doubt.solid
    if doubt.what == "thickness":
        return problem.stack.layers[k].thickness
    if doubt.what == "yield stress":
        return 1.0 if m.table else float(m.yield_stress or 0.0)
    return {"modulus": m.E, "ratio": m.nu, "residual stress": abs(problem.stack.stresses[k])}[
        doubt.what
    ]


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
    found = numbers_of(run, names)
    if cache is not None:
        tree, arrays = encode(found)
        cache.put(key, arrays, tree)
    return found


def doubt_text(doubt: Doubt, names: Sequence[str]) -> str:
    """What a doubt is about, in words; ``names`` are those of the solids."""
    if doubt.what in TIP:
        return {
            "tip modulus": "Young's modulus of the tip",
            "tip ratio": "Poisson's ratio of the tip",
            "tip area": "area of the tip",
        }[doubt.what]
    if doubt.what in LOAD:
        return "load"
    what = {"modulus": "Young's modulus", "ratio": "Poisson's ratio"}.get(doubt.what, doubt.what)
    return f"{what} of {names[doubt.solid]}"
