"""Scratch tracks in the workbench: what a page gets, and what is refused. Invented data."""

from __future__ import annotations

import io
import shlex
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from app_demo import API, SCRATCH
from PIL import Image
from starlette.testclient import TestClient

from drypoint.app.buffers import unpack
from drypoint.app.views.scratch import extremes
from drypoint.recipe import read_journal
from drypoint.run import run_study

TRACKS = f"/api/studies/{SCRATCH}"


@pytest.fixture
def study(root: Path) -> Path:
    return root / "demo" / "scratch" / "scratch.toml"


def _decide(client: TestClient, track: str, value: dict[str, Any], why: str = "seen") -> Any:
    version = client.get(TRACKS).json()["version"]
    act = {"what": "critical_load", "test": track, "who": "A", "why": why, "value": value}
    return client.post(f"{TRACKS}/decisions", json={"version": version, "decisions": [act]})


def test_all_tracks_are_listed_with_what_was_decided(client: TestClient, study: Path) -> None:
    said = client.get(f"{TRACKS}/scratch/tracks").json()
    table = pl.read_parquet(study.parent / "results" / "tracks.parquet")
    assert [t["track"] for t in said["tracks"]] == table["track"].to_list()
    assert [t["found"] for t in said["tracks"]] == table["candidates"].to_list()
    assert [e["name"] for e in said["events"]] == ["Lc1", "Lc2", "Lc3"]
    held = next(t for t in said["tracks"] if t["loads"].get("Lc3", "").startswith("> "))
    assert held["track"].startswith("B-")
    # The share of those that failed never falls, and the fitted one meets a half at the median.
    rows = pl.read_parquet(study.parent / "results" / "critical_load_replicates.parquet")
    for s in said["shares"]:
        assert np.all(np.diff(s["seen"][1]) > 0)
        assert len(s["seen"][0]) + len(s["stopped"]) <= s["tracks"]
        mine = rows.filter(
            (pl.col("specimen") == s["specimen"])
            & (pl.col("event") == s["event"])
            & pl.col("better")
        )
        assert np.interp(50, s["curve"][1], s["curve"][0]) == pytest.approx(
            mine["median_mN"][0], rel=0.01
        )


def test_one_track_is_as_in_the_tables(client: TestClient, study: Path) -> None:
    arrays, head = unpack(client.get(f"{TRACKS}/scratch/one?track=A-02").content)
    profile = pl.read_parquet(study.parent / "results" / "track_profiles.parquet")
    mine = profile.filter(pl.col("track") == "A-02")
    for here, there in (("load", "F_n_mN"), ("mu", "mu"), ("h_residual", "h_residual_nm")):
        expected = mine[there].cast(pl.Float64).fill_null(np.nan).to_numpy()
        np.testing.assert_allclose(arrays[here], expected, rtol=1e-6)
    found = pl.read_parquet(study.parent / "results" / "track_candidates.parquet")
    loads = found.filter(pl.col("track") == "A-02")["load_mN"]
    assert [c["load"] for c in head["candidates"]] == pytest.approx(loads.to_list())
    assert head["verdicts"][0]["event"] == "Lc1" and head["decisions"][0]["command"]
    assert len(head["files"][0][1]) == 64


def test_passes_are_as_they_were_read(client: TestClient, study: Path) -> None:
    arrays, head = unpack(client.get(f"{TRACKS}/scratch/passes?track=B-02").content)
    assert [p["kind"] for p in head["passes"]] == ["before", "scratch", "after"]
    names = [c["name"] for c in head["passes"][1]["channels"]]
    assert names[:3] == ["normal force", "lateral force", "depth"]
    at = head["passes"][1]["channels"][0]["at"]
    row = pl.read_parquet(study.parent / "results" / "tracks.parquet").filter(
        pl.col("track") == "B-02"
    )
    assert arrays[f"y{at}"].max() == pytest.approx(row["F_last_mN"][0], rel=0.02)


def test_a_file_that_was_changed_since_is_said(client: TestClient, study: Path) -> None:
    raw = next((study.parent / "raw").glob("B-02_scratch*"))
    client.get(f"{TRACKS}/scratch/one?track=B-02")
    raw.write_bytes(raw.read_bytes() + b"\n")
    fault = client.get(f"{TRACKS}/scratch/passes?track=B-02")
    assert fault.status_code == 422 and "as they were" in fault.json()["error"]["what"]


