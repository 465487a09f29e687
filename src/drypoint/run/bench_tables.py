"""Tables of a calibration in laboratory units, and its result set on disk."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl

from drypoint.run.belongs import STUDY, check_results
from drypoint.run.bench_result import BenchResult
from drypoint.run.registering import calibration_text, verified_values
from drypoint.store import Origin, new_results, write_json, write_table
from drypoint.store.atomic import atomic_write


def reference_frame(result: BenchResult) -> pl.DataFrame:
    """A row for each unloading on a reference material, seen from the solution."""
    c = result.calibrated.calibration
    t, r = c.tests, c.rows
    return pl.DataFrame(
        {
            "unloading": [t.label(i) for i in range(len(t))],
            "material": [t.materials[j].name for j in t.material],
            "F_max_mN": t.F * 1e3,
            "h_c_nm": r.h_c * 1e9,
            "contact_compliance_nm_per_mN": r.contact_compliance * 1e6,
            "predicted_nm_per_mN": r.predicted * 1e6,
            "residual_nm_per_mN": r.residual * 1e6,
            "standardised_residual": r.standardised,
            "area_seen_um2": r.area_seen * 1e12,
            "H_IT_GPa": r.hardness / 1e9,
            "F_over_S2_per_GPa": r.force_over_stiffness_squared * 1e9,
        }
    )


def area_frame(result: BenchResult, n: int = 60) -> pl.DataFrame:
    """The area function over its range, with standard uncertainty, and the ideal tip's area."""
    c = result.calibrated.calibration
    h = np.geomspace(c.tip.area.h_min, c.tip.area.h_max, n)
    A, u = c.area(h)
    g = c.tip.geometry
    ideal = np.full(n, np.nan)
    if g.angle is not None and g.sides:
        ideal = g.projected_coefficient * h * h
    return pl.DataFrame(
        {
            "h_c_nm": h * 1e9,
            "A_p_um2": A * 1e12,
            "u_A_p_um2": u * 1e12,
            "A_ideal_um2": ideal * 1e12,
        },
        nan_to_null=True,
    )


def block_frame(result: BenchResult) -> pl.DataFrame:
    """A row for each test on a block and quantity."""
    rows = []
    for b in result.blocks:
        q = b.reduced.tests[b.verification.block.quantity]
        for test, value, u in zip(b.reduced.tests.test, q.value, q.u_random, strict=True):
            rows.append(
                {
                    "block": b.specimen,
                    "test": b.batch.tests[int(test)].name,
                    "quantity": q.symbol,
                    "value_GPa": float(value) / 1e9,
                    "u_random_GPa": float(u) / 1e9,
                    "certified_GPa": b.verification.block.value / 1e9,
                }
            )
    return pl.DataFrame(rows, infer_schema_length=None, nan_to_null=True)


def write_bench(result: BenchResult, folder: Path) -> None:
    """Write the calibration as a whole set: the proposal, tables, summary. Nothing is accepted.

    Raises
    ------
    StoreError
        When the folder cannot be written, or holds the results of another study.
    """
    check_results(result.study, folder)
    p = result.provenance
    out = result.study.file.output
    of = {STUDY: result.study.path.name, **p.made_with()}
    origin = Origin(
        p.inputs, p.recipe_hash, p.decisions_hash, p.version, p.seed, of, result.invented
    )
    tables = {"reference_tests": reference_frame(result), "area_function": area_frame(result)}
    if result.blocks:
        tables["block_tests"] = block_frame(result)
    with new_results(folder, origin) as place:
        for stem, table in tables.items():
            write_table(
                table, place / stem, xlsx=out.xlsx, csv_decimal=out.csv_decimal,
                csv_text=out.csv_text, invented=result.invented,
            )  # fmt: skip
        atomic_write(place / "proposal.toml", calibration_text(result).encode("utf-8"))
        write_json(_summary(result), place / "summary.json")


def _summary(result: BenchResult) -> dict[str, object]:
    c = result.calibrated.calibration
    noise = result.noise
    return {
        "study": result.study.name,
        "invented": result.study.file.study.invented,
        "verdict": result.verdict,
        "compliance_nm_per_mN": c.frame.compliance * 1e6,
        "u_compliance_nm_per_mN": c.frame.u_compliance * 1e6,
        "identified_by": list(c.identification.by),
        "sentences": list(c.identification.sentences),
        "findings": [
            {"code": f.code, "sentence": f.sentence, "next": f.next_step, "serious": f.serious}
            for f in result.findings
        ],
        "verification": [verified_values(b) for b in result.blocks],
        "noise_and_drift": list(noise.sentences) if noise is not None else [],
        "excluded": [{"test": t, "why": w} for t, w in result.excluded],
        "set_aside": [
            {"file": s.file, "test": s.test, "reason": s.reason} for s in result.set_aside
        ],
        "notes": list(result.notes),
        "provenance": result.provenance.values(),
    }
