"""Stress runs of a study: kept, written, stopped, and held against what is known beforehand."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from drypoint.contact import closed_forms, sphere_stress
from drypoint.errors import StressError
from drypoint.run import StudyResult, Watch, run_study
from drypoint.run.elastic_first import elastic_answer
from drypoint.run.progress import Cancelled
from drypoint.run.stress_tables import TABLES, stress_tables, write_vtu
from drypoint.run.stressing import problem_key, run_problem, run_stress
from drypoint.store import Cache, read_results
from drypoint.stress import (
    Layer,
    Material,
    Problem,
    Protocol,
    Stack,
    as_seen,
    cone,
    flat_punch,
    sphere,
)

E, NU, Y = 200e9, 0.3, 5e9
E_STAR = E / (1 - NU**2)
SOLID = Material(E, NU, Y, name="solid")


def ball(force: float = 50e-3) -> Problem:
    return Problem(Stack(SOLID), sphere(10e-6), Protocol.to_force(force))


def test_first_yield_under_a_ball_is_that_of_hertz() -> None:
    """p_0 = 1.613 Y at 0.481 a for nu = 0.3 [johnson1985], found by looking at the whole field."""
    answer = elastic_answer(ball())
    (found,) = answer.first_yield
    F = sphere_stress.first_yield_force(E_STAR, 10e-6, Y, NU)
    assert found.force == pytest.approx(F, rel=0.01)
    a = (3 * F * 10e-6 / (4 * E_STAR)) ** (1 / 3)
    assert found.depth == pytest.approx(0.481 * a, rel=0.15)  # the peak is flat
    assert found.radius == 0.0


def test_an_elastic_tip_gives_way() -> None:
    """Hertz with the reduced modulus, for the force and for first yield."""
    tip = sphere(10e-6).elastic(1140e9, 0.07)
    E_r = 1 / (1 / E_STAR + (1 - 0.07**2) / 1140e9)
    answer = elastic_answer(replace(ball(), profile=tip, protocol=Protocol.to_depth(60e-9)))
    assert answer.force == pytest.approx(closed_forms.sphere_force(E_r, 10e-6, 60e-9), rel=0.02)
    F = sphere_stress.first_yield_force(E_r, 10e-6, Y, NU)
    assert answer.first_yield[0].force == pytest.approx(F, rel=0.02)


def test_sharp_tips_yield_at_once_and_punches_at_their_edge() -> None:
    sharp = elastic_answer(replace(ball(), profile=cone(1.2269)))
    assert sharp.first_yield[0].always
    flat = elastic_answer(replace(ball(), profile=flat_punch(1e-6)))
    assert flat.first_yield[0].always
    assert flat.depth == pytest.approx(50e-3 / (2 * E_STAR * 1e-6), rel=1e-6)


def test_a_stiff_film_on_a_soft_base_makes_the_base_yield_later() -> None:
    """The deeper the base, the more force it takes; without limit for a thick film."""
    base = Material(70e9, 0.3, 1e9, name="base")
    forces = []
    for t in (0.3e-6, 1e-6):
        stack = Stack(base, (Layer(Material(300e9, 0.2, 20e9), t),))
        forces.append(elastic_answer(replace(ball(), stack=stack)).first_yield[1].force)
    assert forces[0] < forces[1]
    far = Stack(base, (Layer(Material(300e9, 0.2, 20e9), 1e-3),))
    assert np.isnan(elastic_answer(replace(ball(), stack=far)).first_yield[1].force)


def test_the_demo_has_its_stress_run(demo_result: StudyResult, demo_study: Path) -> None:
    """Tables on the disk as promised; the second run comes from the cache and is the same."""
    (one,) = demo_result.stress
    assert one.name == "film"
    assert one.kept
    results = read_results(demo_study.parent / "results")
    for stem, columns in TABLES.items():
        if stem != "stress_budget":  # the demo does not ask for it
            assert results.table(stem).columns == [*columns, "invented"]
    (row,) = results.table("stress").to_dicts()
    assert row["F_max_mN"] == pytest.approx(15.0, rel=1e-3)
    assert row["H_seen_GPa"] < row["H_true_GPa"]  # a hard film: the surface sinks in
    assert row["pile_up_nm"] < 0
    assert abs(row["error_steps_percent"]) < 2
    (told,) = results.json("summary.json")["stress"]
    assert told["input_sha256"] == one.key
    assert told["A_true_um2"] == row["A_true_um2"]
    film, wafer = one.first_yield
    assert film.how == "elastic"
    assert film.force < 1e-5 < 1e-3 < wafer.force < 15e-3


def test_pressed_as_the_tables_say(demo_result: StudyResult) -> None:
    """The pressure of the surface table carries the force; work done is the record's area."""
    (one,) = demo_result.stress
    tables = stress_tables([one])
    top = tables["stress_surface"].filter(tables["stress_surface"]["at"] == "peak")
    r, p = top["r_nm"].to_numpy() * 1e-9, top["pressure_GPa"].to_numpy() * 1e9
    assert np.trapezoid(2 * np.pi * r * p, r) == pytest.approx(15e-3, rel=0.03)
    steps = tables["stress_steps"]
    F, h = steps["F_mN"].to_numpy(), steps["h_nm"].to_numpy()
    F, h = np.append(0.0, F), np.append(0.0, h)
    assert np.trapezoid(F, h) * 1e-3 == pytest.approx(steps["work_nJ"][-1], rel=0.01)
    across = tables["stress_interfaces"]
    axis = across.filter((across["at"] == "peak") & (across["r_nm"] < 50))
    assert axis["normal_GPa"].max() < -3


