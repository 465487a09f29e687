"""Stress runs as tables in laboratory units, and their fields as files."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from drypoint.notices import origin
from drypoint.run.elastic_first import names_of
from drypoint.run.stress_uncertain import doubt_text
from drypoint.run.stressing import StressResult
from drypoint.store import atomic_write
from drypoint.stress import field, record, vtu_bytes

#: Columns of ``stress``: a row a run. Name -> meaning.
RUN_COLUMNS: dict[str, str] = {
    "run": "name of the run",
    "specimen": "specimen, where one is named",
    "tip": "tip",
    "quality": "fineness of mesh and steps",
    "F_max_mN": "largest force",
    "h_max_nm": "depth there, as the instrument sees it",
    "a_nm": "true contact radius there",
    "A_true_um2": "true projected contact area",
    "A_seen_um2": "area by contact depth and area function",
    "h_c_seen_nm": "contact depth as the instrument finds it",
    "H_true_GPa": "force over true area",
    "H_seen_GPa": "hardness as the instrument finds it",
    "S_seen_mN_per_nm": "stiffness of the unloading as the instrument finds it",
    "E_r_true_GPa": "reduced modulus of the layered solid at the true contact radius",
    "E_r_seen_GPa": "reduced modulus as the instrument finds it",
    "pile_up_nm": "height of the contact's edge above the surface as it was; below zero: sink-in",
    "h_left_nm": "depth at which the tip leaves the impression",
    "work_ratio": "work not given back over work put in",
    "elastic_F_mN": "force (under force control: the same) if nothing yielded",
    "elastic_h_nm": "depth if nothing yielded",
    "u_elastic_F_mN": "standard uncertainty of that force from what is stated of solids and tip",
    "u_elastic_h_nm": "standard uncertainty of the depth if nothing yielded",
    "error_steps_percent": "estimated error of the force by the size of the steps",
    "error_mesh_percent": "by the size of the elements",
    "error_overlap_percent": "by the overlap of tip and surface, of the depth",
    "error_energy_percent": "work neither stored nor dissipated",
    "ripple_percent": "scatter of the force about a smooth curve",
    "elements": "elements of the mesh",
    "unknowns": "unknowns of the equations",
    "iterations": "Newton iterations of the main run",
    "stopped": "why the run ended early; empty where it did not",
}
#: Columns of ``stress_steps``: a row a load step.
STEP_COLUMNS: dict[str, str] = {
    "run": "name of the run",
    "step": "number of the load step, from 1",
    "leg": "number of the leg, from 1: a loading, a hold, an unloading",
    "time_s": "time",
    "F_mN": "force",
    "h_nm": "depth, as the instrument sees it",
    "a_nm": "contact radius",
    "A_um2": "projected contact area",
    "von_mises_GPa": "largest von Mises stress (mean of an element)",
    "tension_GPa": "largest principal stress (mean of an element)",
    "plastic_strain": "largest plastic strain (mean of an element)",
    "work_nJ": "work put in since the start",
    "stored_nJ": "of that, stored",
    "dissipated_nJ": "of that, used up by yield and friction",
}
#: Columns of ``stress_solids``: a row a solid, from the surface downwards.
SOLID_COLUMNS: dict[str, str] = {
    "run": "name of the run",
    "solid": "name of the solid",
    "E_GPa": "Young's modulus",
    "nu": "Poisson's ratio",
    "yield_GPa": "yield stress before any hardening",
    "thickness_nm": "thickness; empty for the substrate",
    "residual_stress_GPa": "stress in the plane before the test",
    "first_yield_F_mN": "force at which it first yields",
    "u_first_yield_F_mN": "its standard uncertainty from what is stated of solids and tip, by the "
    "elastic answer",
    "first_yield_by": "finite elements, elastic (before the first load step), at once, not "
    "reached, elastic solid",
    "largest_plastic_strain": "largest plastic strain at the peak (mean of an element)",
    "largest_von_mises_GPa": "largest von Mises stress at the peak (mean of an element)",
    "largest_tension_GPa": "largest principal stress at the peak (mean of an element)",
    "largest_tension_after_GPa": "the same at the end of the run",
}
#: Columns of ``stress_interfaces``: a row a place on an interface, at the peak and at the end.
INTERFACE_COLUMNS: dict[str, str] = {
    "run": "name of the run",
    "interface": "number of the interface, from 1, the uppermost",
    "at": "peak or end",
    "r_nm": "radius",
    "z_nm": "height, below zero",
    "normal_GPa": "stress across it, tension positive",
    "shear_GPa": "shear stress along it",
}
#: Columns of ``stress_surface``: a row a node of the surface, at the peak and at the end.
SURFACE_COLUMNS: dict[str, str] = {
    "run": "name of the run",
    "at": "peak or end",
    "r_nm": "radius",
    "z_nm": "height; the impression at the end",
    "pressure_GPa": "pressure of the tip",
}
#: Columns of ``stress_budget``: a row a result and number of a solid, where it is wanted.
BUDGET_COLUMNS: dict[str, str] = {
    "run": "name of the run",
    "result": "result of the run",
    "unit": "its unit",
    "value": "value",
    "u": "standard uncertainty by what is not known exactly of solids, tip and load",
    "input": "what is not known exactly",
    "contribution": "what it brings, with its sign, in the unit of the result",
    "share_percent": "its share of the variance",
}
TABLES = {
    "stress": RUN_COLUMNS,
    "stress_steps": STEP_COLUMNS,
    "stress_solids": SOLID_COLUMNS,
    "stress_interfaces": INTERFACE_COLUMNS,
    "stress_surface": SURFACE_COLUMNS,
    "stress_budget": BUDGET_COLUMNS,
}


def stress_tables(results: Sequence[StressResult]) -> dict[str, pl.DataFrame]:
    """All tables of some runs, by the names of their files; nothing where there is no run."""
    if not results:
        return {}
    makers = {
        "stress": _run_rows, "stress_steps": _step_rows, "stress_solids": _solid_rows,
        "stress_interfaces": _interface_rows, "stress_surface": _surface_rows,
        "stress_budget": _budget_rows,
    }  # fmt: skip
    out = {}
    for stem, make in makers.items():
        rows = [row for r in results for row in make(r)]
        if rows:
            table = pl.DataFrame(rows, infer_schema_length=None, nan_to_null=True)
            assert table.columns == list(TABLES[stem])
            out[stem] = table
    return out


def _run_rows(result: StressResult) -> Iterator[dict[str, Any]]:
    run, seen, k = result.run, result.seen, result.run.peak
    clear = run.force[-1] == 0
    e = run.errors
    nan = float("nan")
    yield {
        "run": result.name,
        "specimen": result.specimen,
        "tip": run.profile.name,
        "quality": result.problem.mesh,
        "F_max_mN": float(run.force[k]) * 1e3,
        "h_max_nm": float(run.depth[k]) * 1e9,
        "a_nm": float(run.contact_radius[k]) * 1e9,
        "A_true_um2": float(run.area[k]) * 1e12,
        "A_seen_um2": nan if seen is None else seen.area * 1e12,
        "h_c_seen_nm": nan if seen is None else seen.h_c * 1e9,
        "H_true_GPa": run.hardness / 1e9,
        "H_seen_GPa": nan if seen is None else seen.H_IT / 1e9,
        "S_seen_mN_per_nm": nan if seen is None else seen.S / 1e6,
        "E_r_true_GPa": result.true_E_r / 1e9,
        "E_r_seen_GPa": nan if seen is None else seen.E_r / 1e9,
        "pile_up_nm": run.pile_up * 1e9,
        "h_left_nm": float(run.depth[-1]) * 1e9 if clear else nan,
        "work_ratio": run.plastic_work_ratio if clear else nan,
        "elastic_F_mN": result.elastic.force * 1e3,
        "elastic_h_nm": result.elastic.depth * 1e9,
        "u_elastic_F_mN": result.elastic.u_force * 1e3,
        "u_elastic_h_nm": result.elastic.u_depth * 1e9,
        "error_steps_percent": nan if e is None else e.steps * 100,
        "error_mesh_percent": nan if e is None else e.mesh * 100,
        "error_overlap_percent": nan if e is None else e.overlap * 100,
        "error_energy_percent": run.balance * 100,
        "ripple_percent": nan if e is None else e.ripple * 100,
        "elements": run.estimate.elements,
        "unknowns": run.estimate.unknowns,
        "iterations": run.iterations,
        "stopped": run.stopped,
    }


def _step_rows(result: StressResult) -> Iterator[dict[str, Any]]:
    run = result.run
    for k in range(len(run.force)):
        f = field(run, k)
        yield {
            "run": result.name,
            "step": k + 1,
            "leg": int(run.leg[k]) + 1,
            "time_s": float(run.time[k]),
            "F_mN": float(run.force[k]) * 1e3,
            "h_nm": float(run.depth[k]) * 1e9,
            "a_nm": float(run.contact_radius[k]) * 1e9,
            "A_um2": float(run.area[k]) * 1e12,
            "von_mises_GPa": float(f.von_mises.mean(axis=1).max()) / 1e9,
            "tension_GPa": float(f.principal[..., 0].mean(axis=1).max()) / 1e9,
            "plastic_strain": float(f.plastic_strain.mean(axis=1).max()),
            "work_nJ": float(run.work[k]) * 1e9,
            "stored_nJ": float(run.stored[k]) * 1e9,
            "dissipated_nJ": float(run.dissipated[k]) * 1e9,
        }


def _solid_rows(result: StressResult) -> Iterator[dict[str, Any]]:
    run, stack = result.run, result.problem.stack
    top, last = field(run, run.peak), field(run, -1)
    for k, (m, s, y) in enumerate(
        zip(stack.materials, stack.stresses, result.first_yield, strict=True)
    ):
        mine = run.mesh.layer == k
        yield {
            "run": result.name,
            "solid": y.name,
            "E_GPa": m.E / 1e9,
            "nu": m.nu,
            "yield_GPa": m.first_yield / 1e9 if np.isfinite(m.first_yield) else float("nan"),
            "thickness_nm": stack.layers[k].thickness * 1e9
            if k < len(stack.layers)
            else float("nan"),
            "residual_stress_GPa": s / 1e9,
            "first_yield_F_mN": y.force * 1e3,
            "u_first_yield_F_mN": y.u_force * 1e3,
            "first_yield_by": y.how,
            "largest_plastic_strain": float(top.plastic_strain[mine].mean(axis=1).max()),
            "largest_von_mises_GPa": float(top.von_mises[mine].mean(axis=1).max()) / 1e9,
            "largest_tension_GPa": float(top.principal[mine, :, 0].mean(axis=1).max()) / 1e9,
            "largest_tension_after_GPa": float(last.principal[mine, :, 0].mean(axis=1).max()) / 1e9,
        }


def _interface_rows(result: StressResult) -> Iterator[dict[str, Any]]:
    for at, step in (("peak", result.run.peak), ("end", -1)):
        for k, one in enumerate(result.interfaces(step)):
            for r, z, normal, shear in zip(one.r, one.z, one.normal, one.shear, strict=True):
                yield {
                    "run": result.name,
                    "interface": k + 1,
                    "at": at,
                    "r_nm": float(r) * 1e9,
                    "z_nm": float(z) * 1e9,
                    "normal_GPa": float(normal) / 1e9,
                    "shear_GPa": float(shear) / 1e9,
                }


def _surface_rows(result: StressResult) -> Iterator[dict[str, Any]]:
    for at, step in (("peak", result.run.peak), ("end", -1)):
        s = result.run.surfaces[step]
        for r, z, p in zip(s.r, s.z, s.pressure, strict=True):
            yield {
                "run": result.name,
                "at": at,
                "r_nm": float(r) * 1e9,
                "z_nm": float(z) * 1e9,
                "pressure_GPa": float(p) / 1e9,
            }


def _budget_rows(result: StressResult) -> Iterator[dict[str, Any]]:
    names = names_of(result.problem)
    for one in result.uncertain:
        for part in one.parts:
            yield {
                "run": result.name,
                "result": one.quantity,
                "unit": one.unit,
                "value": one.value,
                "u": one.u,
                "input": doubt_text(part.doubt, names),
                "contribution": part.u,
                "share_percent": 100 * one.share(part),
            }


def write_vtu(result: StressResult, folder: Path, which: str) -> list[Path]:
    """Fields as VTU files, one a step: “peak”, “every step” or “none” of them.

    Returns
    -------
    list of Path
        The files, each whole.
    """
    steps = {"none": [], "peak": [result.run.peak], "every step": range(len(result.run.force))}
    out = []
    for k in steps[which]:
        path = folder / f"stress-{plain_name(result.name)}-{k + 1:04d}.vtu"
        atomic_write(path, vtu_bytes(result.run, k, notice=_notice(result)))
        out.append(path)
    return out


def record_text(result: StressResult, samples: int = 800) -> str:
    """The run as a test record: time, force and depth as delimited text.

    The first line is a comment that says that the record was computed; the readers skip it.
    """
    rows = zip(*record(result.run, samples), strict=True)
    lines = [f"{t:.6g};{F * 1e3:.8g};{h * 1e9:.8g}\n" for t, F, h in rows]
    return f"# {_notice(result)}\nTime (s);Force (mN);Depth (nm)\n" + "".join(lines)


def _notice(result: StressResult) -> str:
    """What the files of a run say of themselves in their first line."""
    return f"{origin(invented=result.invented, computed=True)}: finite elements by Drypoint"


def write_record(result: StressResult, folder: Path) -> Path:
    """Write the record as a text file, whole or not at all."""
    path = folder / f"stress-{plain_name(result.name)}-record.txt"
    atomic_write(path, record_text(result).encode("utf-8"))
    return path


def plain_name(name: str) -> str:
    """A name that is safe in the name of a file, and another for every name."""
    plain = re.sub(r"[^A-Za-z0-9_-]+", "_", name)
    return plain if plain == name else f"{plain}-{hashlib.sha256(name.encode()).hexdigest()[:6]}"


def stress_summary(result: StressResult) -> dict[str, Any]:
    """A run as plain values for ``summary.json``: the row of ``stress``, provenance, notes."""
    (row,) = _run_rows(result)
    return {
        **{k: None if isinstance(v, float) and np.isnan(v) else v for k, v in row.items()},
        "uncertain": [
            {"result": one.quantity, "unit": one.unit, "value": one.value, "u": one.u}
            for one in result.uncertain
        ],
        "input_sha256": result.key,
        "notes": list(result.run.notes),
    }
