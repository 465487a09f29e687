"""Runs: same input same output, decisions touch only their own, nothing half-written."""

from __future__ import annotations

import hashlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal

from drypoint.errors import RecipeError, RecordError
from drypoint.recipe import Decision, append, load_study
from drypoint.run import Cancelled, Step, StudyResult, Watch, run_study
from drypoint.run import groups as groups_module
from drypoint.store import read_results


def _hashes(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def test_same_input_same_output_to_the_bit(own_demo: Path, tmp_path: Path) -> None:
    run_study(own_demo, out=tmp_path / "a")
    run_study(own_demo, out=tmp_path / "b", use_cache=False)
    assert _hashes(tmp_path / "a") == _hashes(tmp_path / "b")


def test_raw_files_stay_as_they_are_and_are_known_by_their_hash(own_demo: Path) -> None:
    raw = own_demo.parent / "raw"
    before = _hashes(raw)
    result = run_study(own_demo, use_cache=False)
    assert _hashes(raw) == before
    assert {f.removeprefix("raw/"): h for f, h in result.provenance.inputs.items()} == before
    table = result.tests_table
    for source, sha in zip(table["source"], table["source_sha256"], strict=True):
        assert before[source.removeprefix("raw/")] == sha


def test_tables_have_the_promised_columns(demo_study: Path) -> None:
    results = read_results(demo_study.parent / "results")
    assert results.faults() == []
    table = results.table("tests")
    for c in ("H_IT_GPa", "u_H_IT_GPa", "E_IT_GPa", "u_E_IT_GPa", "E_r_GPa", "h_c_nm", "flags",
              "source_sha256", "A_p_um2", "S_mN_per_nm", "C_IT_percent"):  # fmt: skip
        assert c in table.columns
    csv = pl.read_csv(demo_study.parent / "results" / "tests.csv", infer_schema_length=None)
    assert csv.columns == table.columns
    assert_frame_equal(
        csv.select("H_IT_GPa", "u_E_IT_GPa"), table.select("H_IT_GPa", "u_E_IT_GPa"),
        check_exact=True,
    )  # fmt: skip


def test_random_and_systematic_add_up(demo_result: StudyResult) -> None:
    t = demo_result.tests_table
    for c in ("H_IT_GPa", "E_IT_GPa", "S_mN_per_nm"):
        both = np.hypot(t["ur_" + c].to_numpy(), t["us_" + c].to_numpy())
        assert np.allclose(both, t["u_" + c].to_numpy(), rtol=1e-12)


def test_an_exclusion_computes_no_test_again(
    own_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = run_study(own_demo, write=False)

    def forbidden(*_: object, **__: object) -> None:
        raise AssertionError("a test was reduced again")

    monkeypatch.setattr(groups_module, "reduce_batch", forbidden)
    study = load_study(own_demo)
    append(
        study.decisions,
        Decision(who="A. Tester", what="exclude", test="G-03", why="dust on the surface"),
    )
    after = run_study(own_demo)
    assert_frame_equal(
        before.tests_table.drop("excluded", "excluded_because"),
        after.tests_table.drop("excluded", "excluded_because"),
        check_exact=True,
    )
    assert after.series["glass"]["H_IT"].n == before.series["glass"]["H_IT"].n - 1
    # With the exclusion taken back the numbers are the earlier ones.
    assert after.series_all["glass"]["H_IT"].mean == before.series["glass"]["H_IT"].mean
    summary = json.loads((own_demo.parent / "results/summary.json").read_text())
    assert summary["excluded"][0]["test"] == "G-03"
    assert "dust on the surface" in summary["excluded"][0]["why"]


def test_a_moved_contact_point_touches_its_own_test_only(
    own_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = run_study(own_demo, write=False)
    curve = before.curve("G-05")
    zero = curve.zero_depth + 20e-9
    reduced: list[int] = []
    honest = groups_module.reduce_batch

    def counting(batch, *args, **kw):  # type: ignore[no-untyped-def]
        reduced.append(len(batch))
        return honest(batch, *args, **kw)

    monkeypatch.setattr(groups_module, "reduce_batch", counting)
    append(
        load_study(own_demo).decisions,
        Decision(
            who="A. Tester", what="zero", test="G-05", value={"depth_nm": zero * 1e9},
            why="contact seen in the lateral channel",
        ),
    )  # fmt: skip
    after = run_study(own_demo, write=False)
    assert reduced == [1]
    a, b = before.tests_table, after.tests_table
    assert_frame_equal(
        a.filter(pl.col("test") != "G-05"), b.filter(pl.col("test") != "G-05"), check_exact=True
    )
    moved = [t.filter(pl.col("test") == "G-05")["h_max_nm"][0] for t in (b, a)]
    # Drift is counted from contact, which is now a few seconds later: up to 0.04 nm/s.
    assert moved[0] - moved[1] == pytest.approx(-20.0, abs=0.3)
    assert b.filter(pl.col("test") == "G-05")["zero_from"][0] == "declared"


def test_a_decision_on_an_unknown_test_is_noted(own_demo: Path) -> None:
    append(
        load_study(own_demo).decisions,
        Decision(who="A. Tester", what="exclude", test="G-99", why="typed wrongly"),
    )
    result = run_study(own_demo, write=False)
    assert any("G-99" in n for n in result.notes)


def test_stopping_leaves_earlier_results_whole(own_demo: Path) -> None:
    before = _hashes(own_demo.parent / "results")
    seen: list[Step] = []
    watch = Watch(observe=seen.append, stop=lambda: any(s.stage == "reducing" for s in seen))
    with pytest.raises(Cancelled):
        run_study(own_demo, watch=watch, use_cache=False)
    assert _hashes(own_demo.parent / "results") == before
    assert {s.stage for s in seen} == {"reading", "reducing"}


def test_a_recipe_fault_is_told_before_any_computing(own_demo: Path) -> None:
    own_demo.write_text(
        own_demo.read_text().replace("beta = 1.0", "beta = 1.0\nbetta = 2"), encoding="utf-8"
    )
    seen: list[Step] = []
    with pytest.raises(RecipeError, match="betta") as caught:
        run_study(own_demo, watch=Watch(observe=seen.append))
    assert seen == []
    assert "beta" in str(caught.value)


def test_nothing_but_bad_files_is_an_error_with_every_reason(tmp_path: Path) -> None:
    (tmp_path / "raw").mkdir()
    (tmp_path / "raw/a.txt").write_bytes(b"\x00\x01\x02\x03" * 100)
    n = 60
    good = [f"{k / 10:.1f};{min(k, n - k):.1f};{20 * min(k, n - k):.1f}" for k in range(n)]
    spoiled = {
        "b": [*good[:9], "0.9;nan;1", *good[10:]],
        "c": [*good[:9], "0.9;1", *good[10:]],
        "d": good[: n // 2],
        "e": good[::-1],
    }
    for name, rows in spoiled.items():
        text = "\n".join(["Time (s);Load (mN);Depth (nm)", *rows, ""])
        (tmp_path / f"raw/{name}.txt").write_text(text)
    shutil.copy(tmp_path / "raw/c.txt", tmp_path / "raw/f.txt")
    with (tmp_path / "raw/f.txt").open("a") as file:
        file.write("6.0;0.0;0.0\n")  # another file with the fault of c
    study = tmp_path / "s.toml"
    study.write_text(
        'drypoint = 1\n[study]\nname = "x"\n[[records]]\nfiles = ["raw/*.txt"]\nspecimen = "a"\n'
        '[specimens.a]\nnu = 0.3\n[tips.t]\nshape = "Berkovich"\n',
        encoding="utf-8",
    )
    with pytest.raises(RecordError, match="No test gave") as caught:
        run_study(study)
    said = str(caught.value)
    for words in (
        "raw/a.txt", "raw/b.txt, line 11, column 5", "holds nan", "raw/c.txt, line 11, column 6",
        "2 fields where the others have 3", "raw/d.txt, line 31", "There is no unloading",
        "raw/e.txt, line 3, column 1", "reversed order", "2 times", "raw/f.txt, line 11, column 6",
    ):  # fmt: skip
        assert words in said, words
    assert not (tmp_path / "results").exists()
    from drypoint.app.faults import as_json

    shown = as_json(caught.value)["all"]
    assert len(shown) == 5 and any("raw/f.txt" in one["what"] for one in shown)


def test_duplicates_across_tables_are_set_aside(own_demo: Path) -> None:
    raw = own_demo.parent / "raw"
    (raw / "again").mkdir()
    shutil.copy(raw / "glass/G-01.txt", raw / "again/copy.txt")
    text = own_demo.read_text().replace(
        "[specimens.glass]",
        '[[records]]\nfiles = ["raw/again/*.txt"]\nspecimen = "glass"\n\n[specimens.glass]',
    )
    own_demo.write_text(text, encoding="utf-8")
    result = run_study(own_demo, write=False)
    again = [s for s in result.set_aside if s.file == "raw/again/copy.txt"]
    assert len(again) == 1
    assert "raw/glass/G-01.txt" in again[0].reason


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
def test_a_kill_at_any_moment_leaves_raw_data_and_results_whole(own_demo: Path) -> None:
    raw, results = own_demo.parent / "raw", own_demo.parent / "results"
    raw_before = _hashes(raw)
    code = (
        "import sys; from drypoint.run import run_study\n"
        "print('ready', flush=True)\n"
        "while True: run_study(sys.argv[1])\n"
    )
    rng = random.Random(5)
    complete = set()
    for _ in range(6):
        p = subprocess.Popen(
            [sys.executable, "-c", code, str(own_demo)], stdout=subprocess.PIPE, text=True
        )
        assert p.stdout is not None
        p.stdout.readline()
        time.sleep(rng.uniform(0.05, 2.5))
        p.send_signal(signal.SIGKILL)
        p.wait()
        found = read_results(results)
        assert found.faults() == []
        complete.add(found.table("tests").height)
    assert complete == {92}
    assert _hashes(raw) == raw_before
    run_study(own_demo)
    assert read_results(results).faults() == []
    left = [p.name for p in own_demo.parent.iterdir() if "partial" in p.name or p.suffix == ".old"]
    assert left == []