def test_another_study_key_is_another_run(demo_result: StudyResult) -> None:
    (one,) = demo_result.stress
    assert problem_key(one.problem) == one.key
    assert problem_key(replace(one.problem, friction=0.1)) != one.key
    assert problem_key(replace(one.problem, mesh="fine")) != one.key


def test_fields_as_files(demo_result: StudyResult, tmp_path: Path) -> None:
    (one,) = demo_result.stress
    (peak,) = write_vtu(one, tmp_path, "peak")
    assert peak.name == f"stress-film-{one.run.peak + 1:04d}.vtu"
    assert write_vtu(one, tmp_path, "none") == []
    assert len(write_vtu(one, tmp_path, "every step")) == len(one.run.force)


def test_stopping_leaves_nothing(tmp_path: Path) -> None:
    """Asked to stop in the middle: no half run is kept, and the next one starts anew."""
    cache = Cache(tmp_path / "cache")
    seen: list[int] = []
    watch = Watch(observe=lambda s: seen.append(s.done), stop=lambda: bool(seen) and seen[-1] > 100)
    first: list[object] = []
    with pytest.raises(Cancelled):
        run_problem(ball(5e-3), cache=cache, watch=watch, first=lambda p, a: first.append(a))
    assert len(first) == 1
    assert seen == sorted(seen)
    assert cache.get(problem_key(ball(5e-3))) is None
    assert len(list(tmp_path.rglob("*.npz"))) == 1  # the elastic answer, which was whole


def test_a_run_that_fails_stops_nothing_else(
    own_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Problem, watch: object = None) -> None:
        raise StressError("It cannot be done.", remedy="Do something else.")

    monkeypatch.setattr(Problem, "solve", refuse)
    text = own_demo.read_text(encoding="utf-8")
    own_demo.write_text(text.replace("force_mN = 15.0", "force_mN = 14.0"), encoding="utf-8")
    result = run_study(own_demo)
    assert result.stress == ()
    (failed,) = result.stress_failed
    assert failed.reason == "It cannot be done."
    assert any("“film” gave nothing" in note for note in result.notes)
    assert len(result.tests) > 0


def test_a_run_that_is_not_there(demo_study: Path) -> None:
    with pytest.raises(StressError, match="nope"):
        run_stress(demo_study, "nope")


def test_numbers_read_back(demo_study: Path) -> None:
    """CSV and Parquet hold the same."""
    results = read_results(demo_study.parent / "results")
    with (results.folder / "stress_steps.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    forces = results.table("stress_steps")["F_mN"].to_list()
    assert [float(r["F_mN"]) for r in rows] == forces


def test_the_record_goes_through_the_main_job(
    demo_result: StudyResult, demo_study: Path, tmp_path: Path
) -> None:
    """The record as a raw file of another study, found and reduced with nothing said about it:
    stiffness, hardness and modulus as the run's own reading has them."""
    (one,) = demo_result.stress
    text = (demo_study.parent / "results" / "stress-film-record.txt").read_text(encoding="utf-8")
    (tmp_path / "raw").mkdir()
    (tmp_path / "raw" / "one.txt").write_text(text, encoding="utf-8")
    bench = demo_study.parent / "bench" / "calibration.toml"
    (tmp_path / "study.toml").write_text(
        'drypoint = 1\nstudy = { name = "S" }\n'
        'records = [{ files = ["raw/*.txt"], specimen = "film" }]\n'
        "specimens = { film = { nu = 0.25 } }\n"
        f"benches = {{ B1 = {{ file = {str(bench)!r} }} }}\n"
        'corrections = { zero = { method = "as recorded" }, drift = { method = "none" } }\n'
        'analysis = { unloading = "power law", epsilon = "exponent", radial_correction = true }\n',
        encoding="utf-8",
    )
    found = run_study(tmp_path / "study.toml", write=False, use_cache=False)
    assert found.set_aside == ()
    (row,) = found.tests_table.to_dicts()
    assert row["F_max_mN"] == pytest.approx(15.0, rel=1e-3)
    # The main job takes the frame's compliance out, and the radial correction is its own.
    C_f = demo_result.groups[0].bench.frame.compliance
    stiff = as_seen(replace(one.run, depth=one.run.depth - C_f * one.run.force))
    assert row["S_mN_per_nm"] == pytest.approx(stiff.S / 1e6, rel=0.03)
    assert row["h_c_nm"] == pytest.approx(stiff.h_c * 1e9, rel=0.01)
    assert row["H_IT_GPa"] == pytest.approx(stiff.H_IT / 1e9, rel=0.02)
