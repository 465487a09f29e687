"""Scratch tracks of a study, on the demo's two invented coatings: truth, faults, decisions."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from drypoint.recipe import Decision, append
from drypoint.run import StudyResult, run_study
from drypoint.run.track_tables import scratch_tables
from drypoint.store import read_results


@pytest.fixture(scope="module")
def scratched(demo_study: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's study of tracks, run once; not to be changed by a test."""
    folder = tmp_path_factory.mktemp("tracks") / "scratch"
    shutil.copytree(demo_study.parent / "scratch", folder)
    run_study(folder / "scratch.toml")
    return folder / "scratch.toml"


@pytest.fixture
def own(scratched: Path, tmp_path: Path) -> Path:
    """A copy that a test may change."""
    shutil.copytree(scratched.parent, tmp_path / "scratch")
    return tmp_path / "scratch" / "scratch.toml"


def tables(result: StudyResult) -> dict[str, pl.DataFrame]:
    assert result.scratch is not None
    return scratch_tables(result.scratch)


def row(table: pl.DataFrame, **where: str) -> dict[str, object]:
    for key, value in where.items():
        table = table.filter(table[key] == value)
    return table.row(0, named=True)


def test_critical_loads_against_the_truth(scratched: Path) -> None:
    """What was confirmed holds the invented truth in its interval (95 %; here of some forty)."""
    loads = read_results(scratched.parent / "results").table("critical_loads")
    with (scratched.parent / "truth.csv").open(encoding="utf-8", newline="") as file:
        true = {r["track"]: r for r in csv.DictReader(file)}
    seen = loads.filter(loads["how"] == "confirmed")
    inside = [
        r["low_mN"] <= float(true[r["track"]][f"{r['event']}_mN"]) <= r["high_mN"]
        for r in seen.iter_rows(named=True)
        if true[r["track"]][f"{r['event']}_mN"]
    ]
    assert len(inside) >= 30 and np.mean(inside) >= 0.85
    found = (
        loads.filter(loads["event"] == "Lc1").group_by("specimen").agg(pl.col("load_mN").median())
    )
    a, b = (row(found, specimen=s)["load_mN"] for s in ("coating A", "coating B"))
    assert a > b  # type: ignore[operator]


def test_a_second_run_is_the_same_to_the_byte(own: Path) -> None:
    folder = own.parent / "results"
    before = {p.name: p.read_bytes() for p in folder.iterdir() if p.suffix == ".csv"}
    run_study(own)
    assert {p.name: p.read_bytes() for p in folder.iterdir() if p.suffix == ".csv"} == before


def test_a_missing_pass_is_said_and_the_rest_computed(own: Path, scratched: Path) -> None:
    (own.parent / "raw" / "B-01_post.csv").unlink()
    result = run_study(own, write=False)
    r = row(tables(result)["tracks"], track="B-01")
    assert r["passes"] == "before, scratch"
    assert r["h_residual_last_nm"] is None and r["mu_slope"] is not None
    assert "after" in str(r["problems"]) + str(r["remarks"])
    whole = read_results(scratched.parent / "results").table("tracks")
    assert r["mu_slope"] == row(whole, track="B-01")["mu_slope"]


def test_a_reversed_pass_is_turned_round(own: Path, scratched: Path) -> None:
    path = own.parent / "raw" / "B-03_post.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    start = next(i for i, s in enumerate(lines) if s.startswith("Distance")) + 1
    path.write_text("".join(lines[:start] + lines[start:][::-1]), encoding="utf-8")
    r = row(tables(run_study(own, write=False))["tracks"], track="B-03")
    whole = row(read_results(scratched.parent / "results").table("tracks"), track="B-03")
    assert r["h_residual_last_nm"] == pytest.approx(whole["h_residual_last_nm"], rel=0.02)
    assert "turned round" in str(r["problems"]) + str(r["remarks"])


def test_a_saturated_lateral_force_is_said(own: Path, scratched: Path) -> None:
    """No friction there; loads and depths stand to the end."""
    path = own.parent / "raw" / "B-02_scratch.csv"
    lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
    start = next(i for i, s in enumerate(lines) if s.startswith("Distance")) + 1
    out = lines[:start]
    for line in lines[start:]:
        x, load, friction, rest = line.split(",", 3)
        out.append(f"{x},{load},{min(float(friction), 60.0):.4f},{rest}")
    path.write_text("".join(out), encoding="utf-8")
    r = row(tables(run_study(own, write=False))["tracks"], track="B-02")
    assert "lateral" in str(r["problems"]).lower()
    whole = row(read_results(scratched.parent / "results").table("tracks"), track="B-02")
    for name in ("F_last_mN", "h_last_nm", "h_residual_last_nm"):
        assert r[name] == pytest.approx(whole[name], rel=1e-6)


def test_a_broken_file_is_set_aside_and_named(own: Path) -> None:
    (own.parent / "raw" / "A-03.txt").write_text(
        "Pass\tTime [s]\nnothing\there\n", encoding="utf-8"
    )
    result = run_study(own, write=False)
    assert [s.file for s in result.set_aside] == ["raw/A-03.txt"]
    assert result.set_aside[0].reason and result.set_aside[0].remedy
    assert len(tables(result)["tracks"]) == 15


def test_a_decision_moves_a_load_and_nothing_else(own: Path, scratched: Path) -> None:
    append(
        own.with_name("scratch.decisions.jsonl"),
        Decision(
            who="A. Example",
            what="critical_load",
            test="A-01",
            value={"verdict": "move", "event": "Lc2", "load_mN": 250.0, "low_mN": 245.0,
                   "high_mN": 255.0},
            why="first chip at 500x",
        ),
    )  # fmt: skip
    found = tables(run_study(own, write=False))
    moved = row(found["critical_loads"], track="A-01", event="Lc2")
    assert (moved["load_mN"], moved["low_mN"], moved["why"]) == (250.0, 245.0, "first chip at 500x")
    before = read_results(scratched.parent / "results")
    same = ["load_mN", "low_mN", "high_mN", "confidence"]
    assert (
        found["track_candidates"].select(same).equals(before.table("track_candidates").select(same))
    )
    # The replicates feel it.
    medians = [
        row(t, specimen="coating A", event="Lc2")
        for t in (found["critical_load_replicates"], before.table("critical_load_replicates"))
    ]
    assert medians[0] != medians[1]


def test_an_excluded_track_does_not_count(own: Path) -> None:
    append(
        own.with_name("scratch.decisions.jsonl"),
        Decision(who="A. Example", what="exclude", test="A-02", why="dust on the track"),
    )
    found = tables(run_study(own, write=False))
    r = row(found["tracks"], track="A-02")
    assert r["excluded"] is True and "dust" in str(r["excluded_because"])
    assert row(found["critical_load_replicates"], specimen="coating A", event="Lc1")["tracks"] == 7
