"""Write a study's results as one whole set: tables, summary, manifest."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import polars as pl

from drypoint.run.belongs import STUDY
from drypoint.run.columns import COLUMNS, MEANING, factor_of
from drypoint.run.gathering import bins_frame
from drypoint.run.result import StudyResult
from drypoint.store import Origin, new_results, write_json, write_table
from drypoint.uncertainty.bins import Bin

#: Properties whose series stand in the summary.
SUMMARY = tuple(s for s in COLUMNS if s not in ("epsilon",))


def write_results(result: StudyResult, folder: Path) -> None:
    """Write ``tests.*``, ``cycles.*``, ``summary.json`` (and bins, and windows along loading
    where there are any); the earlier set stays until all is done.

    Raises
    ------
    StoreError
        When the folder cannot be written.
    """
    p = result.provenance
    of = {STUDY: result.study.path.name, **p.made_with()}
    origin = Origin(
        p.inputs, p.recipe_hash, p.decisions_hash, p.version, p.seed, of, result.invented
    )
    with new_results(folder, origin) as place:
        for stem, table in (("tests", result.tests_table), ("cycles", result.cycles_table)):
            _write_table(result, table, place / stem)
        if result.bins:
            _write_table(result, bins_frame(result.bins), place / "depth_bins")
        for stem, more in dynamic_tables(result).items():
            _write_table(result, more, place / stem)
        _write_films(result, place)
        _write_stress(result, place)
        _write_scratch(result, place)
        write_json(summary(result), place / "summary.json")


def _write_table(result: StudyResult, table: pl.DataFrame, stem: Path) -> None:
    """A table in the forms that the study asks for; invented data say so in each."""
    out = result.study.file.output
    write_table(
        table, stem, xlsx=out.xlsx, csv_decimal=out.csv_decimal, csv_text=out.csv_text,
        invented=result.invented,
    )  # fmt: skip


def _write_films(result: StudyResult, place: Path) -> None:
    """Tables of the film values, where a specimen states layers."""
    if not result.films:
        return
    from drypoint.run.film_tables import film_tables

    for stem, table in film_tables(result).items():
        _write_table(result, table, place / stem)


def _write_stress(result: StudyResult, place: Path) -> None:
    """Tables of the finite elements, and their fields where the study asks for files."""
    if not result.stress:
        return
    from drypoint.run.stress_tables import stress_tables, write_record, write_vtu

    for stem, table in stress_tables(result.stress).items():
        _write_table(result, table, place / stem)
    for one in result.stress:
        write_record(one, place)
        write_vtu(one, place, result.study.file.stress[one.name].vtu)


def _write_scratch(result: StudyResult, place: Path) -> None:
    """Tables of the scratch tracks, where the study has any."""
    if result.scratch is None:
        return
    from drypoint.run.track_tables import scratch_tables

    for stem, table in scratch_tables(result.scratch).items():
        _write_table(result, table, place / stem)


def dynamic_tables(result: StudyResult) -> dict[str, pl.DataFrame]:
    """Windows along loading and their bins of depth; nothing where no record oscillates."""
    if result.dynamic is None:
        return {}
    return {"dynamic": result.dynamic.table, "dynamic_bins": bins_frame(result.dynamic.bins)}


def summary(result: StudyResult) -> dict[str, Any]:
    """The summary as plain values: series with and without exclusions, set aside, provenance."""
    return {
        "study": result.study.name,
        "invented": result.study.file.study.invented,
        "tests_reduced": len(result.tests),
        "tests_excluded": int(result.tests_table["excluded"].sum()),
        "set_aside": [asdict(s) for s in result.set_aside],
        "excluded": [
            {"test": t, "why": w}
            for t, w in zip(
                result.tests_table["test"], result.tests_table["excluded_because"], strict=True
            )
            if w is not None
        ],
        "series": {s: _series(result.series[s]) for s in result.series},
        "series_with_excluded": {s: _series(result.series_all[s]) for s in result.series_all},
        "populations": {s: [p.values() for p in f] for s, f in result.populations.items()},
        "comparisons": [{"quantity": s, **asdict(c)} for s, c in result.comparisons],
        "monte_carlo": [_trials(t) for t in result.trials],
        "inputs": [
            {"name": n, "value_SI": float(v), "u_SI": float(u), "origin": o}
            for n, v, u, o in zip(
                result.tests.inputs.names,
                result.tests.inputs.mean,
                result.tests.inputs.sd,
                result.tests.inputs.origin,
                strict=True,
            )
        ],
        "correlations": [[float(c) for c in row] for row in _correlation(result)],
        **_films(result),
        **_dynamic(result),
        **_stress(result),
        **_scratch(result),
        "notes": list(result.notes),
        "provenance": result.provenance.values(),
    }


def _films(result: StudyResult) -> dict[str, Any]:
    """Film values, where a specimen states layers."""
    if not any(s.layers for s in result.study.file.specimens.values()):
        return {}
    from drypoint.run.film_answers import film_answers
    from drypoint.run.film_tables import film_summary

    level = result.study.file.output.level_of_confidence
    return {
        "films": [
            {**film_summary(f, level), "answers": [list(a) for a in film_answers(f, level)]}
            for f in result.films
        ],
        "films_failed": [asdict(f) for f in result.films_failed],
    }


def _dynamic(result: StudyResult) -> dict[str, Any]:
    """Records with an oscillation: how many windows, and each bin of contact depth as a series."""
    d = result.dynamic
    if d is None:
        return {}
    own, out = d.table["withheld_because"], d.table["excluded"]
    counts = {"windows": len(own), "windows_withheld": len(own) - own.null_count(),
              "windows_excluded": int(out.sum())}  # fmt: skip

    def one(b: Bin, symbol: str) -> dict[str, Any]:
        edges = {"h_c_from_nm": b.low * 1e9, "h_c_to_nm": b.high * 1e9, "h_c_nm": b.depth * 1e9}
        return {**edges, **_series({symbol: b.result})[symbol]}

    bins = {
        specimen: {s: [one(b, s) for b in found if b.result is not None] for s, found in of.items()}
        for specimen, of in d.bins.items()
    }
    return {"dynamic": {**counts, "bins": bins}}


def _scratch(result: StudyResult) -> dict[str, Any]:
    """Scratch tracks, where the study has any."""
    if result.scratch is None:
        return {}
    from drypoint.run.track_tables import scratch_summary

    return {"scratch": scratch_summary(result.scratch)}


def _stress(result: StudyResult) -> dict[str, Any]:
    """Stress runs, where the study asks for any."""
    if not result.study.file.stress:
        return {}
    from drypoint.run.stress_tables import stress_summary

    return {
        "stress": [stress_summary(s) for s in result.stress],
        "stress_failed": [asdict(f) for f in result.stress_failed],
    }


def _correlation(result: StudyResult) -> Any:
    import numpy as np

    sd = result.tests.inputs.sd
    safe = np.where(sd > 0, sd, 1.0)
    return result.tests.inputs.cov / np.outer(safe, safe)


def _trials(t: Any) -> dict[str, Any]:
    f = factor_of(t.symbol)
    return {
        "specimen": t.specimen,
        "quantity": t.symbol,
        "unit": COLUMNS[t.symbol][0],
        "trials": t.mc.n,
        "level": t.mc.level,
        "mean": float(t.mc.mean) / f,
        "u": float(t.mc.u) / f,
        "interval": [float(v) / f for v in t.mc.symmetric],
        "shortest_interval": [float(v) / f for v in t.mc.shortest],
        "linear_agrees": t.linear.agrees,
        "tolerance": t.linear.delta / f,
    }


def _series(by_symbol: Any) -> dict[str, Any]:
    out = {}
    for symbol, s in by_symbol.items():
        f = factor_of(symbol)
        unit = COLUMNS[symbol][0]
        out[symbol] = {
            "meaning": MEANING[symbol],
            "unit": unit,
            "n": s.n,
            "mean": s.mean / f,
            "u": s.u / f,
            "u_type_a": s.u_type_a / f,
            "u_systematic": s.u_systematic / f,
            "U": s.expanded / f,
            "level": s.level,
            "k": s.k,
            "dof": s.dof,
            "spread": s.s / f,
            "u_random_of_one_test": s.u_random / f,
            "own_variation": s.own / f,
            "own_variation_interval": [v / f for v in s.own_interval],
            "own_variation_resolved": s.own_resolved,
            "notes": list(s.notes),
        }
    return out
