"""What ``inspect`` shows, and the starting recipe made of it. All files are invented here."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from invented_records import invented, lines_of, plain_file, save

from drypoint.records import (
    Column,
    Layout,
    Understanding,
    read,
    starting_recipe_records,
    understand,
)


def layout_of(table: dict[str, Any]) -> Layout:
    """A recipe's ``[[records]]`` table as a layout."""
    columns = {role: Column(**c) for role, c in table.get("columns", {}).items()}
    rest = {k: v for k, v in table.items() if k not in ("files", "specimen", "columns")}
    return Layout(columns=columns, **rest)


def tables(understandings: list[Understanding]) -> list[dict[str, Any]]:
    return list(tomllib.loads(starting_recipe_records(understandings)).get("records", []))


def test_what_is_seen(tmp_path: Path) -> None:
    record = invented(200)
    path = plain_file(tmp_path / "a.txt", record, head=["Temperature: 23 °C", ""])
    seen = understand(path, root=tmp_path)
    assert seen.clear and seen.path == "a.txt" and seen.encoding == "utf-8"
    assert [(c.role, c.unit) for c in seen.columns] == [
        ("time", "s"), ("force", "mN"), ("depth", "nm"),
    ]  # fmt: skip
    assert all("by its name" in c.why for c in seen.columns)
    (test,) = seen.tests
    assert (test.name, test.samples, test.first_line, test.last_line) == ("a", 200, 4, 203)
    assert test.duration_s == pytest.approx(9.95) and test.rate_Hz == pytest.approx(20)
    assert test.max_force_N == pytest.approx(record.force.max())
    assert seen.header == {"temperature": "23 °C"}
    assert "the header does not say humidity" in seen.missing
    assert "no segment column: segments are found from the signal" in seen.missing


def test_gaps_are_shown(tmp_path: Path) -> None:
    r = invented(300)
    time = r.time.copy()
    time[170:] += 30
    body = lines_of([time, np.round(r.force, 5) * 1e3, r.depth * 1e9])
    path = save(tmp_path / "a.txt", ["Time (s);Load (mN);Depth (nm)", *body])
    (test,) = understand(path).tests
    assert test.gaps == ((171, pytest.approx(30.05)),)
    assert read([path]).set_aside == ()


def test_questions_are_part_of_the_answer(tmp_path: Path) -> None:
    r = invented()
    body = lines_of([r.time, r.force * 1e3, r.depth * 1e9, r.depth * 0.9e9])
    path = save(tmp_path / "a.txt", ["Time;Load (mN);Depth (nm);Corrected depth (nm)", *body])
    seen = understand(path)
    assert not seen.clear
    assert {q.key for q in seen.questions} == {"columns.time.unit", "columns.depth"}
    text = starting_recipe_records([seen])
    assert tomllib.loads(text)["records"][0]["columns"]["force"]["unit"] == "mN"
    assert '# depth = {name = "Corrected depth (nm)", unit = "nm"}' in text
    chosen = text.replace('# depth = {name = "Corr', 'depth = {name = "Corr')
    chosen = chosen.replace(
        '# time = {name = "Time", unit = "s"}', 'time = {name = "Time", unit = "s"}'
    )
    outcome = read([path], layout_of(tomllib.loads(chosen)["records"][0]))
    assert outcome.set_aside == ()
    np.testing.assert_allclose(outcome.batch.depth, r.depth * 0.9, rtol=1e-8)


@pytest.mark.parametrize("raw", [b"", b"\x00\x01", b"words\n"])
def test_hopeless_files_are_understood_as_such(tmp_path: Path, raw: bytes) -> None:
    path = tmp_path / "bad.bin"
    path.write_bytes(raw)
    seen = understand(path)
    assert not seen.clear and seen.faults[0].reason
    text = starting_recipe_records([seen])
    assert tomllib.loads(text) == {} and "left out" in text


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|", " "])
@pytest.mark.parametrize("split", ["one", "blank lines", "column"])
def test_the_starting_recipe_reads_the_files(tmp_path: Path, delimiter: str, split: str) -> None:
    decimal = "." if delimiter == "," else ","
    records = [invented(seed=k) for k in (1, 2)]
    names = delimiter.join(["Zeit/s", "Kraft/mN", "Tiefe/µm"])
    paths = []
    for k in range(3):
        lines = ["Probe: Glas “A”", delimiter.join(["Test", names]) if split == "column" else names]
        for i, r in enumerate(records[: 1 if split == "one" else 2]):
            columns: list[Any] = [r.time, r.force * 1e3, r.depth * 1e6 * (k + 1)]
            if split == "column":
                columns.insert(0, [f"T{i}"] * 60)
            lines += [*lines_of(columns, delimiter=delimiter, decimal=decimal), ""]
        paths.append(save(tmp_path / f"glas_{k}.txt", lines))
    save(tmp_path / "other.csv", ["Time (s);Load (mN);Depth (nm)"])
    seen = [understand(p, root=tmp_path) for p in paths]
    (table,) = tables(seen)
    assert table["specimen"] == "Glas “A”" and table["split"] == split
    layout = layout_of(table)
    plain, declared = read(paths), read(paths, layout)
    assert declared.set_aside == plain.set_aside == ()
    for name in ("time", "force", "depth", "offsets"):
        np.testing.assert_array_equal(getattr(plain.batch, name), getattr(declared.batch, name))
    assert [t.name for t in plain.batch.tests] == [t.name for t in declared.batch.tests]


def test_files_of_one_kind_share_a_table_and_a_pattern(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "raw").mkdir()
    glass = [plain_file(Path(f"raw/glass_{k:02}.txt"), invented(seed=k)) for k in range(4)]
    steel = [
        plain_file(Path(f"raw/steel{k}.csv"), invented(seed=9 + k), delimiter=",") for k in range(2)
    ]
    found = tables([understand(p) for p in glass + steel])
    assert [t["files"] for t in found] == [
        ["raw/glass_*.txt"],
        ["raw/steel0.csv", "raw/steel1.csv"],
    ]
    save(Path("raw/glass_strange.txt"), ["not", "a record"])
    assert tables([understand(p) for p in glass])[0]["files"] == ["raw/glass_0*.txt"]
    save(Path("raw/glass_0_strange.txt"), ["not", "a record"])
    assert len(tables([understand(p) for p in glass])[0]["files"]) == 4


def test_whatever_layout_is_declared_comes_back(tmp_path: Path) -> None:
    rows = lines_of([invented().force * 1e3, invented().depth * 1e9])
    path = save(tmp_path / "a.txt", ["Load (mN);Depth (nm)", *rows])
    (table,) = tables([understand(path, Layout(sampling_Hz=20))])
    assert table["sampling_Hz"] == 20
    np.testing.assert_allclose(read([path], layout_of(table)).batch.time[:3], [0, 0.05, 0.1])
