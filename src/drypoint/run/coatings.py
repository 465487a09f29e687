"""Film values of coated specimens: every specimen that states layers, from all its unloadings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import DrypointError
from drypoint.films import (
    Comparison,
    Entry,
    FilmCurves,
    FilmError,
    FilmHardness,
    FilmResult,
    FilmTests,
    HardnessTests,
    Plateau,
    Samples,
    compare,
    count_areas,
    count_areas_hardness,
    film_curves,
    film_hardness,
    film_tests,
    hardness_tests,
    infer,
    pile_up_remarks,
    plateau,
    sample,
    size_words,
    stress_remark,
    with_areas,
)
from drypoint.films.words import words
from drypoint.recipe import canonical_hash
from drypoint.recipe.to_films import Coating, coating_of
from drypoint.run.piled import Piled, piled_of
from drypoint.run.progress import Cancelled, Watch
from drypoint.run.result import StudyResult
from drypoint.store.cache import Cache, cache_key
from drypoint.store.codec import encode, kept
from drypoint.version import __version__

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]


@dataclass(frozen=True)
class Solved:
    """What was computed of a coated specimen, in SI.

    ``comparison`` holds every model, the exact one first; ``samples`` are there where the recipe
    asks for them. ``hardness`` are the models of film hardness, where the substrate's is stated;
    ``plateau`` is ``None`` where hardness stands still nowhere. ``remarks`` are plain sentences.
    ``at_ends`` are the best value of the first sought number with all contact areas at the low and
    at the high end of what pile-up and sink-in allow; ``None`` where their size is not known.
    """

    comparison: Comparison
    samples: Samples | None
    plateau: Plateau | None
    hardness: tuple[FilmHardness, ...]
    remarks: tuple[str, ...]
    at_ends: tuple[float, float] | None = None


@dataclass(frozen=True)
class FilmFound:
    """A coated specimen with its film values.

    ``tests`` and ``hardness_tests`` are the values that were used; ``rows`` and ``hardness_rows``
    say which rows of the table of cycles they are. ``too_deep`` counts the unloadings left out
    because they went deeper than the recipe allows. ``piled`` has the size of pile-up and sink-in
    of ``tests``; where the recipe counts it, ``tests`` and ``hardness_tests`` have it in. ``key``
    stands for all that went in. ``invented``: the records are.
    """

    specimen: str
    coating: Coating
    tests: FilmTests
    rows: Rows
    hardness_tests: HardnessTests | None
    hardness_rows: Rows
    too_deep: int
    solved: Solved
    key: str
    piled: Piled
    invented: bool = False

    def curves(self, level: float = 0.95) -> FilmCurves:
        """Fitted curves of every model, for figures."""
        base = self.coating.hardness
        return film_curves(
            self.tests, self.coating.structure, self.solved.comparison, self.hardness_tests,
            self.solved.hardness, np.nan if base is None else base.value, level=level,
        )  # fmt: skip

    @property
    def counted(self) -> bool:
        """Whether the size of pile-up and sink-in is in the values."""
        return self.coating.pile_up == "counted" and self.piled.size is not None

    @property
    def exact(self) -> FilmResult:
        """The film's numbers by the exact solution."""
        return self.solved.comparison.results["exact"]


@dataclass(frozen=True)
class FilmFailure:
    """A coated specimen without film values, and why."""

    specimen: str
    reason: str
    remedy: str


def coated(
    result: StudyResult, cache: Cache | None, watch: Watch
) -> tuple[tuple[FilmFound, ...], tuple[FilmFailure, ...]]:
    """Film values of all specimens that state layers; one that fails does not stop the others."""
    names = [n for n, s in result.study.file.specimens.items() if s.layers]
    done, failed = [], []
    for i, name in enumerate(names):
        watch.at("films", i, len(names), name)
        try:
            done.append(_one(result, name, cache))
        except Cancelled:
            raise
        except DrypointError as error:
            failed.append(FilmFailure(name, error.what, error.remedy))
    if names:
        watch.at("films", len(names), len(names))
    return tuple(done), tuple(failed)


