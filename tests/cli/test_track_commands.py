"""Scratch tracks by command: passes recognised, critical loads decided. Invented data."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from said import Cli

from drypoint.recipe import read_journal
from drypoint.store import read_results

STUDY = """drypoint = 1
[study]
name = "one track"
invented = true
[specimens.coating]
nu = 0.25
[[tracks]]
files = ["raw/*.txt"]
specimen = "coating"
[scratch.events]
Lc1 = "first cracks across the track"
Lc2 = "worn through"
"""
#: Load (mN) at which friction and depth change.
AT = 240.0


@pytest.fixture
def study(tmp_path: Path) -> Path:
    rng = np.random.default_rng(4)
    lines = ["Pass\tDistance (µm)\tNormal force (mN)\tLateral force (mN)\tDepth (nm)"]
    n = 1500
    x = np.linspace(0, 500, n)
    load = np.clip((x - 25) / 475, 0.004, 1) * 500
    mu, deep = np.where(load < AT, 0.15, 0.25), np.where(load < AT, 0.0, 150.0)
    for word, F, h in (("pre", np.full(n, 2.0), 0 * x), ("scratch", load, 2 * load + deep),
                       ("post", np.full(n, 2.0), load + deep)):  # fmt: skip
        side = (mu if word == "scratch" else 0.15) * F + rng.normal(0, 0.5, n)
        h = h + rng.normal(0, 3.0, n)
        lines += [
            f"{word}\t{a:.3f}\t{b:.3f}\t{c:.3f}\t{d:.2f}"
            for a, b, c, d in zip(x, F, side, h, strict=True)
        ]
    (tmp_path / "raw").mkdir()
    (tmp_path / "raw" / "t.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    path = tmp_path / "study.toml"
    path.write_text(STUDY, encoding="utf-8")
    return path


def test_passes_are_recognised(cli: Cli, study: Path) -> None:
    said = cli("inspect", study.parent / "raw" / "t.txt")
    assert said.code == 0
    assert "passes    t: before, scratch, after" in said.out
    assert "name its file under [[tracks]]" in said.out


def test_every_verdict_by_command(cli: Cli, study: Path) -> None:
    why = ["--why", "seen at 500x", "--who", "A. Example"]
    said = cli("run", study)
    assert said.code == 0 and "1 without a decision" in said.out
    found = read_results(study.parent / "results").table("track_candidates")
    load = f"{found['load_mN'][0]:.4g}"
    assert float(load) == pytest.approx(AT, abs=15)

    def decide(*words: str) -> None:
        said = cli("critical-load", study, "t", *words, *why)
        assert said.code == 0, said.text
        assert cli("run", study, "--quiet").code == 0

    def decided() -> dict[str, tuple[str, float]]:
        results = read_results(study.parent / "results")
        if "critical_loads.parquet" not in results.manifest.files:
            return {}
        table = results.table("critical_loads")
        return {r["event"]: (r["how"], r["load_mN"]) for r in table.iter_rows(named=True)}

    decide("confirm", "--event", "Lc1", "--candidate-mN", load)
    assert decided()["Lc1"] == ("confirmed", pytest.approx(found["load_mN"][0]))
    decide("move", "--event", "Lc1", "--candidate-mN", load, "--load-mN", "250",
           "--low-mN", "245", "--high-mN", "260")  # fmt: skip
    assert decided() == {"Lc1": ("moved", 250.0)}
    decide("absent", "--event", "Lc2")
    top = read_results(study.parent / "results").table("tracks")["F_last_mN"][0]
    assert decided()["Lc2"] == ("absent", pytest.approx(top))
    decide("move", "--event", "Lc2", "--load-mN", "480")
    assert decided()["Lc2"] == ("set by hand", 480.0)
    decide("reject", "--candidate-mN", load)
    assert set(decided()) == {"Lc2"}
    assert len(read_journal(study.with_name("study.decisions.jsonl")).decisions) == 5


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (("u", "absent", "--event", "Lc1"), "no test “u”"),
        (("t", "absent", "--event", "Lc7"), "no critical load of this study"),
        (("t", "confirm", "--event", "Lc1", "--candidate-mN", "20"), "no candidate at 20 mN"),
        (("t", "confirm", "--event", "Lc1"), "candidate_mN"),
        (("t", "maybe", "--event", "Lc1"), "maybe"),
        (("t", "move", "--event", "Lc1", "--load-mN", "200", "--low-mN", "210"), "do not fit"),
    ],
)
def test_what_fits_no_track_is_refused(
    cli: Cli, study: Path, words: tuple[str, ...], what: str
) -> None:
    said = cli("critical-load", study, *words, "--why", "w", "--who", "A")
    assert said.code == 2 and what in said.text
    assert not study.with_name("study.decisions.jsonl").exists()
