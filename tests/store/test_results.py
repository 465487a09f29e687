"""Result sets: whole at every moment, and nobody else's files are lost."""

from __future__ import annotations

import json
import multiprocessing
import random
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from drypoint.errors import StoreError
from drypoint.store import Origin, new_results, read_results, recover, write_json
from drypoint.store import results as results_module

sys.path.insert(0, str(Path(__file__).parent))
from writer import FILES, write, write_for_ever

WRITER = Path(__file__).with_name("writer.py")
ORIGIN = Origin({"raw/a.txt": "ab"}, "recipe", "decisions", "1.2", 3, {"note": "x"})


def number(folder: Path) -> int:
    """Number of the set in a folder, after checking that it is whole and of one piece."""
    found = read_results(folder)
    assert found.faults() == []
    assert tuple(sorted(found.manifest.files)) == tuple(sorted(FILES))
    n = found.manifest.origin.seed
    assert found.json("sub/summary.json") == {"n": n}
    assert set(found.table("tests")["n"]) == {n} == set(found.table("cycles")["n"])
    return n


def test_a_set(tmp_path: Path) -> None:
    """Written, read, replaced; the list holds the hashes and where the set comes from."""
    folder = tmp_path / "deep" / "results"
    with new_results(folder, ORIGIN) as made:
        write_json({"a": 1}, made / "summary.json")
        assert not folder.exists()
    found = read_results(folder)
    assert found.manifest.origin == ORIGIN
    assert list(found.manifest.files) == ["summary.json"]
    assert len(found.manifest.files["summary.json"]) == 64
    first = (folder / "manifest.json").read_bytes()
    with new_results(folder, ORIGIN) as made:
        write_json({"a": 1}, made / "summary.json")
    assert (folder / "manifest.json").read_bytes() == first
    assert [p.name for p in folder.parent.iterdir()] == ["results"]
    with pytest.raises(StoreError, match=r"hold no “tests\.parquet”"):
        found.table("tests")


def test_changed_and_missing_files_are_seen(tmp_path: Path) -> None:
    """By the list of the set."""
    folder = tmp_path / "results"
    write(folder, 1)
    (folder / "tests.csv").write_text("edited", encoding="utf-8")
    (folder / "cycles.csv").unlink()
    assert read_results(folder).faults() == [
        "cycles.csv is missing",
        "tests.csv was changed after it was written",
    ]
    with pytest.raises(StoreError, match="no complete result set"):
        read_results(tmp_path / "none")
    (folder / "manifest.json").write_text(json.dumps({"manifest": 9}), encoding="utf-8")
    with pytest.raises(StoreError, match="has form 9"):
        read_results(folder)
    with pytest.raises(StoreError, match="Move the folder away"):
        write(folder, 2)


def test_a_failure_leaves_the_earlier_set(tmp_path: Path) -> None:
    """And nothing else."""
    folder = tmp_path / "results"
    write(folder, 1)
    with pytest.raises(ZeroDivisionError), new_results(folder, ORIGIN) as made:
        write_json({}, made / "summary.json")
        _ = 1 / 0
    assert number(folder) == 1
    assert [p.name for p in tmp_path.iterdir()] == ["results"]


def test_other_peoples_files(tmp_path: Path) -> None:
    """They are carried over; a folder that holds no results is not touched at all."""
    folder = tmp_path / "results"
    write(folder, 1)
    (folder / "my notes.txt").write_text("mine", encoding="utf-8")
    (folder / "mine" / "deep").mkdir(parents=True)
    (folder / "mine" / "deep" / "a.txt").write_text("mine too", encoding="utf-8")
    write(folder, 2)
    assert (folder / "my notes.txt").read_text(encoding="utf-8") == "mine"
    assert (folder / "mine" / "deep" / "a.txt").exists()
    assert number(folder) == 2
    with (
        pytest.raises(StoreError, match=r"my notes\.txt was not written by Drypoint"),
        new_results(folder, ORIGIN) as made,
    ):
        (made / "my notes.txt").write_text("theirs", encoding="utf-8")
    assert (folder / "my notes.txt").read_text(encoding="utf-8") == "mine"
    raw = tmp_path / "raw"
    raw.mkdir()
    (raw / "a.txt").write_text("1 2 3", encoding="utf-8")
    with pytest.raises(StoreError, match="something else than results"):
        write(raw, 1)
    with pytest.raises(StoreError, match="something else than results"):
        write(raw / "a.txt", 1)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["raw", "results"]


@pytest.mark.parametrize("step", range(1, 4))
def test_killed_between_two_steps(
    tmp_path: Path, step: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut off right before each renaming and the removal: the set is there, old or new."""
    folder = tmp_path / "results"
    write(folder, 1)
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    script = (
        "import os, sys; sys.path.insert(0, sys.argv[2]); from pathlib import Path\n"
        "from drypoint.store import results as r\n"
        "left = [int(sys.argv[3])]\n"
        "def cut(f):\n"
        "    def g(*a):\n"
        "        left[0] -= 1\n"
        "        if left[0] == 0: os._exit(9)\n"
        "        return f(*a)\n"
        "    return g\n"
        "r.patiently, r._retire = cut(r.patiently), cut(r._retire)\n"
        "from writer import write\n"
        "write(Path(sys.argv[1]), 2)\n"
    )
    run = [sys.executable, "-c", script, str(folder), str(WRITER.parent), str(step)]
    assert subprocess.run(run, check=False).returncode == 9
    expected = 2 if step == 3 else 1
    assert read_results(folder).manifest.origin.seed == expected
    done = recover(folder)
    assert len(done) == {1: 1, 2: 2, 3: 1}[step]
    assert number(folder) == expected
    assert (folder / "notes.txt").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["results"]
    assert recover(folder) == []
    assert results_module.recover(tmp_path / "none" / "results") == []


def test_kill_at_random_moments(tmp_path: Path) -> None:
    """30 kills of a writer that never stops: each time a whole set, never an older one."""
    folder = tmp_path / "results"
    write(folder, 0)
    start = time.monotonic()
    write(folder, 0)
    one = time.monotonic() - start
    kinds = multiprocessing.get_all_start_methods()
    context: Any = multiprocessing.get_context("forkserver" if "forkserver" in kinds else "spawn")
    context.set_forkserver_preload(["drypoint.recipe", "drypoint.store"])
    rng = random.Random(20260131)
    last, advanced = 0, 0
    for _ in range(30):
        writer = context.Process(target=write_for_ever, args=(folder, last + 1))
        writer.start()
        until = time.monotonic() + 120
        while not list(tmp_path.glob("results.partial-*")) and time.monotonic() < until:
            time.sleep(0.001)
        time.sleep(rng.uniform(0.0, 2.5 * one))
        writer.kill()
        writer.join()
        recover(folder)
        n = number(folder)
        assert n >= last
        advanced += n > last
        last = n
        assert [p.name for p in tmp_path.iterdir()] == ["results"]
    assert advanced > 0