def _one(result: StudyResult, name: str, cache: Cache | None) -> FilmFound:
    coating = coating_of(result.study, name)
    assert coating is not None
    cycles = result.cycles
    mine = (result.cycles_table["specimen"] == name).to_numpy()
    mine &= ~result.cycles_table["excluded"].to_numpy()
    h = cycles["h_c"].value
    deep = mine & (h > coating.up_to_depth * coating.structure.layers[0].t.value)
    rows = np.flatnonzero(mine & ~deep)
    if np.any(deep) and not np.any(np.isfinite(h[rows])):
        raise FilmError(
            f"All {int(np.sum(deep))} unloadings are deeper than {coating.up_to_depth:g} of the "
            f"thickness of {coating.structure.layers[0].t.value * 1e9:.4g} nm.",
            remedy="Check thickness_nm, or set film_analysis.up_to_depth.",
        )
    has_E = _with(result, rows, ("A_p", "E_IT_star", "h_c"))
    has_H = _with(result, rows, ("H_IT", "h_c"))
    tests = film_tests(cycles, has_E)
    piled = piled_of(result, has_E, coating)
    counted = coating.pile_up == "counted" and piled.size is not None
    plain = tests
    if piled.size is not None and counted:
        tests = count_areas(tests, piled.size, piled.E_r)
    hard = None
    if len(has_H):
        hard = hardness_tests(cycles, coating.structure.layers[0].t, has_H, coating.stresses[0])
        size = piled_of(result, has_H, coating).size
        if counted and size is not None:
            hard = count_areas_hardness(hard, size)
    seed = result.study.file.study.seed
    key = cache_key(
        "film", __version__, canonical_hash([coating, seed]), _digest(tests, hard, piled)
    )
    solved = _cached(cache, key)
    if solved is None:
        solved = _solve(coating, (tests, plain), hard, piled, seed)
        if cache is not None:
            tree, arrays = encode(solved)
            cache.put(key, arrays, tree)
    return FilmFound(
        name, coating, tests, has_E, hard, has_H, int(np.sum(deep)), solved, key, piled,
        result.invented,
    )  # fmt: skip


def _solve(
    coating: Coating,
    both: tuple[FilmTests, FilmTests],
    hard: HardnessTests | None,
    piled: Piled,
    seed: int,
) -> Solved:
    tests, plain = both  # with pile-up in, where it is counted, and without
    comparison = compare(tests, coating.structure, u_model=coating.u_model)
    if "exact" not in comparison.results:
        infer(tests, coating.structure, u_model=coating.u_model)  # says why
    samples = None
    if coating.steps:
        samples = sample(
            tests, coating.structure, u_model=coating.u_model, steps=coating.steps, seed=seed
        )
    flat, models = None, []
    if hard is not None:
        flat = plateau(hard)
        if coating.hardness is not None and len(hard.beta) >= 4:
            models = _hardness_models(hard, coating.hardness)
    base = coating.structure.substrate.E.value
    found = comparison.results["exact"].best[0]
    first = comparison.results["exact"].names[0] == f"{coating.structure.layers[0].name}.E"
    softer = bool(found < base) if first else None
    remarks = list(pile_up_remarks(piled.depth_ratio, piled.work_ratio, piled.excess, softer))
    if piled.size is not None and np.any(piled.size.known):
        remarks.append(size_words(piled.size))
    elif coating.pile_up == "counted":
        remarks.append(piled.why)
    ways = [m.H for m in models if m.identified] + ([] if flat is None else [flat.H])
    if len(ways) > 1 and max(ways) > 1.005 * min(ways):
        remarks.append(
            f"The ways to the film's hardness give {min(ways) / 1e9:.3g} to {max(ways) / 1e9:.3g} "
            "GPa; that is part of no uncertainty."
        )
    if tests.group is not None and len(np.unique(tests.group)) == 1:
        remarks.append(
            "All values come from one test: what differs from place to place is not seen."
        )
    if samples is not None and not samples.settled:
        remarks.append(
            f"The sampled values are withheld: {samples.steps_per_time:.0f} correlation times are "
            "too few. Give more sampling_steps."
        )
    vague = [n for n, e in coating.structure.entries() if not e.sought and e.u > 0.3 * abs(e.value)]
    if vague:
        remarks.append(
            f"So uncertain that linear propagation is poor: {', '.join(map(words, vague))}. Let it "
            "be sought with what is known of it, or sample."
        )
    if hard is not None and coating.stresses[0].value != 0:
        remarks.append(stress_remark(hard))
    return Solved(
        comparison, samples, flat, tuple(models), tuple(remarks), _at_ends(coating, plain, piled)
    )


