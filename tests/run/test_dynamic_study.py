"""A study whose raw files have an oscillation: from columns in a text file to tables."""

from __future__ import annotations

import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from drypoint import figures
from drypoint.recipe import load_study
from drypoint.records.names import take_apart
from drypoint.report import gather, render_html
from drypoint.run import StudyResult, run_study
from drypoint.run.columns import DYNAMIC, column
from drypoint.run.rerun import Change, Rerun, rerun
from drypoint.simulation import Law, Noise, Oscillation, Truth, simulate, single
from drypoint.store.results import read_results
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry

N = 4
STUDY = """
drypoint = 1
study = { name = "oscillation", invented = true }

[[records]]
files = ["raw/*.csv"]
specimen = "glass"

[specimens.glass]
nu = 0.17
u_nu = 0.01

[tips.B1]
shape = "modified Berkovich"
radius_nm = 80.0
u_radius_nm = 2.0

[tips.B1.area]
kind = "blunted"

[frame]
compliance_nm_per_mN = 0.2
u_compliance_nm_per_mN = 0.01
support_spring_N_per_m = 100.0
u_support_spring_N_per_m = 1.0
moving_mass_g = 0.1
damping_N_s_per_m = 2.0

[dynamic]
frequency_Hz = 75.0
"""


def write_raw(folder: Path) -> None:
    """Invented records as a text file with amplitude in nm and phase in degrees."""
    truth = Truth(
        tip=blunted_tip(Geometry("modified Berkovich", radius=80e-9)),
        E=Law.constant(72e9), H=Law.constant(9.2e9), nu=0.17, m=1.3, compliance=0.2e-6,
        zero_offset=200e-9, noise=Noise(force_white=0.3e-6, depth_white=0.1e-9),
        oscillation=Oscillation(
            amplitude=0.5e-9, force_noise=0.05e-6, depth_noise=0.005e-9, phase_noise=1e-3
        ),
    )  # fmt: skip
    folder.mkdir(parents=True)
    cycle = single(8e-3, shape=2.0, load=60.0, drift_hold=30.0)
    for i in range(N):
        r = simulate(replace(truth, name=f"T{i + 1}"), cycle, i)
        c = {k: np.nan_to_num(v) for k, v in r.channels.items()}
        pl.DataFrame(
            {
                "Time (s)": r.time,
                "Load (mN)": r.force * 1e3,
                "Depth (nm)": r.depth * 1e9,
                "Displacement amplitude (nm)": c["amplitude"] * 1e9,
                "Dynamic load (µN)": c["force_amplitude"] * 1e6,
                "Phase angle (deg)": np.degrees(c["phase"]),
            }
        ).write_csv(folder / f"T{i + 1}.csv")


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dynamic")
    write_raw(folder / "raw")
    path = folder / "study.toml"
    path.write_text(STUDY, encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def result(study: Path) -> StudyResult:
    return run_study(study)


@pytest.mark.parametrize(
    ("name", "role"),
    [
        ("Displacement amplitude (nm)", "amplitude"),
        ("Oscillation displacement / nm", "amplitude"),
        ("Wegamplitude (nm)", "amplitude"),
        ("Dynamic load (µN)", "force_amplitude"),
        ("Force amplitude [uN]", "force_amplitude"),
        ("Kraftamplitude in µN", "force_amplitude"),
        ("Phase angle (deg)", "phase"),
        ("Dynamic frequency (Hz)", "frequency"),
        ("Frequenz (Hz)", "frequency"),
        ("Alternating contact stiffness (N/m)", "stiffness"),
        ("Dynamic stiffness (mN/nm)", "stiffness"),
    ],
)
def test_names_of_columns(name: str, role: str) -> None:
    """Amplitudes by their names, or by a modifier and the base quantity; the force and the depth
    themselves are not taken for amplitudes."""
    assert take_apart(name).claims == (role,)
    assert take_apart("Load (mN)").claims == ("force",)


def test_tables_hold_the_truth(result: StudyResult) -> None:
    assert result.dynamic is not None
    table = result.dynamic.table
    assert table["test"].unique(maintain_order=True).to_list() == [f"T{i + 1}" for i in range(N)]
    properties = [column(s, p) for s in DYNAMIC for p in ("", "u_", "ur_", "us_")]
    assert [c for c in table.columns if c in properties] == properties
    deep = table.filter(pl.col("H_IT_GPa").is_not_null() & (pl.col("h_c_nm") > 30))
    assert deep.height > 100
    for name, true in (("H_IT_GPa", 9.2), ("E_IT_GPa", 72.0)):
        off = (deep[name] - true) / deep[f"u_{name}"]
        assert (off.abs() < 2).mean() > 0.9
    closed = table.filter(pl.col("E_IT_GPa").is_null())
    assert closed.height > 0
    assert closed["withheld_because"].is_not_null().all()
    assert closed["F_mN"].is_not_null().all()
    assert table["frequency_Hz"].unique().to_list() == [75.0]


def test_bins_are_means_over_tests(result: StudyResult) -> None:
    assert result.dynamic is not None
    bins = result.dynamic.bins["glass"]["H_IT"]
    full = [b for b in bins if b.result is not None and b.result.n == N and b.depth > 30e-9]
    assert len(full) > 10
    for b in full:
        assert b.result is not None
        assert abs(b.result.mean - 9.2e9) < 2.5 * b.result.u


def test_what_is_written_reads_back(study: Path, result: StudyResult) -> None:
    stored = read_results(load_study(study).results)
    assert result.dynamic is not None
    assert stored.table("dynamic").drop("invented").equals(result.dynamic.table)
    assert "dynamic_bins.csv" in stored.manifest.files
    names = [i["name"] for i in stored.json("summary.json")["inputs"]]
    assert {"frame.K_s", "frame.mass", "frame.D_i"} <= set(names)


def test_the_summary_holds_the_bins(study: Path, result: StudyResult) -> None:
    found = read_results(load_study(study).results).json("summary.json")["dynamic"]
    assert result.dynamic is not None
    table = result.dynamic.table
    assert found["windows"] == table.height
    assert found["windows_withheld"] == table["withheld_because"].is_not_null().sum() > 0
    for symbol, unit, factor in (("H_IT", "GPa", 1e9), ("E_IT", "GPa", 1e9)):
        bins = [b for b in result.dynamic.bins["glass"][symbol] if b.result is not None]
        written = found["bins"]["glass"][symbol]
        assert len(written) == len(bins) > 10
        for b, w in zip(bins, written, strict=True):
            assert b.result is not None and w["unit"] == unit
            assert w["mean"] == pytest.approx(b.result.mean / factor, rel=1e-12)
            assert w["u"] == pytest.approx(b.result.u / factor, rel=1e-12)
            assert w["h_c_from_nm"] <= w["h_c_nm"] <= w["h_c_to_nm"]


def test_a_rerun_tells_what_moved_along_loading(study: Path) -> None:
    """E_r goes as 1/beta, E_IT as 1 - nu^2 (ISO 14577-1); H knows of neither."""
    found = rerun(study, [Change("analysis.beta", 1.1), Change("specimens.glass.nu", 0.2)])
    along = [m for m in found.moved if m.depth is not None]
    assert {m.symbol for m in along} == {"H_IT", "E_IT"}
    assert len(along) > 20
    for m in along:
        if m.symbol == "H_IT":
            assert m.after == pytest.approx(m.before, rel=1e-12)
            continue
        # 1/E_r = (1 - nu^2)/E_IT + (1 - nu_i^2)/E_i, diamond 1140 GPa and 0.07.
        diamond = (1 - 0.07**2) / 1140
        E_r = 1 / ((1 - 0.17**2) / m.before + diamond)
        beta = (1 - 0.17**2) / (1.1 / (E_r * found_beta(found)) - diamond)
        assert m.before + m.by["analysis.beta"] == pytest.approx(beta, rel=2e-3)
        assert m.by["specimens.glass.nu"] == pytest.approx(
            m.before * ((1 - 0.2**2) / (1 - 0.17**2) - 1), rel=2e-3
        )
        assert m.after - m.before == pytest.approx(sum(m.by.values()) + m.together, rel=1e-9)
    table = found.table()
    assert table["h_c_from_nm"].null_count() == len(found.moved) - len(along) > 0
    assert table["by_analysis.beta"].null_count() == 0


def found_beta(found: Rerun) -> float:
    """beta of the first run."""
    assert found.before.dynamic is not None
    inputs = found.before.dynamic.rows.inputs
    return float(inputs.mean[inputs.names.index("beta")])


def test_report_and_figure_show_the_depths(result: StudyResult) -> None:
    """The figure's words hold numbers, the report has the section, the bench its constants."""
    picture = figures.along_loading(result, "glass")
    assert picture.svg() == figures.along_loading(result, "glass").svg()
    assert re.search(r"H_IT: mean \d", picture.alt) and "nan" not in picture.alt
    assert [a.get_xlabel() for a in picture.axes] != ["", ""]
    text = render_html(gather(result))
    for words in ("glass along loading", "Support spring", "windows are withheld"):
        assert words in text
    assert result.dynamic is not None
    none = replace(result, dynamic=None)
    assert "No depth" in figures.along_loading(none, "glass").alt


def test_an_excluded_test_counts_in_no_bin(study: Path, tmp_path: Path) -> None:
    shutil.copytree(study.parent, tmp_path / "s")
    own = tmp_path / "s" / "study.toml"
    line = {"id": 1, "what": "exclude", "test": "T2", "why": "dust", "who": "A. Person",
            "when": "2026-01-01T00:00:00Z"}  # fmt: skip
    load_study(own).decisions.write_text(json.dumps(line) + "\n", encoding="utf-8")
    r = run_study(own, write=False)
    assert r.dynamic is not None
    out = r.dynamic.table.filter(pl.col("excluded"))
    assert out["test"].unique().to_list() == ["T2"]
    assert out["excluded_because"].str.starts_with("dust").all()
    most = max(b.result.n for b in r.dynamic.bins["glass"]["H_IT"] if b.result is not None)
    assert most == N - 1
