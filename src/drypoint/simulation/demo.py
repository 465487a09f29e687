"""Write the demo: raw files, study, truth and README of an invented laboratory."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from drypoint.errors import Where
from drypoint.records.cells import safe_cell
from drypoint.simulation.bench_scenario import CERTIFIED, bench_scenario
from drypoint.simulation.bench_text import bench_toml
from drypoint.simulation.demo_tracks import (
    decisions,
    planned_tracks,
    track_files,
    tracks_toml,
    truth_text,
)
from drypoint.simulation.formats import style_a, style_b, zipped
from drypoint.simulation.record import Record, simulate
from drypoint.simulation.scenario import FILM_STATED, STATED, Planned, Scenario, scenario
from drypoint.simulation.study_text import MARK, README, study_toml
from drypoint.simulation.truth import Expected, SimulationError

#: Column of truth.csv -> (symbol of Expected, factor from SI).
COLUMNS: Mapping[str, tuple[str, float]] = {
    "F_max_mN": ("F_max", 1e3),
    "h_max_nm": ("h_max", 1e9),
    "h_c_nm": ("h_c", 1e9),
    "h_p_nm": ("h_p", 1e9),
    "h_r_nm": ("h_r", 1e9),
    "A_p_um2": ("A_p", 1e12),
    "S_mN_per_nm": ("S", 1e-6),
    "m": ("m", 1.0),
    "epsilon": ("epsilon", 1.0),
    "H_IT_GPa": ("H_IT", 1e-9),
    "HM_GPa": ("HM", 1e-9),
    "E_r_GPa": ("E_r", 1e-9),
    "E_IT_GPa": ("E_IT", 1e-9),
    "W_total_nJ": ("W_total", 1e9),
    "W_elast_nJ": ("W_elast", 1e9),
    "eta_IT_percent": ("eta_IT", 1e2),
    "C_IT_percent": ("C_IT", 1e2),
    "plastic_share": ("plastic_share", 1.0),
}

_HEADER = {
    "film": {
        "Specimen": "film on a wafer, invented",
        "Date": "2025-03-11",
        "Operator": "invented operator A",
        "Indenter": "B1",
        "Temperature": "23.1 °C",
        "Humidity": "40 %",
        "Control": "force",
    },
    "steel": {
        "Specimen": "two-phase steel, invented",
        "Date": "2025-03-12",
        "Operator": "invented operator B",
        "Indenter": "B1",
        "Temperature": "22.7 °C",
        "Humidity": "43 %",
        "Control": "force",
    },
}
_HEADER["tempered"] = {
    **_HEADER["steel"],
    "Specimen": "steel after tempering, invented",
    "Date": "2025-03-13",
}
#: Share of the broken file that is written.
_CUT = 0.3


_GROUPS = ("glass", "film", "steel", "tempered")


def make_demo(folder: Path, seed: int = 7, *, overwrite: bool = False) -> Path:
    """Write the demo into a folder and return the path of its ``study.toml``.

    The study uses a bench that the calibration study ``bench/bench.toml`` beside it finds: make
    and accept that calibration first.

    The README goes first and the study file last, so that a broken-off run leaves no study.

    Raises
    ------
    SimulationError
        When the folder is not empty; with ``overwrite``, when it is not an earlier demo.
    """
    folder = Path(folder)
    _check(folder, overwrite)
    plan = scenario(seed)
    records = [simulate(p.truth, p.cycle, (seed, 2, i)) for i, p in enumerate(plan.tests)]
    bench = bench_scenario(seed)
    on_bench = [simulate(p.truth, p.cycle, (seed, 4, i)) for i, p in enumerate(bench.tests)]
    files = raw_files(plan, records)
    files.update({f"bench/{n}": d for n, d in raw_files(bench, on_bench).items()})
    counts = {g: sum(f.startswith(f"raw/{g}/") for f in files) for g in _GROUPS}
    _write(folder / "README.txt", README.format(seed=seed, **counts).encode("utf-8"))
    for name, data in files.items():
        _write(folder / name, data)
    _write(folder / "truth.csv", truth_csv(plan, records).encode("utf-8"))
    _write(folder / "truth.json", truth_json(plan, records).encode("utf-8"))
    _write(folder / "bench/truth.csv", truth_csv(bench, on_bench).encode("utf-8"))
    _write(folder / "bench/truth.json", truth_json(bench, on_bench).encode("utf-8"))
    _write(folder / "bench/bench.toml", bench_toml(seed).encode("utf-8"))
    _write_tracks(folder / "scratch", seed)
    study = folder / "study.toml"
    _write(study, study_toml(seed).encode("utf-8"))
    return study


def _write_tracks(folder: Path, seed: int) -> None:
    """The scratch tracks with a study file of their own."""
    plan = planned_tracks(seed)
    for name, data in track_files(plan).items():
        _write(folder / name, data)
    _write(folder / "truth.csv", truth_text(plan))
    _write(folder / "scratch.decisions.jsonl", decisions(plan))
    _write(folder / "scratch.toml", tracks_toml(MARK, seed).encode("utf-8"))


def _check(folder: Path, overwrite: bool) -> None:
    where = Where(file=str(folder))
    if folder.exists() and not folder.is_dir():
        raise SimulationError(
            "This is a file, not a folder.", where=where, remedy="Name another folder."
        )
    if not folder.exists() or not any(folder.iterdir()):
        return
    readme = folder / "README.txt"
    marked = readme.is_file() and readme.read_bytes().startswith(MARK.encode("utf-8"))
    if not marked:
        raise SimulationError(
            "The folder is not empty and holds no earlier demo; nothing was written.",
            where=where,
            remedy="Name an empty or new folder.",
        )
    if not overwrite:
        raise SimulationError(
            "The folder holds a demo already; nothing was written.",
            where=where,
            remedy="Name another folder, or allow overwriting.",
        )


def _write(path: Path, data: bytes) -> None:
    """A file whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(path.name + ".part")
    part.write_bytes(data)
    part.replace(path)


