"""A study with tips and stress runs only: run, report, sign, check, and the workbench. Invented."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from drypoint.contact import closed_forms
from drypoint.errors import RecipeError, StressError
from drypoint.recipe import load_study, read_study
from drypoint.recipe.schema import json_schema
from drypoint.report import sign_study, write_report
from drypoint.run import run_study
from drypoint.run.checking import check_signatures
from drypoint.run.elastic_first import elastic_answer
from drypoint.run.plan import plan_study
from drypoint.stress import (
    Doubt,
    Leg,
    Material,
    Problem,
    Protocol,
    Stack,
    sphere,
)

STUDY = """\
drypoint = 1

[study]
name = "Stress alone"
invented = true

[tips.ball]
shape = "sphere"
radius_nm = 10000.0

[stress.press]
tip = "ball"
depth_nm = 30.0
substrate = { E_GPa = 200.0, nu = 0.3 }
"""


@pytest.fixture
def study(tmp_path: Path) -> Path:
    path = tmp_path / "s.toml"
    path.write_text(STUDY, encoding="utf-8")
    return path


def test_it_runs_and_its_results_are_a_whole_set(study: Path) -> None:
    """Force at 30 nm by Hertz, from the table that was written (finite elements: within 2 %)."""
    assert plan_study(study).to_solve == ("press",)
    result = run_study(study)
    (row,) = run_study(study).stress
    assert row.kept
    E_r = 1 / ((1 - 0.3**2) / 200e9 + (1 - 0.07**2) / 1140e9)
    expected = closed_forms.sphere_force(E_r, 10e-6, 30e-9)
    summary = json.loads((study.parent / "results" / "summary.json").read_text("utf-8"))
    assert summary["stress"][0]["F_max_mN"] * 1e-3 == pytest.approx(expected, rel=0.02)
    assert (summary["tests_reduced"], result.set_aside) == (0, ())
    plan = plan_study(study)
    assert plan.up_to_date
    assert (plan.to_solve, plan.solved) == ((), ("press",))


def test_it_is_reported_signed_and_checked(study: Path) -> None:
    folder = write_report(run_study(study), pdf=False, figures=False)
    page = (folder / "report.html").read_text("utf-8")
    assert "Report of computed stresses" in page
    assert "would press the tip the prescribed 30.0 nm deep" in page
    assert "scratch" not in page.partition("<main")[0].lower()
    sign_study(study, who="A. Example", why="looked at")
    assert [c.holds for c in check_signatures(study)] == [True]
    study.write_text(STUDY.replace("depth_nm = 30.0", "depth_nm = 31.0"), encoding="utf-8")
    assert [c.holds for c in check_signatures(study)] == [False]


def test_the_workbench_opens_it(study: Path, tmp_path: Path) -> None:
    from starlette.testclient import TestClient

    from drypoint.app import Settings, create_app

    run_study(study)
    settings = Settings(tmp_path, port=8017)
    app = create_app(settings)
    base = "http://127.0.0.1:8017"
    with TestClient(app, base_url=base, headers={"origin": base}) as client:
        client.get(f"/open?token={settings.token}")
        (one,) = client.get("/api/studies").json()["studies"]
        assert (one["fault"], one["standing"], one["specimens"]) == (None, "current", [])
        first = client.get("/studies/s")
        assert first.status_code == 200
        for view in ("stress", "report", "files", "recipe", "bench", "tests", "depth", "budget"):
            assert client.get(f"/studies/s/{view}").status_code == 200, view
        look = client.get("/api/studies/s/stress/look?name=press").json()
        assert look["kept"] and look["depth_nm"] == 30.0
        assert client.get("/api/studies/s/stress/found?name=press").json()["peak"] > 0


def test_nothing_to_do_and_nothing_found_are_told(study: Path, tmp_path: Path) -> None:
    head = STUDY.partition("[tips.ball]")[0]
    with pytest.raises(RecipeError, match=r"\[stress\.NAME\]"):
        read_study(head, study)
    with_records = STUDY.replace(
        "[study]", 'records = [{ files = ["*"], specimen = "s" }]\n[study]'
    )
    with pytest.raises(RecipeError, match="key specimens: the key is missing"):
        read_study(with_records, study)
    with pytest.raises(RecipeError, match=r"Add a table \[specimens\.s\]"):
        read_study(STUDY.replace('tip = "ball"\n', 'tip = "ball"\nspecimen = "s"\n'), study)


def test_when_no_run_gives_a_result_nothing_is_written(
    study: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Problem, watch: object = None) -> None:
        raise StressError("It cannot be done.", remedy="Do something else.")

    monkeypatch.setattr(Problem, "solve", refuse)
    with pytest.raises(StressError, match=r"Not one stress run.*press: It cannot be done"):
        run_study(study)
    assert not (study.parent / "results").exists()


def test_a_bench_that_a_stress_run_uses_may_stand_beside_tips(demo_study: Path) -> None:
    bench = (demo_study.parent / "bench" / "calibration.toml").as_posix()
    text = STUDY + f'\n[benches.B1]\nfile = "{bench}"\n'
    with pytest.raises(RecipeError, match="no records table uses the bench"):
        read_study(text, demo_study)
    used = text.replace('tip = "ball"', 'bench = "B1"')
    assert list(read_study(used, demo_study).benches) == ["B1"]


def test_editors_are_told_the_same() -> None:
    assert {"required": ["stress"]} in json_schema()["anyOf"]


def test_loadings_are_counted_by_what_the_legs_do() -> None:
    up, down = Leg(force=2.0), Leg(force=0.2)
    assert Protocol.to_depth(60e-9).peaks == (60e-9,)
    assert Protocol.to_force(2.0, hold=5.0).peaks == (2.0,)
    assert Protocol((up, down, up, down, up)).peaks == (2.0, 2.0, 2.0)
    assert Protocol.cycles([1.0, 2.0, 3.0]).peaks == (1.0, 2.0, 3.0)
    # A rise after a hold goes on; legs to the same force are no new loading.
    assert Protocol((Leg(force=1.0), Leg(), up, Leg(), Leg(force=2.0), down)).peaks == (2.0,)
    assert Protocol((Leg(depth=1e-8), Leg(depth=2e-8), Leg(force=0.0))).peaks == (2e-8,)


@pytest.mark.parametrize("force", [5e-3, 1.7e-6, 0.31])
def test_a_prescribed_force_is_exact(force: float) -> None:
    """Only the load itself moves it. What is left of the solver is no uncertainty."""
    solid = Material(200e9, 0.3, name="solid")
    doubts = (Doubt("modulus", 4e9), Doubt("ratio", 0.01))
    problem = Problem(Stack(solid), sphere(10e-6), Protocol.to_force(force), doubts=doubts)
    answer = elastic_answer(problem)
    assert (answer.force, answer.u_force) == (force, 0.0)
    # Hertz: depth as E^(-2/3), radius as E^(-1/3).
    E_star = [
        E / (1 - nu**2) for E, nu in ((204e9, 0.3), (196e9, 0.3), (200e9, 0.31), (200e9, 0.29))
    ]
    rel = np.hypot(*(np.log(a / b) / 2 for a, b in (E_star[:2], E_star[2:])))
    assert answer.u_depth / answer.depth == pytest.approx(2 / 3 * rel, rel=0.02)
    loaded = Problem(
        Stack(solid), sphere(10e-6), Protocol.to_force(force), doubts=(Doubt("load", 0.002),)
    )
    assert elastic_answer(loaded).u_force == pytest.approx(0.002 * force, rel=1e-9)


def test_a_prescribed_depth_is_exact() -> None:
    solid = Material(200e9, 0.3, name="solid")
    problem = Problem(
        Stack(solid), sphere(10e-6), Protocol.to_depth(60e-9), doubts=(Doubt("modulus", 4e9),)
    )
    answer = elastic_answer(problem)
    assert (answer.depth, answer.u_depth) == (60e-9, 0.0)
    assert answer.u_radius == 0.0
    assert answer.u_force > 0


def test_the_study_is_loaded_as_any(study: Path) -> None:
    assert load_study(study).file.specimens == {}
