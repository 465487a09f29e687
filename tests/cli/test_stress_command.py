"""`drypoint stress`: from options and from a study, words, files, refusals."""

from __future__ import annotations

from pathlib import Path

import pytest
from said import Cli

from drypoint.cli.stress_options import inline
from drypoint.recipe import read_study
from drypoint.recipe.to_stress import stress_problem
from drypoint.store import read_results

BALL = ("--tip", "sphere", "--radius-nm", 10000, "--rigid")


def test_options_give_sentences_tables_and_files(cli: Cli, tmp_path: Path) -> None:
    """The elastic answer comes first, and what is written says what was asked."""
    out = tmp_path / "dent"
    said = cli(
        "stress", *BALL, "--solid", "E_GPa = 200, nu = 0.3, yield_GPa = 5", "--depth-nm", 60,
        "--out", out, "--vtu", "peak",
    )  # fmt: skip
    assert said.code == 0
    order = ["If nothing yielded", "would first yield at 5.6", "Finite elements:",
             "first yields at", "As seen", "Errors of the force", "Not in the model"]  # fmt: skip
    places = [said.out.index(words) for words in order]
    assert places == sorted(places)
    results = read_results(out)
    assert results.faults() == []
    names = set(results.manifest.files)
    assert {"stress.csv", "stress_steps.parquet", "summary.json", "stress.toml"} <= names
    assert sum(name.endswith(".vtu") for name in names) == 1
    assert sum(name.endswith(".png") for name in names) == 3
    study = (
        'drypoint = 1\nstudy = { name = "S" }\nrecords = [{ files = ["*"], specimen = "s" }]\n'
        'specimens = { s = { nu = 0.3 } }\ntips = { B = { shape = "Berkovich" } }\n'
    )
    text = study + (out / "stress.toml").read_text(encoding="utf-8")
    problem = stress_problem(read_study(text, tmp_path / "s.toml"), "NAME")
    assert (problem.stack.substrate.first_yield, problem.protocol.depth) == (5e9, 60e-9)


def test_runs_of_a_study(cli: Cli, demo: Path) -> None:
    said = cli("stress", demo)
    assert said.code == 0
    assert "film: Tip B1" in said.out
    assert "Interface 1: pressed by" in said.out
    assert "invented" in said.out


BAD = {
    "nothing": ((), "substrate.E_GPa: the key is missing"),
    "unknown key": (("--solid", "E_GPa=1,nu=.2,foo=1", "--force-mN", 1), "foo"),
    "no sense": (("--solid", "E_GPa 170", "--force-mN", 1), "cannot be read"),
    "no load": (("--solid", "E_GPa=170,nu=.2"), "force_mN"),
    "layer": (
        ("--solid", "E_GPa=170,nu=.2", "--layer", "E_GPa=3,nu=.3", "--force-mN", 1),
        "layers[1].thickness_nm",
    ),
    "tip": (("--tip", "needle", "--solid", "E_GPa=170,nu=.2", "--force-mN", 1), "shape"),
    "cone": (("--tip", "cone", "--solid", "E_GPa=170,nu=.2", "--force-mN", 1), "half_angle"),
    "vtu": (("--solid", "E_GPa=170,nu=.2", "--force-mN", 1, "--vtu", "peak"), "--out"),
    "vtu word": (("--solid", "E_GPa=170,nu=.2", "--force-mN", 1, "--vtu", "all"), "every step"),
    "too deep": ((*BALL, "--solid", "E_GPa=170,nu=.2", "--depth-nm", 9500), "known for"),
}


@pytest.mark.parametrize("name", BAD)
def test_refusals_are_sentences(cli: Cli, name: str) -> None:
    words, expected = BAD[name]
    said = cli("stress", *words)
    assert said.code == 2
    assert said.err.startswith("drypoint: ")
    assert expected in said.err


def test_keys_and_values_as_people_write_them() -> None:
    text = (
        "E_GPa=240, nu = .25,name = film 1, yield_table = [[0, 1.5], [0.1, 2]], incompressible=true"
    )
    assert inline(text, "--layer") == {
        "E_GPa": 240.0, "nu": 0.25, "name": "film 1", "yield_table": [[0, 1.5], [0.1, 2]],
        "incompressible": True,
    }  # fmt: skip