def raw_files(plan: Scenario, records: Sequence[Record]) -> dict[str, bytes]:
    """Name and content of each raw file."""
    groups: dict[str, list[tuple[Planned, Record]]] = {}
    for planned, record in zip(plan.tests, records, strict=True):
        groups.setdefault(planned.file, []).append((planned, record))
    files = {}
    for name, members in groups.items():
        inside = [r for _, r in members]
        specimen = inside[0].truth.specimen
        if specimen in ("glass", "reference", "block"):
            data = style_a(inside[0])
        elif specimen == "film":
            data = style_b(inside, _HEADER["film"], split="blocks", encoding="utf-8-sig")
        else:
            data = style_b(
                inside, _HEADER[specimen], split="column", encoding="utf-16", newline="\r\n"
            )
        if members[0][0].cut:
            data = _broken_off(data)
        files[name] = zipped(data) if name.endswith(".gz") else data
    return files


def _broken_off(data: bytes) -> bytes:
    """The first part of a file, up to the middle of a number."""
    at = data.index(b"\n", int(_CUT * len(data)))
    return data[: data.index(b";", at) + 3]


def _values(e: Expected) -> dict[str, float | None]:
    given = e.as_dict()
    out: dict[str, float | None] = {}
    for column, (symbol, f) in COLUMNS.items():
        value = given[symbol] * f
        out[column] = None if math.isnan(value) else float(f"{value:.10g}")
    return out


def truth_csv(plan: Scenario, records: Sequence[Record]) -> str:
    """The truth as a table: one row an unloading; a test with a fault has one row without values.

    Columns as in the results, with the file, the test and what is wrong with it.
    """
    out = io.StringIO()
    out.write(f"# {MARK}\n")
    table = csv.writer(out, lineterminator="\n")
    table.writerow(["file", "test", "specimen", "phase", "fault", "cycle", *COLUMNS])
    for p, r in zip(plan.tests, records, strict=True):
        head = [safe_cell(c) for c in (p.file, p.truth.name, p.truth.specimen, p.phase, _fault(p))]
        if _fault(p):
            table.writerow([*head, "", *([""] * len(COLUMNS))])
            continue
        for e in r.expected:
            row = _values(e).values()
            table.writerow([*head, e.cycle, *("" if v is None else repr(v) for v in row)])
    return out.getvalue()


def _fault(p: Planned) -> str:
    return "broken off" if p.cut else p.truth.fault or ""


def truth_json(plan: Scenario, records: Sequence[Record]) -> str:
    """The truth with what lies behind it: stated and true inputs, laws, disturbances."""
    tests = []
    for p, r in zip(plan.tests, records, strict=True):
        t = p.truth
        tests.append(
            {
                "file": p.file,
                "test": t.name,
                "specimen": t.specimen,
                "phase": p.phase or None,
                "fault": _fault(p) or None,
                "E_Pa": _law(t.E),
                "H_Pa": _law(t.H),
                "nu": t.nu,
                "m": t.m,
                "creep": asdict(t.creep),
                "drift_rate_nm_per_s": t.drift_rate * 1e9,
                "zero_nm": t.zero_offset * 1e9,
                "pop_in_force_mN": None if t.pop_in_force is None else t.pop_in_force * 1e3,
                "position_um": None if t.position_m is None else [v * 1e6 for v in t.position_m],
                "cycles": [] if _fault(p) else [_values(e) for e in r.expected],
            }
        )
    stated = {
        k: {"value": v, "u": u} for k, (v, u) in {**STATED, **FILM_STATED, **CERTIFIED}.items()
    }
    whole = {
        "invented": True,
        "remark": MARK,
        "seed": plan.seed,
        "stated": stated,
        "true": dict(plan.true),
        "tests": tests,
    }
    return json.dumps(whole, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _law(law: Any) -> dict[str, Any]:
    """A law without its nodes, and without the infinite length of a constant, which JSON cannot
    hold."""
    return {
        k: (None if v == math.inf else v)
        for k, v in asdict(law).items()
        if not k.startswith("log_")
    }
