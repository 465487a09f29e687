"""Every option of `drypoint stress` with a study: it applies, or it is refused. Invented data."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from said import Cli

from drypoint.cli import app
from drypoint.errors import StressError
from drypoint.recipe import load_study, read_study
from drypoint.recipe.to_stress import stress_problem
from drypoint.run.elastic_first import problem_key
from drypoint.store import read_results
from drypoint.stress import Problem

STUDY = """\
drypoint = 1

[study]
name = "Two presses"
invented = true

[tips.ball]
shape = "sphere"
radius_nm = 10000.0

[tips.blunt]
shape = "Berkovich"
radius_nm = 120.0
area = { kind = "blunted" }

[stress.press]
tip = "ball"
force_mN = 5.0
layers = [{ E_GPa = 100.0, nu = 0.25, thickness_nm = 2000.0 }]
substrate = { E_GPa = 200.0, nu = 0.3, u_E_GPa = 4.0, u_nu = 0.01 }

[stress.own]
shape = { shape = "sphero-cone", half_angle_deg = 70.3, radius_nm = 500.0 }
depth_nm = 60.0
substrate = { E_GPa = 200.0, nu = 0.3 }
"""
TIP_FILE = 'shape = "sphere"\nradius_nm = 7000.0\nE_i_GPa = 900.0\n'

#: Option -> words, and the key of [stress.NAME] that they set.
APPLIES = {
    "--tip": (("--tip", "sphere", "--radius-nm", 3000), "shape"),
    "--angle-deg": (("--tip", "cone", "--angle-deg", 65), "shape"),
    "--radius-nm": (("--tip", "sphere", "--radius-nm", 4000), "shape"),
    "--tip-from": (("--tip-from", "blunt"), "tip"),
    "--rigid": (("--rigid",), "rigid"),
    "--solid": (("--solid", "E_GPa = 70, nu = 0.2"), "substrate"),
    "--layer": (("--layer", "E_GPa = 90, nu = 0.3, thickness_nm = 500"), "layers"),
    "--force-mN": (("--force-mN", 4), "force_mN"),
    "--depth-nm": (("--depth-nm", 40), "depth_nm"),
    "--cycles": (("--cycles", 3), "cycles"),
    "--friction": (("--friction", 0.2), "friction"),
    "--quality": (("--quality", "fine"), "quality"),
}
#: Options of the command itself, which set no key; each has a test below or elsewhere.
OF_THE_COMMAND = {"--out", "--vtu", "--fresh", "--quiet", "--csv-text"}


def options() -> list[str]:
    command = typer.main.get_command(app).commands["stress"]  # type: ignore[attr-defined]
    return [p.opts[0] for p in command.params if p.param_type_name == "option"]


@pytest.fixture
def study(tmp_path: Path) -> Path:
    path = tmp_path / "s.toml"
    path.write_text(STUDY, encoding="utf-8")
    (tmp_path / "tip.toml").write_text(TIP_FILE, encoding="utf-8")
    return path


@pytest.fixture
def solved(monkeypatch: pytest.MonkeyPatch) -> list[Problem]:
    """Problems that reach the finite elements, which are not solved here."""
    found: list[Problem] = []

    def refuse(self: Problem, watch: object = None) -> None:
        found.append(self)
        raise StressError("Far enough.")

    monkeypatch.setattr(Problem, "solve", refuse)
    return found


def test_no_option_is_forgotten_here() -> None:
    """An option that is new in the command must say here what it does with a study."""
    assert set(options()) == set(APPLIES) | OF_THE_COMMAND


@pytest.mark.parametrize("option", APPLIES)
def test_every_option_changes_the_problem_of_a_study(
    cli: Cli, study: Path, solved: list[Problem], option: str
) -> None:
    words, key = APPLIES[option]
    assert option in words
    said = cli("stress", study, "press", *words)
    assert "Far enough" in said.err
    assert f"press: {key} overridden by an option: " in said.out
    (problem,) = solved
    assert problem_key(problem) != problem_key(stress_problem(load_study(study), "press"))


def test_without_options_nothing_is_overridden(
    cli: Cli, study: Path, solved: list[Problem]
) -> None:
    said = cli("stress", study, "press")
    assert "overridden" not in said.out
    assert problem_key(solved[0]) == problem_key(stress_problem(load_study(study), "press"))


def test_angle_and_radius_go_to_the_shape_of_the_run(
    cli: Cli, study: Path, solved: list[Problem]
) -> None:
    said = cli("stress", study, "own", "--angle-deg", 60)
    assert "half_angle_deg = 60.0, radius_nm = 500.0 }" in said.out
    assert problem_key(solved[0]) != problem_key(stress_problem(load_study(study), "own"))


REFUSED = {
    "angle of a tip described elsewhere": (("press", "--angle-deg", 60), "half_angle_deg"),
    "radius of a tip described elsewhere": (("press", "--radius-nm", 60), "radius_nm"),
    "force and depth": (("--force-mN", 1, "--depth-nm", 10), "--depth-nm"),
    "a measured tip and a shape": (("--tip-from", "ball", "--tip", "cone"), "--tip"),
    "no such tip": (("--tip-from", "nobody"), "ball, blunt"),
    "quality": (("--quality", "good"), "quality"),
    "friction": (("--friction", 2), "friction"),
    "cycles": (("--cycles", 0), "cycles"),
    "cycles to a depth": (("own", "--cycles", 2), "stress.own.cycles"),
    "half a solid": (("press", "--solid", "nu = 0.2"), "stress.press.substrate.E_GPa"),
    "layer": (("press", "--layer", "E_GPa = 3, nu = 0.3"), "stress.press.layers[1].thickness_nm"),
    "fields without a folder": (("--vtu", "peak"), "--out"),
    "no such run": (("nope", "--force-mN", 1), "press, own"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_apply_is_refused_before_anything_is_solved(
    cli: Cli, study: Path, solved: list[Problem], name: str
) -> None:
    words, expected = REFUSED[name]
    said = cli("stress", study, *words)
    assert said.code == 2
    assert expected in said.err
    assert solved == []


def test_a_measured_tip_from_a_file(cli: Cli, study: Path, solved: list[Problem]) -> None:
    """The keys of one tip, with a study and without one: the same tip."""
    tip = study.with_name("tip.toml")
    cli("stress", study, "press", "--tip-from", tip)
    cli("stress", "--tip-from", tip, "--solid", "E_GPa = 200, nu = 0.3", "--force-mN", 1)
    for problem in solved:
        assert problem.profile.numbers[0] == pytest.approx(7e-6)
        assert problem.profile.E_i == pytest.approx(900e9)
    tip.write_text('shape = "sphere"\n', encoding="utf-8")
    said = cli("stress", study, "press", "--tip-from", tip)
    assert said.code == 2
    assert "radius_nm" in said.err and "tip.toml" in said.err
    tip.write_text("[[", encoding="utf-8")
    assert "not valid TOML" in cli("stress", study, "press", "--tip-from", tip).err


def test_a_measured_tip_of_a_calibration(
    cli: Cli, demo: Path, study: Path, solved: list[Problem]
) -> None:
    """The calibration file by its path, and the bench by its name: area, modulus and the
    uncertainty of the force are those that the study's own runs have."""
    bench = demo.parent / "bench" / "calibration.toml"
    words = ("--solid", "E_GPa = 200, nu = 0.3", "--force-mN", 5)
    cli("stress", study, "press", "--tip-from", bench)
    cli("stress", "--tip-from", bench, *words)
    cli("stress", demo, "film", "--tip-from", "B1", "--force-mN", 5)
    assert len(solved) == 3
    own = load_study(demo).calibrated("B1")
    for problem in solved:
        doubts = {d.what: d.u for d in problem.doubts}
        assert doubts["load"] == own.frame.u_force_scale
        assert doubts["tip area"] > 0
        assert problem.profile.E_i == own.tip.E_i
    # Another calibration under the name of the study's own is another bench.
    named = study.parent / "B1.toml"
    text = bench.read_text("utf-8")
    named.write_text(text + "\n# another one\n", encoding="utf-8")
    said = cli("stress", demo, "film", "--tip-from", named, "--force-mN", 5)
    assert 'bench overridden by an option: "B1-' in said.out
    broken = study.with_name("broken.toml")
    broken.write_text('format = "drypoint-calibration"\nversion = 1\n', encoding="utf-8")
    said = cli("stress", study, "press", "--tip-from", broken)
    assert said.code == 2
    assert "lacks a key" in said.err


