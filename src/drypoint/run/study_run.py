"""Carry a study through all rooms: read, reduce, gather, write."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from drypoint.errors import StressError
from drypoint.recipe import Effective, Journal, Study, canonical_hash, load_study, read_journal
from drypoint.records.batch import TestInfo, join
from drypoint.records.grouped import no_result
from drypoint.records.layout import SetAside
from drypoint.reduction.reduce import take_rows
from drypoint.reduction.result import Reduction
from drypoint.reduction.zero_laws import by_law
from drypoint.run.belongs import check_results
from drypoint.run.bench_dates import date_notes
from drypoint.run.dynamic import gather_dynamic
from drypoint.run.flagging import facts_of, flagged
from drypoint.run.gathering import comparisons, depth_bins
from drypoint.run.groups import reduce_groups
from drypoint.run.merge import Part, merge, no_rows
from drypoint.run.populations import populations_of, with_population_columns
from drypoint.run.progress import Watch
from drypoint.run.reading import Readings, read_study_records
from drypoint.run.result import Group, Provenance, StudyResult
from drypoint.run.series import series_by_specimen
from drypoint.run.tables import results_frame
from drypoint.run.trials import all_trials
from drypoint.run.write import write_results
from drypoint.store.cache import Cache
from drypoint.threads import one_in_algebra
from drypoint.version import __version__, libraries, processor, program_sha256

if TYPE_CHECKING:
    from drypoint.run.critical_loads import ScratchResult


@one_in_algebra()
def run_study(
    study: Study | Path | str,
    *,
    out: Path | str | None = None,
    watch: Watch | None = None,
    write: bool = True,
    use_cache: bool = True,
) -> StudyResult:
    """Run a study: from raw files, recipe and decisions to results.

    Parameters
    ----------
    study : Study, Path or str
        The study, or its file.
    out : Path or str, optional
        Folder of the results; by default the one that the recipe names.
    watch : Watch, optional
        Sees progress and may stop the work.
    write : bool
        Whether results are written (atomically) to the folder.
    use_cache : bool
        Whether what was computed before from the same inputs is used again.

    Returns
    -------
    StudyResult

    Raises
    ------
    RecipeError, DecisionError
        Before any computing, when study file or decisions are wrong.
    StoreError
        Likewise, when the folder holds the results of another study.
    NoResultError
        When no test gave a result, with every reason. Otherwise bad records are set aside and
        named.
    StressError
        When a study without tests has stress runs only, and none of them gave a result.
    """
    watch = watch or Watch()
    if not isinstance(study, Study):
        study = load_study(Path(study))
    journal = read_journal(study.decisions)
    folder = Path(out) if out is not None else study.results
    if write:
        check_results(study, folder)
    cache = Cache.beside(study.path) if use_cache else None
    readings = read_study_records(study, cache, watch)
    groups, failed = reduce_groups(study, readings.parts, journal.effective, cache, watch)
    scratch = None
    if study.file.tracks:
        scratch = _tracks(study, journal, readings, cache, watch)
        readings = replace(readings, hashes={**readings.hashes, **scratch[1]})
    result = gather(study, journal, readings, groups, failed, cache, scratch and scratch[0])
    if any(s.layers for s in study.file.specimens.values()):
        result = _with_films(result, cache, watch)
    if study.file.stress:
        result = _with_stress(result, cache, watch)
    if cache is not None and cache.notes:
        result = replace(result, cache_notes=tuple(cache.notes))
    if write:
        watch.at("writing", 0, 1)
        write_results(result, folder)
        watch.at("writing", 1, 1)
    return result


def _with_films(result: StudyResult, cache: Cache | None, watch: Watch) -> StudyResult:
    """The result with the film values of the specimens that state layers."""
    from drypoint.run.coatings import coated, film_notes

    done, failed = coated(result, cache, watch)
    return replace(
        result, films=done, films_failed=failed, notes=(*result.notes, *film_notes(done, failed))
    )


def _tracks(
    study: Study, journal: Journal, readings: Readings, cache: Cache | None, watch: Watch
) -> tuple[ScratchResult, Mapping[str, str]]:
    """The scratch tracks of a study, and SHA-256 of their files."""
    from drypoint.run.critical_loads import gather_tracks
    from drypoint.run.scratching import run_tracks

    taken = [t.name for p in readings.parts for t in p.batch.tests]
    run = run_tracks(study, cache, watch, taken=taken)
    result = gather_tracks(study, journal.effective, run)
    return result, {**run.hashes, **{p.file: p.sha256 for p in result.pictures}}


def _sharp_tips(groups: Sequence[Group]) -> list[str]:
    """A sentence for every tip that tests were reduced with as if it were perfectly sharp."""
    found = {
        g.tip: None
        for g in groups
        if len(g.reduced.tests)
        and g.bench.tip.area.kind == "ideal"
        and np.isfinite(g.bench.tip.geometry.equivalent_half_angle)
        and g.bench.tip.geometry.shape != "sphero-cone"
    }
    return [
        f"Tip “{name}” is taken as perfectly sharp. Real tips are blunt: at shallow depths the "
        "area is then too small, hardness and modulus too high. Calibrate it, or state its area "
        "function."
        for name in found
    ]


def _zero_left_open(groups: Sequence[Group]) -> list[str]:
    """A sentence where nobody said what lies on the surface."""
    found = any(by_law(g.options.zero) and g.options.zero.u_zero == 0 for g in groups)
    if not found:
        return []
    return [
        "Zero point: what an oxide, a water film or roughness adds is not stated; uncertainties of "
        "depth, hardness and modulus are incomplete without it. State it as u_zero_nm under "
        "[corrections.zero]."
    ]


def _with_stress(result: StudyResult, cache: Cache | None, watch: Watch) -> StudyResult:
    """The result with the finite elements that the study asks for."""
    from drypoint.run.stressing import stress_runs

    done, failed = stress_runs(result.study, cache, watch)
    file = result.study.file
    if not done and not file.records and not file.tracks:
        raise StressError(
            f"Not one stress run gave a result. The first, {failed[0].name}: {failed[0].reason}",
            remedy=failed[0].remedy,
        )
    notes = [f"Stress run “{f.name}” gave nothing: {f.reason} {f.remedy}".strip() for f in failed]
    notes += [f"Stress run “{s.name}” ended early: {s.run.stopped}." for s in done if s.run.stopped]
    return replace(result, stress=done, stress_failed=failed, notes=(*result.notes, *notes))


def gather(
    study: Study,
    journal: Journal,
    readings: Readings,
    groups: tuple[Group, ...],
    failed: tuple[SetAside, ...],
    cache: Cache | None = None,
    scratch: ScratchResult | None = None,
) -> StudyResult:
    """Tables, series and provenance from reduced groups; exclusions are felt here and only here.

    Raises
    ------
    RecordError
        When no test has a result.
    """
    set_aside = readings.set_aside + failed + (scratch.set_aside if scratch is not None else ())
    tracks = scratch.tracks if scratch is not None else ()
    tested = bool(study.file.records or study.file.tracks)
    if tested and not tracks and not any(len(g.reduced.tests) for g in groups):
        raise no_result(set_aside)
    whole = join([g.batch for g in groups if not _is_second(g, groups)])
    if any(_has_rows(g) for g in groups):
        tests = merge([_part(g, tests=True) for g in groups if _has_rows(g)])
        cycles = merge([_part(g, tests=False) for g in groups if _has_rows(g)])
    else:
        tests = cycles = no_rows()
    state = journal.effective
    excluded = {
        t.name: why for t in whole.tests if (why := _why_excluded(state, t.name)) is not None
    }
    zero, facts = _zero_columns(groups, len(whole)), facts_of(groups, len(whole))
    reasons = tuple(_excluded_rows(state, whole.tests, r) for r in (tests, cycles))
    counted = tuple(np.array([w is None for w in rows], dtype=bool) for rows in reasons)
    tests, cycles = flagged(study, whole, facts, tests, cycles, (counted[0], counted[1]))
    tips = [""] * len(whole)
    for g in groups:
        for w in g.where:
            tips[int(w)] = g.tip
    tables = [
        results_frame(
            r, whole, zero=zero, events=facts.events, tips=tips, excluded=ex, with_cycles=c
        )
        for r, c, ex in ((tests, False, reasons[0]), (cycles, True, reasons[1]))
    ]
    level = study.file.output.level_of_confidence
    known = {t.name for t in whole.tests} | {t.name for t in tracks}
    unknown = sorted(set(state.tests) - known)
    # What is remarked of a test that was set aside anyway helps nobody.
    gone = tuple(f"Test {s.test}:" for s in set_aside if s.test)
    notes = [*study.notes, *journal.notes]
    notes += [n for n in readings.notes if not n.startswith(gone)]
    notes += date_notes(study, readings.parts)
    notes += _sharp_tips(groups) + _zero_left_open(groups)
    notes += scratch.notes if scratch is not None else ()
    notes += [f"A decision names the test “{n}”, which gave no result here." for n in unknown]
    kept = take_rows(tests, np.flatnonzero(counted[0]))
    populations = populations_of(study, whole, kept)
    tables[0] = with_population_columns(tables[0], populations)
    series = series_by_specimen(study, whole, kept, level)
    every = series if counted[0].all() else series_by_specimen(study, whole, tests, level)
    result = StudyResult(
        study=study,
        batch=whole,
        groups=groups,
        tests=tests,
        cycles=cycles,
        tests_table=tables[0],
        cycles_table=tables[1],
        excluded=excluded,
        decisions=journal.decisions,
        set_aside=set_aside,
        series=series,
        series_all=every,
        provenance=provenance_of(study, journal, readings),
        notes=tuple(notes),
        bins=depth_bins(study, whole, take_rows(cycles, np.flatnonzero(counted[1])), level),
        comparisons=comparisons(study, whole, kept, level),
        dynamic=gather_dynamic(study, whole, groups, tips, state, level),
        scratch=scratch,
        populations=populations,
    )
    trials = study.file.uncertainty.monte_carlo_trials
    return replace(result, trials=all_trials(result, trials, cache)) if trials else result


def _is_second(g: Group, groups: tuple[Group, ...]) -> bool:
    """A group of tests moved by hand: its tests are in an earlier group's batch."""
    return any(g is not o and o.superseded and int(g.where[0]) in o.where for o in groups)


