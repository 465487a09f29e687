"""A study under both editions of the rules, from raw files to tables. All records are invented."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from test_resume import STUDY, write_records

from drypoint.cli import main
from drypoint.recipe import Decision, append
from drypoint.run import plan_study, run_study
from drypoint.run.rerun import Change, rerun
from drypoint.run.result import StudyResult

BLUNT = """drypoint = 1
rules = 2
[study]
name = "invented"
invented = true
[[records]]
files = ["raw/*.csv"]
specimen = "a"
[specimens.a]
nu = 0.17
u_nu = 0.02
[tips.t]
shape = "modified Berkovich"
radius_nm = 80.0
u_radius_nm = 5.0
area = { kind = "blunted" }
"""


def tables(folder: Path) -> dict[str, str]:
    return {
        p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.glob("*.csv"))
    }


@pytest.fixture
def study(tmp_path: Path) -> Path:
    write_records(tmp_path / "raw", [f"A{i}" for i in range(5)], 3)
    (tmp_path / "study.toml").write_text(STUDY, encoding="utf-8")
    return tmp_path / "study.toml"


def run(study: Path, text: str, **more: bool) -> StudyResult:
    study.write_text(text, encoding="utf-8")
    return run_study(study, **more)  # type: ignore[arg-type]


def test_a_silent_study_and_one_of_the_first_edition_give_the_same_bytes(study: Path) -> None:
    run_study(study)
    silent = tables(study.parent / "results")
    run(study, STUDY.replace("drypoint = 1", "drypoint = 1\nrules = 1"))
    assert tables(study.parent / "results") == silent and silent


def test_both_editions_run_and_the_second_is_the_same_twice(study: Path) -> None:
    first = run_study(study, write=False)
    text = STUDY.replace("drypoint = 1", "drypoint = 1\nrules = 2")
    second = run(study, text)
    once = tables(study.parent / "results")
    assert "zero.law.a" in second.tests.inputs.names
    assert "zero.law.a" not in first.tests.inputs.names
    run(study, text, use_cache=False)
    assert tables(study.parent / "results") == once
    assert not np.array_equal(
        first.tests.quantities["h_c"].value, second.tests.quantities["h_c"].value
    )


def test_what_lies_on_the_surface_is_asked_for(study: Path) -> None:
    """Only the user knows of an oxide: without u_zero_nm the uncertainty is called incomplete."""
    assert any("incomplete" in n for n in run(study, BLUNT, write=False).notes)
    stated = BLUNT + "[corrections.zero]\nu_zero_nm = 0.5\n"
    assert not any("incomplete" in n for n in run(study, stated, write=False).notes)
    assert not any("incomplete" in n for n in run(study, STUDY, write=False).notes)


def test_a_second_run_reduces_nothing(study: Path) -> None:
    run(study, BLUNT)
    assert plan_study(study).to_reduce == ()


def test_an_excluded_test_does_not_shape_the_law(study: Path) -> None:
    """One re-solve: the law of the others, and the excluded test is shown under it."""
    whole = run(study, BLUNT)
    decisions = study.with_name("study.decisions.jsonl")
    append(decisions, Decision(who="A", what="exclude", test="A0", why="dust beneath the tip"))
    less = run(study, BLUNT)
    a, b = (r.groups[0].reduced.corrected.zero for r in (whole, less))
    assert len(b.depth) == 5 and np.isfinite(b.depth).all()
    assert np.any(a.depth != b.depth) and np.max(np.abs(a.depth - b.depth)) < 3e-9
    (study.parent / "raw" / "A0.csv").rename(study.parent / "A0.csv")
    decisions.unlink()
    without = run(study, BLUNT)
    np.testing.assert_array_equal(b.depth[1:], without.groups[0].reduced.corrected.zero.depth)


def test_rerun_says_what_an_edition_changes(
    study: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    found = rerun(study, [Change("rules", 2)])
    words = found.editions()
    assert words[0] == "Rules: edition 1 before, edition 2 after."
    assert any("corrections.zero.law" in w and "auto" in w for w in words)
    assert rerun(study, [Change("analysis.beta", 1.05)]).editions() == []
    with pytest.raises(SystemExit) as ended:
        monkeypatch.setattr("sys.argv", ["drypoint", "rerun", str(study), "--with", "rules=2"])
        main()
    assert ended.value.code in (0, None)
    said = capsys.readouterr().out
    assert "Rules: edition 1 before, edition 2 after." in said and "h_c" in said


def test_the_edition_stands_in_the_provenance(study: Path) -> None:
    one = run_study(study, write=False).provenance.recipe_hash
    two = run(study, STUDY.replace("drypoint = 1", "drypoint = 1\nrules = 2"), write=False)
    assert two.provenance.recipe_hash != one
