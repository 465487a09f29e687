"""Stress under the tip for a study or a single problem: elastic answer, finite elements, cache."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from drypoint.contact import layered
from drypoint.errors import DrypointError, StressError
from drypoint.recipe import Study, canonical_hash, load_study
from drypoint.recipe.problems import unknown
from drypoint.recipe.to_stress import stress_problem
from drypoint.run.elastic_first import (
    ElasticAnswer,
    ElasticYield,
    elastic_answer,
    elastic_stack,
    names_of,
    problem_key,
)
from drypoint.run.progress import Cancelled, Watch
from drypoint.run.stress_uncertain import Uncertain, numbers_of, propagate
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.stress import Interface, Problem, Seen, Solution, as_seen, interface

Floats = NDArray[np.float64]
#: Called with the elastic answer as soon as it is there, before the finite elements start.
First = Callable[[Problem, ElasticAnswer], None]

#: Parts into which the progress of a run is cut.
_PARTS = 1000


@dataclass(frozen=True)
class SolidYield:
    """First yield of a solid: force (N) by the run, or by the elastic answer where that is told.

    ``how``: “finite elements”, “elastic” (before the first load step), “at once” (a tip so sharp
    that any force is enough), “not reached”, “elastic solid”. ``u_force`` (N) is the standard
    uncertainty by the elastic answer, carried over in proportion; NaN where there is no force.
    """

    name: str
    force: float
    how: str
    u_force: float = np.nan


@dataclass(frozen=True)
class StressResult:
    """A run with what was found of it.

    ``seen`` is ``None`` where the protocol has no unloading. ``true_E_r`` (Pa) is the reduced
    modulus that an unloading has at the true contact radius: of the substrate, or of the layered
    half-space. ``key`` stands for all that the run was made from; ``kept`` says that it was not
    computed anew. ``uncertain`` has results with the uncertainty that the solids' numbers bring,
    where that is wanted. ``invented``: it is of a study whose data are.
    """

    name: str
    specimen: str
    problem: Problem
    elastic: ElasticAnswer
    run: Solution
    seen: Seen | None
    true_E_r: float
    first_yield: tuple[SolidYield, ...]
    key: str
    kept: bool
    uncertain: tuple[Uncertain, ...] = ()
    invented: bool = False

    def interfaces(self, step: int) -> tuple[Interface, ...]:
        """Stress on every interface at a step."""
        return tuple(interface(self.run, step, k) for k in range(len(self.problem.stack.layers)))


@dataclass(frozen=True)
class StressFailure:
    """A run that gave nothing, and why."""

    name: str
    reason: str
    remedy: str


def run_problem(
    problem: Problem,
    *,
    specimen: str = "",
    cache: Cache | None = None,
    watch: Watch | None = None,
    first: First | None = None,
    uncertain: bool = False,
    invented: bool = False,
) -> StressResult:
    """Solve a problem, or take its solution from the cache.

    Parameters
    ----------
    problem : Problem
    specimen : str
        The specimen in whose part of a report the run stands.
    cache : Cache, optional
    watch : Watch, optional
        Sees progress and may stop the work.
    first : callable, optional
        Gets the elastic answer before the finite elements start.
    uncertain : bool
        Tell what the problem's doubts bring to every result, by two runs for each.
    invented : bool
        The data are invented; results, files and figures say so.

    Raises
    ------
    StressError
        Where the problem cannot be solved.
    Cancelled
        Where the watch asked to stop; nothing was kept.
    """
    watch = watch or Watch()
    stage = f"stress {problem.name}".strip()
    watch.at(stage, 0, _PARTS, "elastic answer")
    key = problem_key(problem)
    beside = cache_key("elastic answer, goal exact", key, canonical_hash(problem.doubts))
    elastic = _cached(cache, beside, ElasticAnswer)
    if elastic is None:
        elastic = elastic_answer(problem)
        _keep(cache, beside, elastic)
    if first is not None:
        first(problem, elastic)
    run = _cached(cache, key, Solution)
    fresh = run is None
    if run is None:
        run = problem.solve(
            lambda share, words: watch.at(stage, round(share * _PARTS), _PARTS, words)
        )
        _keep(cache, key, run)
    names = names_of(problem)
    told: tuple[Uncertain, ...] = ()
    if uncertain and problem.doubts and not run.stopped:
        told = propagate(
            problem, numbers_of(run, names), names, cache,
            lambda share, words: watch.at(stage, round(share * _PARTS), _PARTS, words),
        )  # fmt: skip
    watch.at(stage, _PARTS, _PARTS)
    unloads = run.force[-1] < run.force[run.peak] and not run.stopped
    return StressResult(
        name=problem.name,
        specimen=specimen,
        problem=problem,
        elastic=elastic,
        run=run,
        seen=as_seen(run) if unloads else None,
        true_E_r=_true_modulus(problem, run),
        first_yield=_first_yield(problem, run, elastic),
        key=key,
        kept=not fresh,
        uncertain=told,
        invented=invented,
    )


def run_stress(
    study: Study | Path | str,
    name: str,
    *,
    use_cache: bool = True,
    watch: Watch | None = None,
    first: First | None = None,
) -> StressResult:
    """Solve what ``[stress.NAME]`` of a study states.

    Parameters
    ----------
    study : Study, Path or str
        The study, or its file.
    name : str
    use_cache : bool
        Whether a solution of the same problem is used again.
    watch : Watch, optional
        Sees progress and may stop the work.
    first : callable, optional
        Gets problem and elastic answer before the finite elements start.

    Raises
    ------
    RecipeError
        When the study file is wrong.
    StressError
        When there is no such run, or it cannot be solved.
    """
    if not isinstance(study, Study):
        study = load_study(Path(study))
    if name not in study.file.stress:
        what, allowed = unknown(name, "a stress run of this study", study.file.stress)
        raise StressError(what, remedy=allowed if study.file.stress else "Add [stress.NAME].")
    cache = Cache.beside(study.path) if use_cache else None
    return run_problem(
        stress_problem(study, name), specimen=study.file.stress[name].specimen or "",
        cache=cache, watch=watch, first=first, uncertain=study.file.stress[name].uncertainty,
        invented=study.invented,
    )  # fmt: skip


def stress_runs(
    study: Study, cache: Cache | None, watch: Watch
) -> tuple[tuple[StressResult, ...], tuple[StressFailure, ...]]:
    """All stress runs of a study; one that fails does not stop the others.

    Runs of which the specimen is excluded or has no results stand too: they need no records.
    """
    done, failed = [], []
    for name, keys in study.file.stress.items():
        try:
            problem = stress_problem(study, name)
            done.append(
                run_problem(
                    problem,
                    specimen=keys.specimen or "",
                    cache=cache,
                    watch=watch,
                    uncertain=keys.uncertainty,
                    invented=study.invented,
                )
            )
        except Cancelled:
            raise
        except DrypointError as error:
            failed.append(StressFailure(name, error.what, error.remedy))
    return tuple(done), tuple(failed)


T = TypeVar("T")


def _cached(cache: Cache | None, key: str, kind: type[T]) -> T | None:
    entry = cache.get(key) if cache is not None else None
    value = None if entry is None else kept(entry.meta, entry.arrays)
    return value if isinstance(value, kind) else None


def _keep(cache: Cache | None, key: str, value: object) -> None:
    if cache is not None:
        tree, arrays = encode(value)
        cache.put(key, arrays, tree)


def _true_modulus(problem: Problem, run: Solution) -> float:
    """Reduced modulus (Pa) at the true contact radius of the peak, by the layered half-space."""
    a = float(run.contact_radius[run.peak])
    E = float(layered.effective_modulus(elastic_stack(problem), a)[0])
    return 1 / (1 / E + 1 / problem.profile.E_star_tip)


def _first_yield(problem: Problem, run: Solution, elastic: ElasticAnswer) -> tuple[SolidYield, ...]:
    """By the run where its steps resolve it, else by the elastic answer."""
    out = []
    for m, name, seen, exact in zip(
        problem.stack.materials, names_of(problem), run.first_yield, elastic.first_yield,
        strict=True,
    ):  # fmt: skip
        out.append(_one_yield(name, np.isfinite(m.first_yield), seen.force, seen.resolved, exact))
    return tuple(out)


def _one_yield(
    name: str, yields: bool, force: float, resolved: bool, exact: ElasticYield
) -> SolidYield:
    if not yields:
        return SolidYield(name, np.nan, "elastic solid")
    if exact.always:
        return SolidYield(name, 0.0, "at once")
    if np.isnan(force):
        return SolidYield(name, np.nan, "not reached")
    if resolved:
        return SolidYield(name, force, "finite elements", _in_proportion(force, exact))
    lower = min(exact.force, force)
    return SolidYield(name, lower, "elastic", _in_proportion(lower, exact))


def _in_proportion(force: float, exact: ElasticYield) -> float:
    return force * exact.u_force / exact.force if exact.force > 0 else np.nan