def _at_ends(coating: Coating, tests: FilmTests, piled: Piled) -> tuple[float, float] | None:
    """Lowest and highest of the first sought number with all areas at the low end of their range,
    as the contact depth gives them, in the middle, and at the high end."""
    size = piled.size
    if size is None or not np.any(size.known):
        return None
    ends = [
        float(
            infer(with_areas(tests, x, piled.E_r), coating.structure, u_model=coating.u_model).best[
                0
            ]
        )
        for x in (size.low, np.ones(len(tests)), size.middle, size.high)
    ]
    return min(ends), max(ends)


def _hardness_models(hard: HardnessTests, base: Entry) -> list[FilmHardness]:
    """Film hardness by the models that are made for a film harder, or softer, than its base."""
    first = film_hardness(hard, base, "korsunsky")
    kind = "hard" if base.value < first.H else "soft"
    return [first, film_hardness(hard, base, f"bhattacharya-nix {kind} film")]


def _with(result: StudyResult, rows: Rows, symbols: tuple[str, ...]) -> Rows:
    """Those of the rows that have all of some quantities."""
    good = np.ones(len(rows), dtype=bool)
    for symbol in symbols:
        q = result.cycles[symbol]
        good &= np.isfinite(q.value[rows]) & np.isfinite(q.u_random[rows])
    return rows[good]


def _digest(tests: FilmTests, hard: HardnessTests | None, piled: Piled) -> str:
    """Stands for the values that went in, to the bit."""
    arrays: list[Any] = [tests.radius, tests.E_star, tests.u_random, tests.depth, tests.jac_E,
                         tests.jac_radius, tests.group, tests.inputs.cov, piled.depth_ratio,
                         piled.work_ratio, piled.excess, piled.E_r]  # fmt: skip
    if piled.size is not None:
        arrays += [piled.size.low, piled.size.high]
    if hard is not None:
        arrays += [hard.beta, hard.H, hard.u_random, hard.jac]
    return canonical_hash(
        [None if a is None else np.ascontiguousarray(a).tobytes().hex() for a in arrays]
    )


def _cached(cache: Cache | None, key: str) -> Solved | None:
    entry = cache.get(key) if cache is not None else None
    value = None if entry is None else kept(entry.meta, entry.arrays)
    return value if isinstance(value, Solved) else None


def film_notes(done: tuple[FilmFound, ...], failed: tuple[FilmFailure, ...]) -> tuple[str, ...]:
    """Sentences for the run's notes: what failed, and what the tests do not tell."""
    notes = [
        f"The film of specimen “{f.specimen}” gave nothing: {f.reason} {f.remedy}".strip()
        for f in failed
    ]
    for one in done:
        notes += [
            f"Film of specimen “{one.specimen}”: {r}"
            for r in one.exact.remarks
            if any(words in r for words in ("not identifiable", "do not describe", "its bound"))
        ]
    return tuple(notes)