def _has_rows(g: Group) -> bool:
    return any(int(t) not in g.superseded for t in g.reduced.tests.test)


def _part(g: Group, *, tests: bool) -> Part:
    r = g.reduced.tests if tests else g.reduced.cycles
    if g.superseded:
        keep = [i for i, t in enumerate(r.test) if int(t) not in g.superseded]
        r = take_rows(r, np.array(keep, dtype=np.int64))
    return Part(r, g.where, g.tip, g.frame, g.batch.tests[0].specimen if len(g.batch) else "")


def _why_excluded(state: Effective, test: str) -> str | None:
    e = state.exclusion(test)
    return None if e is None else f"{e.why} ({e.who}, {e.when})"


def _excluded_rows(state: Effective, infos: tuple[TestInfo, ...], r: Reduction) -> list[str | None]:
    out: list[str | None] = []
    for t, c in zip(r.test, r.cycle, strict=True):
        e = state.exclusion(infos[int(t)].name, int(c))
        out.append(None if e is None else f"{e.why} ({e.who}, {e.when})")
    return out


def _zero_columns(groups: tuple[Group, ...], n: int) -> Mapping[str, np.ndarray]:
    names = ("depth", "u_depth", "how", "drift", "u_drift", "drift_how")
    out = {k: np.full(n, np.nan) for k in names}
    for g in groups:
        z, d = g.reduced.corrected.zero, g.reduced.corrected.drift
        u = z.u_whole(g.options.zero)
        for k, v in zip(names, (z.depth, u, z.how, d.rate, d.u_rate, d.how), strict=True):
            out[k][g.where] = v
    return out


def provenance_of(study: Study, journal: Journal, readings: Readings) -> Provenance:
    """All that is needed to derive the numbers again."""
    return Provenance(
        version=__version__,
        seed=study.file.study.seed,
        recipe_hash=study.recipe_hash,
        decisions_hash=journal.sha256,
        inputs_hash=canonical_hash(dict(readings.hashes)),
        inputs=dict(sorted(readings.hashes.items())),
        libraries=dict(libraries()),
        program_sha256=program_sha256(),
        processor=processor(),
    )
