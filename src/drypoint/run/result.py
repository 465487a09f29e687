"""What a run returns: tables, the steps behind each row, series, and what was set aside."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from drypoint.recipe import Study
from drypoint.records.batch import Batch
from drypoint.records.layout import SetAside
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import Reduced
from drypoint.reduction.result import Flag, Reduction
from drypoint.tips.tip import Bench

if TYPE_CHECKING:
    from drypoint.run.coatings import FilmFailure, FilmFound
    from drypoint.run.critical_loads import ScratchResult
    from drypoint.run.dynamic import DynamicResult
    from drypoint.run.populations import Populations
    from drypoint.run.stressing import StressFailure, StressResult
    from drypoint.run.trials import Trials
    from drypoint.uncertainty.bins import Bin
    from drypoint.uncertainty.compare import Comparison
    from drypoint.uncertainty.series import SeriesResult

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Group:
    """Tests that share tip, frame and choices.

    ``where`` has the index of each of its tests in the whole batch; ``superseded`` are those of
    its own tests that a later group (with choices made by hand) replaces. ``key`` stands for all
    that it was made from.
    """

    tip: str
    frame: str
    bench: Bench
    options: Options
    batch: Batch
    reduced: Reduced
    where: NDArray[np.int64]
    superseded: frozenset[int]
    key: str = ""


@dataclass(frozen=True)
class Provenance:
    """All that is needed to derive the numbers again.

    ``program_sha256`` is that of Drypoint's files as installed (:mod:`drypoint.version`).
    """

    version: str
    seed: int
    recipe_hash: str
    decisions_hash: str
    inputs_hash: str
    inputs: Mapping[str, str]
    libraries: Mapping[str, str]
    program_sha256: str = ""
    processor: str = ""

    def values(self) -> dict[str, Any]:
        """The same as plain values, as summaries hold them."""
        return {
            "version": self.version,
            "seed": self.seed,
            "recipe_sha256": self.recipe_hash,
            "decisions_sha256": self.decisions_hash,
            "inputs_sha256": self.inputs_hash,
            "raw_files": dict(self.inputs),
            "libraries": dict(self.libraries),
            "program_sha256": self.program_sha256,
            "processor": self.processor,
        }

    def made_with(self) -> dict[str, Any]:
        """Program, libraries and processor, as the list of a result set names them."""
        return {
            "program_sha256": self.program_sha256,
            "processor": self.processor,
            "libraries": dict(self.libraries),
        }


@dataclass(frozen=True)
class Curve:
    """One test step by step, SI, each of shape (n_samples,).

    ``raw_*`` as written; ``depth``/``force`` corrected; ``zeroed_depth`` before drift;
    ``segments`` are (name, start, stop, cycle) within the test; ``fits`` one per cycle:
    (cycle, h, F, residual over the fit window).
    """

    name: str
    time: Floats
    raw_force: Floats
    raw_depth: Floats
    force: Floats
    depth: Floats
    zeroed_depth: Floats
    segments: tuple[tuple[str, int, int, int], ...]
    fits: tuple[tuple[int, Floats, Floats, Floats], ...]
    zero_depth: float
    u_zero_depth: float
    drift_rate: float
    u_drift_rate: float


@dataclass(frozen=True)
class StudyResult:
    """Everything that a study gave.

    ``tests`` and ``cycles`` are reductions (SI, with uncertainties) whose ``test`` indexes
    ``batch``; ``tests_table`` and ``cycles_table`` the same in lab units. ``series`` maps specimen
    -> symbol -> mean and spread without the excluded tests, ``series_all`` with them. ``bins`` are
    depth bins of stepped loading, ``comparisons`` (symbol, comparison in lab units), ``trials`` the
    Monte Carlo results where asked for. ``dynamic`` has windows along loading where records
    oscillate. ``films`` are the film values of specimens that state layers, ``stress`` the runs of
    finite elements; ``films_failed`` and ``stress_failed`` those without a result.
    ``cache_notes`` say what the cache could not give or keep; no value depends on it, and no file
    contains them. ``populations`` names specimens whose values look like two populations.
    ``scratch`` has the scratch tracks, where there are any; a study of tracks alone has no test.
    """

    study: Study
    batch: Batch
    groups: tuple[Group, ...]
    tests: Reduction
    cycles: Reduction
    tests_table: pl.DataFrame
    cycles_table: pl.DataFrame
    excluded: Mapping[str, str]
    decisions: tuple[Any, ...]
    set_aside: tuple[SetAside, ...]
    series: Mapping[str, Mapping[str, SeriesResult]]
    series_all: Mapping[str, Mapping[str, SeriesResult]]
    provenance: Provenance
    notes: tuple[str, ...] = ()
    cache_notes: tuple[str, ...] = ()
    bins: Mapping[str, Mapping[str, tuple[Bin, ...]]] = field(default_factory=dict)
    comparisons: tuple[tuple[str, Comparison], ...] = ()
    trials: tuple[Trials, ...] = ()
    dynamic: DynamicResult | None = None
    films: tuple[FilmFound, ...] = ()
    films_failed: tuple[FilmFailure, ...] = ()
    stress: tuple[StressResult, ...] = ()
    stress_failed: tuple[StressFailure, ...] = ()
    scratch: ScratchResult | None = None
    populations: Mapping[str, tuple[Populations, ...]] = field(default_factory=dict)

    @property
    def invented(self) -> bool:
        """Whether the study says that its data are invented."""
        return self.study.invented

    @property
    def specimens(self) -> tuple[str, ...]:
        """Specimens that have results, in the order of the study file."""
        have = set(self.tests_table["specimen"].to_list())
        return tuple(s for s in self.study.file.specimens if s in have)

    def rows(self, specimen: str, *, with_excluded: bool = False) -> NDArray[np.int64]:
        """Rows of ``tests`` that belong to a specimen."""
        out = [
            r
            for r, t in enumerate(self.tests.test)
            if self.batch.tests[int(t)].specimen == specimen
            and (with_excluded or self.batch.tests[int(t)].name not in self.excluded)
        ]
        return np.array(out, dtype=np.int64)

    def flags_of(self, test: str) -> tuple[Flag, ...]:
        """Flags of one test."""
        for r, t in enumerate(self.tests.test):
            if self.batch.tests[int(t)].name == test:
                return self.tests.flags[r]
        return ()

    def curve(self, test: str) -> Curve:
        """One test with its corrections step by step."""
        for g in self.groups:
            for i, info in enumerate(g.batch.tests):
                if info.name == test and i not in g.superseded:
                    return _curve(g, i)
        raise KeyError(test)


def _curve(g: Group, i: int) -> Curve:
    from drypoint.records.segments import KIND_NAMES

    r, b = g.reduced, g.batch
    s = b.span(i)
    c = r.corrected
    since = b.time[s] - b.time[c.zero.contact[i]]
    since = np.where(np.isfinite(since), since, 0.0)
    rate = float(c.drift.rate[i])
    fits = []
    w = g.options.analysis
    lo, hi = w.linear_window if w.unloading == "linear" else w.window
    for row in np.flatnonzero(r.readings.test == i):
        if r.fits.status[row] != 0:
            continue
        a, e = int(r.readings.start[row]), int(r.readings.stop[row])
        f, h = c.force[a:e], c.depth[a:e]
        used = (f <= hi * r.readings.F_max[row]) & (f >= lo * r.readings.F_max[row])
        with np.errstate(invalid="ignore"):
            u = 1.0 + (h[used] - r.fits.h_ref[row]) / r.fits.L[row]
            model = r.fits.A[row] * u ** r.fits.m[row]
        fits.append((int(r.readings.cycle[row]), h[used], model, f[used] - model))
    return Curve(
        name=b.tests[i].name,
        time=b.time[s],
        raw_force=b.force[s],
        raw_depth=b.depth[s],
        force=c.force[s],
        depth=c.depth[s],
        zeroed_depth=c.depth[s] + rate * since,
        segments=tuple(
            (KIND_NAMES[k], a - s.start, e - s.start, cy) for k, a, e, cy in r.segments.of(i)
        ),
        fits=tuple(fits),
        zero_depth=float(c.zero.depth[i]),
        u_zero_depth=float(c.zero.u_depth[i]),
        drift_rate=rate,
        u_drift_rate=float(c.drift.u_rate[i]),
    )
