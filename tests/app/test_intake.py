"""Dropped files, what is understood of them, and what is written: against the command line."""

from __future__ import annotations

import io
import shutil
import sys
import zipfile
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from app_demo import API, ORIGIN, PORT
from hypothesis import given
from hypothesis import strategies as st
from starlette.testclient import TestClient

from drypoint.app import Settings, create_app
from drypoint.app.intake import LayoutForm
from drypoint.cli import main
from drypoint.errors import RecipeError
from drypoint.recipe import load_study, read_study
from drypoint.recipe.blocks import with_layout
from drypoint.records.layout import Column, Layout

TEXT = b"Time [s],Load [mN],Depth [nm]\n" + b"".join(
    b"%d,%d,%d\n" % (i, min(i, 40 - i) * 3, min(i, 40 - i) * 7) for i in range(41)
)


def _put(client: TestClient, path: str, data: bytes) -> Any:
    return client.put(f"/api/files/{path}", content=data)


def test_the_form_of_a_layout_has_every_key_of_the_layout() -> None:
    assert set(LayoutForm.model_fields) == {f.name for f in fields(Layout)}


def test_a_file_is_kept_as_it_came(client: TestClient, root: Path) -> None:
    answer = _put(client, "new one/raw/a 1.csv", TEXT)
    assert answer.status_code == 200, answer.text
    assert (root / "new one" / "raw" / "a 1.csv").read_bytes() == TEXT
    assert _put(client, "new one/raw/a 1.csv", TEXT).json()["same"] is True
    other = _put(client, "new one/raw/a 1.csv", TEXT + b"41,0,0\n")
    assert other.status_code == 409 and "never replaced" in other.text
    assert (root / "new one" / "raw" / "a 1.csv").read_bytes() == TEXT
    assert [p.name for p in (root / "new one" / "raw").iterdir()] == ["a 1.csv"]


@pytest.mark.parametrize(
    ("path", "data", "status"),
    [
        ("a.csv", TEXT, 400),  # not into a folder of a study
        ("x/../../a.csv", TEXT, 404),
        ("x/%2e%2e/a.csv", TEXT, 404),
        ("x/.hidden.csv", TEXT, 400),
        ("x/con.csv", TEXT, 400),
        ("x/study.toml", b"drypoint = 1\n", 400),
        ("x/s.decisions.jsonl", b"{}", 400),
        ("x/run.py", b"print(1)", 400),
        ("x/run.csv", b"#!/bin/sh\nrm -rf /\n", 400),
        ("x/tool.txt", b"MZ\x90\x00", 400),
        ("x/tool.txt", b"\x7fELF....", 400),
        ("x/picture.txt", b"\x89PNG\r\n", 400),
        ("x/empty.csv", b"", 400),
        ("demo/results/tests.csv", TEXT, 400),
        ("a/b/c/d/e/f/g.csv", TEXT, 400),
    ],
)
def test_what_is_not_taken(
    client: TestClient, root: Path, path: str, data: bytes, status: int
) -> None:
    before = sorted(p for p in root.rglob("*") if p.is_file())
    answer = _put(client, path, data)
    assert answer.status_code in (status, 403, 400), answer.text
    assert answer.status_code >= 400
    assert sorted(p for p in root.rglob("*") if p.is_file()) == before


def test_sizes_and_numbers_are_limited(root: Path) -> None:
    settings = Settings(root, port=PORT, upload_bytes=1000, upload_files=2)
    with TestClient(create_app(settings), base_url=f"http://127.0.0.1:{PORT}") as client:
        client.headers.update(ORIGIN)
        client.get(f"/open?token={settings.token}")
        assert _put(client, "x/a.csv", b"1" * 1001).status_code == 413

        def slowly() -> Any:  # no content-length: counted while it comes
            for _ in range(20):
                yield b"1,2,3\n" * 20

        assert client.put("/api/files/x/b.csv", content=slowly()).status_code == 413
        assert not list((root / "x").iterdir())
        for name in "cd":
            assert _put(client, f"x/{name}.csv", name.encode() * 10).status_code == 200
        assert _put(client, "x/e.csv", b"eeee").status_code == 413