def test_no_peak_is_lost_in_drawing() -> None:
    y = np.zeros(100_000)
    y[[3, 50_021, 99_999]] = [5.0, -7.0, np.nan]
    pick = extremes(y, 400)
    assert len(pick) <= 400 and {3, 50_021} <= set(pick.tolist())
    assert np.all(np.diff(pick) > 0)
    assert np.array_equal(extremes(y[:50], 400), np.arange(50))


def test_a_picture_is_laid_along_its_track(client: TestClient, study: Path) -> None:
    pixels = np.zeros((20, 300, 3), dtype=np.uint8)
    pixels[:, 100:] = 200
    Image.fromarray(pixels).save(study.parent / "track.png")
    text = study.read_text(encoding="utf-8")
    study.write_text(
        text + '\n[[scratch.pictures]]\ntrack = "B-02"\nfile = "track.png"\n'
        "points = [[0.0, 0.0], [300.0, 600.0]]\n"
        '\n[[scratch.pictures]]\ntrack = "B-02"\nfile = "track.png"\nabout = "loose"\n',
        encoding="utf-8",
    )
    run_study(study)
    _, head = unpack(client.get(f"{TRACKS}/scratch/one?track=B-02").content)
    first, second = head["pictures"]
    assert first["span_um"] == pytest.approx([0.0, 600.0]) and second["span_um"] is None
    answer = client.get(f"{TRACKS}/scratch/picture?track=B-02&number=0")
    assert answer.headers["content-type"] == "image/png"
    shown = np.asarray(Image.open(io.BytesIO(answer.content)))
    assert np.array_equal(shown, pixels)
    assert client.get(f"{TRACKS}/scratch/picture?track=B-02&number=2").status_code == 404


@pytest.mark.parametrize(
    ("track", "value", "words"),
    [
        ("none", {"verdict": "absent", "event": "Lc1"}, "no test"),
        ("A-02", {"verdict": "absent", "event": "Lc9"}, "no critical load of this study"),
        ("A-02", {"verdict": "confirm", "event": "Lc1", "candidate_mN": 5.0}, "no candidate at"),
        ("A-02", {"verdict": "confirm", "event": "Lc1"}, "missing"),
        ("A-02", {"verdict": "move", "event": "Lc1", "load_mN": -3.0}, "load_mN"),
    ],
)
def test_what_fits_no_track_is_not_written(
    client: TestClient, study: Path, track: str, value: dict[str, Any], words: str
) -> None:
    before = (study.parent / "scratch.decisions.jsonl").read_bytes()
    answer = _decide(client, track, value)
    assert answer.status_code == 422 and words in answer.json()["error"]["text"]
    assert (study.parent / "scratch.decisions.jsonl").read_bytes() == before


def test_what_is_copied_writes_the_same(client: TestClient, study: Path) -> None:
    path = study.parent / "scratch.decisions.jsonl"
    value = {"verdict": "move", "event": "Lc1", "load_mN": 150.0, "low_mN": 140.0, "high_mN": 155.0}
    assert _decide(client, "A-02", value, why="a “quoted” $reason").status_code == 200
    made = read_journal(path).decisions[-1]
    run_study(study)
    _, head = unpack(client.get(f"{TRACKS}/scratch/one?track=A-02").content)
    copied = head["decisions"][-1]
    assert head["verdicts"][-1]["how"] == "set by hand"
    exec(copied["python"], {})
    words = shlex.split(copied["command"])
    call = [sys.executable, "-c", "from drypoint.cli import main; main()", *words[1:]]
    subprocess.run(call, check=True, capture_output=True)
    again = read_journal(path).decisions[-2:]
    same = {"id": 0, "when": ""}
    assert [d.model_copy(update=same) for d in again] == [made.model_copy(update=same)] * 2


def test_pages_lead_to_what_a_study_has(client: TestClient) -> None:
    def goes(key: str) -> str:
        answer = client.get(f"/studies/{key}", follow_redirects=False)
        assert answer.status_code == 303
        return answer.headers["location"].rpartition("/")[2]

    assert goes(SCRATCH) == "scratch" and goes("demo:study") == "tests"
    assert goes("demo:bench:bench") == "bench"
    page = client.get(f"/studies/{SCRATCH}/tests").text
    assert "no indentation tests" in page and ">Depth</a>" not in page
    assert "no scratch tracks" in client.get("/studies/demo:study/scratch").text
    assert client.get(f"{API}/scratch/tracks").status_code == 404
    assert client.get(f"{TRACKS}/tests/curves").status_code == 404
