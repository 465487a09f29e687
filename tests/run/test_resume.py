"""Work is done once: pieces by content, a dry run, and runs that are killed at any moment."""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.cli.plan import plan_lines
from drypoint.recipe import Decision, append, load_study
from drypoint.records import read
from drypoint.reduction.options import Options
from drypoint.reduction.reduce import reduce_batch
from drypoint.run import groups as groups_module
from drypoint.run import plan_study, reduce_in_chunks, run_study
from drypoint.run import reading as reading_module
from drypoint.run.pieces import pieces
from drypoint.simulation import Creep, Law, Noise, Truth, simulate_batch, single
from drypoint.store import read_results
from drypoint.tips.build import blunted_tip
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Bench, Frame

KILLS = 50
STUDY = """drypoint = 1
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
shape = "Berkovich"
"""


def hashes(folder: Path) -> dict[str, str]:
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file()
    }


def write_records(folder: Path, names: list[str], seed: int) -> None:
    """Invented records of some three hundred samples."""
    tip = blunted_tip(Geometry("Berkovich", radius=80e-9), name="B1")

    noise = Noise(force_white=0.3e-6, depth_white=0.15e-9)
    truths = [
        Truth(
            tip=tip, E=Law.constant(72e9), H=Law.constant(9e9), nu=0.17, name=n, specimen="a",
            m=1.3, creep=Creep(0.004), noise=noise,
        )
        for n in names
    ]  # fmt: skip
    b = simulate_batch(truths, single(10e-3, load=10.0, drift_hold=20.0, rate=6.0), seed)
    folder.mkdir(parents=True, exist_ok=True)
    for i, name in enumerate(names):
        s = b.span(i)
        columns = np.stack([b.time[s], b.force[s] * 1e3, b.depth[s] * 1e9], axis=1)
        head = "Time (s),Force (mN),Depth (nm)"
        np.savetxt(folder / f"{name}.csv", columns, "%.6g", ",", header=head, comments="")


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A study of 150 files, run once; not to be changed by a test."""
    folder = tmp_path_factory.mktemp("resume")
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    write_records(folder / "raw", [f"A{i:03d}" for i in range(150)], 1)
    run_study(folder / "study.toml")
    return folder


@pytest.fixture
def own(made: Path, tmp_path: Path) -> Path:
    shutil.copytree(made, tmp_path / "own")
    return tmp_path / "own" / "study.toml"


@given(st.lists(st.integers(0, 2**32 - 1), min_size=1, max_size=300), st.integers(0, 299))
def test_a_piece_ends_by_its_content(numbers: list[int], at: int) -> None:
    """Pieces hold everything in order; one entry taken out leaves all pieces but its own."""
    shas = [f"{n:064x}" for n in dict.fromkeys(numbers)]
    cut = pieces(shas, usual=8)
    assert [i for p in cut for i in p] == list(range(len(shas)))
    at %= len(shas)
    before = {tuple(shas[i] for i in p) for p in cut}
    fewer = shas[:at] + shas[at + 1 :]
    after = {tuple(fewer[i] for i in p) for p in pieces(fewer, usual=8)}
    assert len(before - after) <= 2 and len(after - before) <= 1


def test_tests_of_one_file_stand_together() -> None:
    assert pieces(["0" * 64] * 20, usual=1) == [range(20)]
    assert pieces(["0" * 64] * 20, usual=1, most=8) == [range(8), range(8, 16), range(16, 20)]


def test_a_changed_file_costs_its_own_piece(own: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    reduced: list[int] = []
    read: list[int] = []
    honest, reader = groups_module.reduce_batch, reading_module.read

    def counting(batch, *args, **kw):  # type: ignore[no-untyped-def]
        reduced.append(len(batch))
        return honest(batch, *args, **kw)

    def reading(paths, *args, **kw):  # type: ignore[no-untyped-def]
        read.append(len(paths))
        return reader(paths, *args, **kw)

    monkeypatch.setattr(groups_module, "reduce_batch", counting)
    monkeypatch.setattr(reading_module, "read", reading)
    write_records(own.parent / "raw", ["A070"], 2)
    write_records(own.parent / "raw", ["B000"], 3)
    run_study(own)
    assert 0 < sum(reduced) < 150 and 0 < sum(read) < 150
    assert sum(len(p) for p in (reduced, read)) <= 6
    made_in_steps = hashes(own.parent / "results")
    run_study(own, out=own.parent / "fresh", use_cache=False)
    assert hashes(own.parent / "fresh") == made_in_steps


def test_in_pieces_the_numbers_are_those_of_the_whole(
    made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """To the last bit: no test knows of those beside it."""
    monkeypatch.setattr(groups_module, "pieces", lambda shas: [range(len(shas))])
    run_study(made / "study.toml", out=tmp_path / "whole", use_cache=False)
    assert hashes(tmp_path / "whole") == hashes(made / "results")


def test_a_dry_run_tells_and_changes_nothing(own: Path) -> None:
    folder = own.parent
    before = hashes(folder)
    plan = plan_study(own)
    assert plan.up_to_date and plan.kept == 150 and not plan.to_read and not plan.to_reduce
    assert any("up to date" in line for line in plan_lines(plan))
    write_records(folder / "raw", ["A070", "B000"], 4)
    (folder / "raw" / "A010.csv").unlink()
    append(load_study(own).decisions, Decision(who="A. T.", what="exclude", test="A001", why="x"))
    now = hashes(folder)
    plan = plan_study(own)
    assert hashes(folder) == now != before
    assert plan.new == ("raw/B000.csv",) and plan.changed == ("raw/A070.csv",)
    assert plan.gone == ("raw/A010.csv",) and len(plan.same) == 148
    assert plan.decisions and not plan.recipe and not plan.up_to_date
    assert {"raw/A070.csv", "raw/B000.csv"} <= set(plan.to_read) and len(plan.to_read) < 150
    said = "\n".join(plan_lines(plan))
    assert "1 file new: raw/B000.csv" in said and "Nothing was changed." in said
    run_study(own)
    assert plan_study(own).up_to_date
    assert plan_study(own, use_cache=False).kept == 0


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL and fork")
def test_fifty_kills(tmp_path: Path) -> None:
    """Results are the earlier whole set or the new one; the next run gives the same bytes."""
    study, results = tmp_path / "study.toml", tmp_path / "results"
    study.write_text(STUDY, encoding="utf-8")
    write_records(tmp_path / "raw", [f"A{i}" for i in range(4)], 5)
    run_study(study)
    old = hashes(results)
    write_records(tmp_path / "raw", ["A1", "A9"], 6)
    began = time.perf_counter()
    run_study(study, out=tmp_path / "expected", use_cache=False)
    takes = time.perf_counter() - began
    new = hashes(tmp_path / "expected")
    shutil.copytree(results, tmp_path / "earlier")
    raw = hashes(tmp_path / "raw")
    rng = random.Random(8)
    command = [sys.executable, str(Path(__file__).with_name("kill_server.py")), str(study)]
    seen = []
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as server:
        assert server.stdin is not None and server.stdout is not None
        server.stdout.readline()
        for _ in range(KILLS):
            shutil.rmtree(tmp_path / ".drypoint-cache", ignore_errors=True)
            shutil.rmtree(results)
            shutil.copytree(tmp_path / "earlier", results)
            server.stdin.write(f"{results}\n")
            server.stdin.flush()
            pid = int(server.stdout.readline())
            timer = threading.Timer(rng.uniform(0.0, 1.6 * takes), _kill, (pid,))
            timer.start()
            killed = int(server.stdout.readline()) != 0
            timer.cancel()
            found = read_results(results)
            assert found.faults() == []
            now = hashes(found.folder)
            assert now in (old, new)
            seen.append((killed, now == new))
            # Every few times the next run, from what the killed one has left.
            if killed and len(seen) % 5 == 0:
                run_study(study)
                assert hashes(results) == new
        server.stdin.close()
    assert hashes(tmp_path / "raw") == raw
    assert (True, False) in seen
    run_study(study)
    assert hashes(results) == new
    left = [p.name for p in tmp_path.iterdir() if "partial" in p.name or p.suffix == ".old"]
    assert left == []


def _kill(pid: int) -> None:
    try:
        os.kill(pid, signal.SIGKILL)
    except ProcessLookupError:
        return


def test_chunks_are_the_whole_to_the_last_bit(made: Path) -> None:
    files = sorted((made / "raw").glob("*.csv"))[:40]
    tip = blunted_tip(Geometry("Berkovich", radius=80e-9), name="B1")
    given = (Bench(tip, Frame()), Options(), {"a": (0.17, 0.02)})
    whole = reduce_batch(read(files, specimen="a").batch, *given).tests
    chunks = list(reduce_in_chunks(files, *given, specimen="a", samples=3000, workers=2))
    assert len(chunks) > 3 and sum(len(c.tests) for c in chunks) == 40
    for symbol in ("H_IT", "E_IT", "S"):
        for what in ("value", "u_random", "sensitivity"):
            together = np.concatenate([getattr(c.reduction[symbol], what) for c in chunks])
            np.testing.assert_array_equal(together, getattr(whole[symbol], what))