def test_overrides_are_written_with_the_results(cli: Cli, demo: Path, study: Path) -> None:
    """Manifest, summary and stress.toml: what was overridden, by what, and the run as solved."""
    out = study.with_name("dent")
    bench = demo.parent / "bench" / "calibration.toml"
    cli("stress", study, "press", "--tip-from", bench, "--force-mN", 4, "--out", out)
    summary = read_results(out).json("summary.json")
    said = {o["key"]: o for o in summary["overridden"]["press"]}
    assert said["force_mN"] == {"key": "force_mN", "study": 5.0, "used": 4.0}
    assert said["bench"]["used"] == "calibration"
    assert len(said["bench"]["calibration_sha256"]) == 64
    assert said["tip"] == {"key": "tip", "study": "ball", "used": None}
    assert summary["study"]["recipe_sha256"] == load_study(study).recipe_hash
    (row,) = summary["stress"]
    assert row["elastic_F_mN"] == 4.0
    text = 'drypoint = 1\nstudy = { name = "S" }\n' + (out / "stress.toml").read_text("utf-8")
    again = stress_problem(read_study(text, study), "press")
    assert problem_key(again) == row["input_sha256"]


def test_fresh_with_a_study_solves_again(
    cli: Cli, study: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    solved = []
    real = Problem.solve
    monkeypatch.setattr(
        Problem, "solve", lambda self, watch=None: solved.append(1) or real(self, watch)
    )
    for words, times in (((), 1), ((), 1), (("--fresh",), 2)):
        assert cli("stress", study, "own", "--quiet", *words).code == 0
        assert len(solved) == times


def test_an_area_function_in_a_file_of_its_own(study: Path) -> None:
    """Of a shape that a run describes itself, as of a tip; it was taken as ideal without a word."""
    (study.parent / "area.toml").write_text(
        'kind = "series"\ncoefficients_nm = [24.5, 900.0]\nh_min_nm = 10.0\nh_max_nm = 3000.0\n',
        encoding="utf-8",
    )
    text = STUDY.replace(
        'shape = { shape = "sphero-cone", half_angle_deg = 70.3, radius_nm = 500.0 }',
        'shape = { shape = "Berkovich", area = { file = "area.toml" } }',
    )
    study.write_text(text, encoding="utf-8")
    area = load_study(study).file.stress["own"].shape.area
    assert area.coefficients_nm == (24.5, 900.0)
    study.write_text(text.replace("area.toml", "nothing.toml"), encoding="utf-8")
    with pytest.raises(Exception, match=r"nothing\.toml"):
        load_study(study)


def test_depth_and_cycles_in_words(cli: Cli, study: Path, solved: list[Problem]) -> None:
    """One press to a depth is not “2 times”; cycles of rising load are counted."""
    assert " to 60.0 nm on " in cli("stress", study, "own").out
    assert " to 5.00 mN 3 times on " in cli("stress", study, "press", "--cycles", 3).out
    rising = STUDY.replace("force_mN = 5.0", 'force_mN = 5.0\ncycles = 3\ncycle_forces = "rising"')
    study.write_text(rising, encoding="utf-8")
    assert " to 5.00 mN in 3 cycles of rising load on " in cli("stress", study, "press").out
    to_the_same = STUDY.replace("force_mN = 5.0", "force_mN = 5.0\ncycles = 2\nback_to = 1.0")
    study.write_text(to_the_same, encoding="utf-8")
    assert " to 5.00 mN on " in cli("stress", study, "press").out


def test_a_given_force_has_no_uncertainty_of_the_solver(
    cli: Cli, study: Path, solved: list[Problem]
) -> None:
    """Moduli with an uncertainty move the depth. The force is the one that was given."""
    said = cli("stress", study, "press").out
    assert "the prescribed 5.00 mN would press the tip (" in said
    said = cli("stress", study, "press", "--depth-nm", 40).out
    assert ") mN would press the tip the prescribed 40.0 nm deep" in said


def test_json_of_the_summary_is_plain(cli: Cli, study: Path) -> None:
    out = study.with_name("o")
    assert cli("stress", study, "own", "--out", out, "--rigid").code == 0
    assert json.loads((out / "summary.json").read_text("utf-8"))["overridden"]["own"] == [
        {"key": "rigid", "study": None, "used": True}
    ]