def test_an_archive_is_not_unpacked_and_a_bomb_does_no_harm(client: TestClient, root: Path) -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr("../../escape.csv", TEXT)
        book.writestr("huge.csv", b"0" * 40_000_000)
    assert _put(client, "packed/raw/x.zip", buffer.getvalue()).status_code == 200
    found = client.post("/api/look", json={"folder": "packed"})
    assert found.status_code == 200, found.text
    assert [p.name for p in (root / "packed").rglob("*") if p.is_file()] == ["x.zip"]
    assert not (root.parent / "escape.csv").exists()
    faults = [f["reason"] for g in found.json()["groups"] for f in g["faults"]]
    assert any("unpack" in f or "times" in f for f in faults), faults


def test_from_dropped_files_to_the_same_study_as_the_command_line(
    client: TestClient, root: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    raw = root / "demo" / "raw" / "glass"
    for file in sorted(raw.iterdir())[:3]:
        assert _put(client, f"mine/raw/{file.name}", file.read_bytes()).status_code == 200
    groups = client.post("/api/look", json={"folder": "mine"}).json()["groups"]
    assert [g["clear"] for g in groups] == [True]
    group = groups[0]
    assert {c["role"]: c["unit"] for c in group["columns"]} == {
        "time": "s", "force": "mN", "depth": "nm",
    }  # fmt: skip
    assert group["lines"][0][1].startswith("Time") and len(group["curves"][0]["x"]) > 100
    body = {
        "folder": "mine",
        "name": "study",
        "groups": [{"files": group["files"], "layout": group["layout"],
                    "specimen": group["specimen"]}],
    }  # fmt: skip
    made = client.post("/api/studies", json=body)
    assert made.status_code == 200, made.text
    assert made.json()["key"] == "mine:study"
    # The command line writes the same text over the same files.
    monkeypatch.chdir(root / "mine")
    (root / "mine" / "study.toml").rename(tmp_path / "page.toml")
    monkeypatch.setattr(sys, "argv", ["drypoint", "new", "study.toml", "raw"])
    main_result = _call_main()
    assert main_result in (0, None)
    by_hand = (root / "mine" / "study.toml").read_text(encoding="utf-8")
    assert (tmp_path / "page.toml").read_text(encoding="utf-8") == by_hand
    capsys.readouterr()
    again = client.post("/api/studies", json=body)
    assert again.status_code == 409 and "left as it is" in again.text


def _materials(client: TestClient, folder: str, names: tuple[str, ...]) -> None:
    for k, name in enumerate(names):
        data = b"comment: %d\n" % k + TEXT
        if name.endswith(".txt"):
            data = data.replace(b",", b";").replace(b"Depth", b"Weg")
        assert _put(client, f"{folder}/raw/{name}", data).status_code == 200


def test_materials_of_one_layout_are_never_merged(client: TestClient, root: Path) -> None:
    """One group per layout, one specimen per stem of the file names; a study file says the same
    as the command line; single names win, and what is left out is not read."""
    names = ("glass_01.csv", "glass-02.csv", "Glass 3 (2).csv", "oxide_1.csv", "Steel 1.txt")
    _materials(client, "odd", names)
    assert _put(client, "odd/raw/diary.csv", b"words only\nand more words\n").status_code == 200
    groups = client.post("/api/look", json={"folder": "odd"}).json()["groups"]
    assert [sorted(g["specimens"].values()) for g in groups] == [
        ["glass", "glass", "glass", "oxide"], ["Steel"], ["diary"],
    ]  # fmt: skip
    assert [bool(g["columns"]) for g in groups] == [True, True, False]
    assert groups[2]["faults"][0]["reason"].startswith("No table of numbers")
    # Another look with more files: the same group again, so that a page can keep what was typed.
    _materials(client, "odd", (*names, "oxide_2.csv"))
    more = client.post("/api/look", json={"folder": "odd", "leave_out": ["raw/diary.csv"]}).json()
    assert [g["like"] for g in more["groups"]] == [g["like"] for g in groups[:2]]
    csv, txt = more["groups"]
    answer = next(c for q in txt["questions"] for c in q["choices"] if '"nm"' in c)
    csv["specimens"]["raw/glass-02.csv"] = "  fused   silica "
    body = {"folder": "odd", "name": "odd", "groups": [
        {"files": csv["files"], "specimens": csv["specimens"]},
        {"files": txt["files"], "answers": [answer]},
    ]}  # fmt: skip
    made = client.post("/api/studies", json=body)
    assert made.status_code == 200, made.text
    study = load_study(root / "odd" / "study.toml")
    taken = {r.specimen: sorted(r.files) for r in study.file.records}
    assert taken == {
        "glass": ["raw/Glass 3 (2).csv", "raw/glass_01.csv"], "fused silica": ["raw/glass-02.csv"],
        "oxide": ["raw/oxide_1.csv", "raw/oxide_2.csv"], "Steel": ["raw/Steel 1.txt"],
    }  # fmt: skip
    assert set(study.file.specimens) == set(taken)


def test_a_pattern_does_not_take_a_file_that_was_left_out(client: TestClient, root: Path) -> None:
    _materials(client, "part", tuple(f"glass_{k}.csv" for k in range(6)))
    look = {"folder": "part", "leave_out": ["raw/glass_4.csv"]}
    (group,) = client.post("/api/look", json=look).json()["groups"]
    assert len(group["files"]) == 5
    body = {"folder": "part", "name": "p", "groups": [{"files": group["files"]}]}
    assert client.post("/api/studies", json=body).status_code == 200
    study = load_study(root / "part" / "study.toml")
    taken = {p.name for f in study.file.records[0].files for p in (root / "part").glob(f)}
    assert taken == {f"glass_{k}.csv" for k in (0, 1, 2, 3, 5)}


def test_a_new_study_takes_over_the_rule_of_its_calibration(client: TestClient, root: Path) -> None:
    """An area function holds under the choices under which it was found, and no others."""
    shutil.copytree(root / "demo" / "raw" / "glass", root / "mine" / "raw")
    (group,) = client.post("/api/look", json={"folder": "mine"}).json()["groups"]
    page = client.get("/new").text
    assert '<option value="demo/bench/calibration.toml" selected>' in page
    assert "proposal.toml" not in page
    body = {
        "folder": "mine",
        "name": "with a calibration",
        "groups": [{k: group[k] for k in ("files", "layout", "specimen")}],
        "bench": "demo/bench/calibration.toml",
    }
    made = client.post("/api/studies", json=body)
    assert made.status_code == 200, made.text
    study = load_study(root / "mine" / "study.toml")
    assert study.file.analysis.radial_correction and study.file.analysis.epsilon == "exponent"
    assert study.calibrated("tip").tip.area.kind == "blunted"


def _call_main() -> int | str | None:
    try:
        main()
    except SystemExit as end:
        return end.code
    return 0


def test_a_question_is_asked_and_its_answer_settles_it(client: TestClient, root: Path) -> None:
    data = TEXT.replace(b" [nm]", b"")  # nothing says the unit of the depth
    assert _put(client, "asked/raw/a.csv", data).status_code == 200
    group = client.post("/api/look", json={"folder": "asked"}).json()["groups"][0]
    assert not group["clear"] and group["questions"]
    question = group["questions"][0]
    answer = next((c for c in question["choices"] if '"nm"' in c), question["choices"][0])
    look = {"folder": "asked", "groups": [{"files": group["files"], "answers": [answer]}]}
    settled = client.post("/api/look", json=look).json()["groups"][0]
    assert settled["clear"] and settled["curves"]
    wrong = {"folder": "asked", "groups": [{"files": group["files"], "answers": ["depth = {"]}]}
    refused = client.post("/api/look", json=wrong)
    assert refused.status_code == 422 and "cannot be used" in refused.text


def test_files_outside_are_not_looked_at(client: TestClient) -> None:
    for folder in ("..", "../..", "/etc", "demo/../.."):
        assert client.post("/api/look", json={"folder": folder}).status_code == 403
    body = {"folder": "demo", "groups": [{"files": ["../../secret.csv"]}]}
    assert client.post("/api/look", json=body).status_code == 403


def test_another_layout_is_seen_and_then_written(client: TestClient, root: Path) -> None:
    path = root / "demo" / "study.toml"
    before = path.read_text(encoding="utf-8")
    seen = client.get(f"{API}/files/table?table=0").json()
    layout = seen["layout"]
    layout["columns"]["depth"]["scale"] = 2.0
    look = client.post(f"{API}/files/look", json={"table": 0, "layout": layout}).json()
    nm = seen["first_tests"][0]["depth_nm"]
    assert look["first_tests"][0]["depth_nm"] == pytest.approx(2 * nm)
    assert path.read_text(encoding="utf-8") == before
    # A unit against the one in the file is a question, not a silent choice.
    against = {**layout, "columns": {"depth": {"name": "Depth", "unit": "µm"}}}
    asked = client.post(f"{API}/files/look", json={"table": 0, "layout": against}).json()
    assert not asked["clear"] and asked["questions"]
    version = client.get(API).json()["version"]
    body = {"table": 0, "layout": layout, "version": version}
    answer = client.post(f"{API}/files/layout", json=body)
    assert answer.status_code == 200, answer.text
    study = load_study(path)
    assert study.layout(0).columns["depth"].scale == 2.0
    assert study.layout(1) == read_study(before, path).layout(1)
    for line in before.splitlines():
        if "depth" not in line and "Depth" not in line and "{" not in line:
            assert line in path.read_text(encoding="utf-8")


def test_what_was_set_aside_is_told(client: TestClient) -> None:
    aside = client.get(f"{API}/files/set-aside").json()
    assert {s["test"] for s in aside["set_aside"]} >= {"G-25", "G-26"}
    assert all(s["reason"] and s["remedy"] for s in aside["set_aside"])


BEFORE = """\
drypoint = 1
[study]
name = "x"

# glass, first day
[[records]]
files = ["a/*.txt"]   # two of them
specimen = "g"
decimal = ","
operator = "A"
[records.columns]
depth = {name = "d", unit = "nm"}

# the second
[[records]]
files = ["b.txt"]
specimen = "g"

[specimens.g]
nu = 0.3
[tips.t]
shape = "Vickers"
"""

UNITS = {"time": ("s", "ms"), "force": ("mN", "µN"), "depth": ("nm", "µm")}


def _column(i: int, role: str) -> st.SearchStrategy[Column]:
    return st.builds(
        Column,
        index=st.just(i),
        unit=st.sampled_from([None, *UNITS[role]]),
        scale=st.sampled_from([1.0, -1.0, 0.5]),
    )


LAYOUTS = st.builds(
    Layout,
    delimiter=st.sampled_from([None, ",", ";", "\t", " "]),
    decimal=st.sampled_from([None, ".", ","]),
    header_line=st.none() | st.integers(1, 99),
    split=st.sampled_from([None, "one", "blank lines"]),
    comment=st.sampled_from([None, "#", '"%']),
    columns=st.fixed_dictionaries(
        {}, optional={role: _column(i, role) for i, role in enumerate(UNITS, start=1)}
    ),
)


@given(st.integers(0, 1), LAYOUTS)
def test_only_the_layout_of_one_table_changes(i: int, layout: Layout) -> None:
    path = Path("s.toml")
    new = read_study(with_layout(BEFORE, i, layout, path), path)
    old = read_study(BEFORE, path)
    assert new.layout(i) == replace(layout, inside=())
    assert new.layout(1 - i) == old.layout(1 - i)
    assert [r.operator for r in new.file.records] == [r.operator for r in old.file.records]
    for remark in ("# glass, first day", "# two of them", "# the second"):
        assert remark in new.text
    # There and back again gives the same text from then on.
    once = with_layout(new.text, i, old.layout(i), path)
    assert with_layout(with_layout(once, i, layout, path), i, old.layout(i), path) == once


def test_a_table_that_is_written_in_another_way_is_left_alone() -> None:
    inline = 'drypoint = 1\nrecords = [{files = ["a"], specimen = "g"}]\n'
    with pytest.raises(RecipeError, match="can be changed here"):
        with_layout(inline, 0, Layout(), Path("s.toml"))
    long = BEFORE.replace('decimal = ","', 'inside = [\n  "a",\n  "b",\n]')
    with pytest.raises(RecipeError, match="not changed by the page"):
        with_layout(long, 0, Layout(), Path("s.toml"))
