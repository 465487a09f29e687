"""Results of invented studies say so in every file; computed records say so; measured ones do not.

Invented data."""

from __future__ import annotations

import contextlib
import io
import json
import re
import zipfile
from dataclasses import replace
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from PIL import Image
from python_calamine import CalamineWorkbook

import drypoint
from drypoint import stress
from drypoint.ledger import Draft, HealthBody, Ledger
from drypoint.notices import INVENTED_FILE, of_invented, with_origin
from drypoint.run import StudyResult, run_study
from drypoint.run.calibrating import calibrate_study
from drypoint.run.registering import accept_calibration
from drypoint.run.remembering import health_of
from drypoint.run.stress_tables import record_text, write_vtu
from drypoint.store import read_manifest, read_results
from drypoint.store.tables import marked, xlsx_bytes


def assert_all_marked(folder: Path) -> None:
    """Every table and list in a result set."""
    tables = sorted(folder.rglob("*.csv"))
    assert tables and len(tables) == len(sorted(folder.rglob("*.parquet")))
    for path in tables:
        assert path.read_text(encoding="utf-8").splitlines()[0].endswith(",invented"), path.name
        table = pl.read_csv(path, infer_schema_length=None)  # as a stranger reads it
        assert table["invented"].to_list() == [True] * table.height, path.name
        twin = path.with_suffix(".parquet")
        assert pl.read_parquet_metadata(twin)["invented"] == INVENTED_FILE
        other = pl.read_parquet(twin)
        assert other.columns == table.columns and other["invented"].all()
    for name in ("manifest.json", "summary.json"):
        assert json.loads((folder / name).read_text(encoding="utf-8"))["invented"] is True


def test_every_table_of_the_demo(demo_study: Path) -> None:
    assert_all_marked(demo_study.parent / "results")
    assert read_manifest(demo_study.parent / "results").origin.invented


def test_bench_and_tracks(own_demo: Path) -> None:
    from drypoint.run.bench_tables import write_bench

    found = calibrate_study(own_demo.parent / "bench" / "bench.toml")
    write_bench(found, found.study.results)
    assert_all_marked(found.study.results)
    proposal = (found.study.results / "proposal.toml").read_text(encoding="utf-8")
    assert proposal.startswith(f"# {INVENTED_FILE}\n")
    tracks = run_study(own_demo.parent / "scratch" / "scratch.toml")
    assert_all_marked(tracks.study.results)


def test_measured_data_have_no_mark(own_demo: Path) -> None:
    """The same study without the key: no column, no metadata, and the numbers are the same."""
    before = read_results(own_demo.parent / "results").table("tests")
    text = own_demo.read_text(encoding="utf-8")
    own_demo.write_text(text.replace("invented = true\n", ""), encoding="utf-8")
    run_study(own_demo)
    folder = own_demo.parent / "results"
    for path in folder.glob("*.parquet"):
        assert "invented" not in pl.read_parquet_metadata(path)
        assert "invented" not in pl.read_parquet(path).columns
    for path in folder.glob("*.csv"):
        assert "invented" not in path.read_text(encoding="utf-8").splitlines()[0]
    assert json.loads((folder / "summary.json").read_text(encoding="utf-8"))["invented"] is False
    after = read_results(folder).table("tests")
    assert after.equals(before.drop("invented"), null_equal=True)
    record = (folder / "stress-film-record.txt").read_text(encoding="utf-8")
    assert record.startswith("# Computed, not measured: ")


def test_results_of_earlier_versions_are_read(own_demo: Path) -> None:
    """A set whose list has no such entry: read as measured, whole, and replaced by the next run."""
    folder = own_demo.parent / "results"
    path = folder / "manifest.json"
    body = json.loads(path.read_text(encoding="utf-8"))
    del body["invented"]
    path.write_text(json.dumps(body), encoding="utf-8")
    old = read_results(folder)
    assert not old.manifest.origin.invented and old.faults() == []
    assert old.table("tests").height == 92
    run_study(own_demo)
    assert read_results(folder).manifest.origin.invented


def test_workbooks_say_so() -> None:
    """A title, a note on the first cell, a head on paper; the head of the table stays in row 1."""
    data = xlsx_bytes(marked(pl.DataFrame({"a": [1.5, 2.5]})), "t", invented=True)
    with zipfile.ZipFile(io.BytesIO(data)) as file:
        core = file.read("docProps/core.xml").decode()
        notes = file.read("xl/comments1.xml").decode()
        sheet = file.read("xl/worksheets/sheet1.xml").decode()
    assert "<dc:title>Invented data</dc:title>" in core and INVENTED_FILE in core
    assert INVENTED_FILE in notes and 'ref="A1"' in notes
    assert "Invented data" in re.findall("<oddHeader>(.*?)</oddHeader>", sheet)[0]
    rows = CalamineWorkbook.from_filelike(io.BytesIO(data)).get_sheet_by_name("t").to_python()
    assert rows == [["a", "invented"], [1.5, True], [2.5, True]]
    again = xlsx_bytes(marked(pl.DataFrame({"a": [1.5, 2.5]})), "t", invented=True)
    assert again == data
    plain = xlsx_bytes(pl.DataFrame({"a": [1.5]}), "t")
    assert "comments1" not in " ".join(zipfile.ZipFile(io.BytesIO(plain)).namelist())


@pytest.mark.parametrize("invented", [True, False])
def test_a_computed_record_says_so_and_reads_back(
    demo_result: StudyResult, tmp_path: Path, invented: bool
) -> None:
    """First line a comment; read without a word about it, the numbers are those of the run, to the
    digits written (F: 8, h: 8, t: 6)."""
    one = replace(demo_result.stress[0], invented=invented)
    path = tmp_path / "record.txt"
    path.write_text(record_text(one), encoding="utf-8")
    first = path.read_text(encoding="utf-8").splitlines()[0]
    words = "Invented data; computed, not measured" if invented else "Computed, not measured"
    assert first == f"# {words}: finite elements by Drypoint"
    read = drypoint.read_records([path])
    batch = read.batch
    assert len(batch) == 1 and not read.set_aside
    t, F, h = stress.record(one.run, 800)
    s = batch.span(0)
    np.testing.assert_allclose(batch.time[s], t, rtol=1e-5)
    np.testing.assert_allclose(batch.force[s], F, rtol=1e-7, atol=1e-18)
    np.testing.assert_allclose(batch.depth[s], h, rtol=1e-7, atol=1e-18)


def test_fields_say_so(demo_result: StudyResult, tmp_path: Path) -> None:
    (path,) = write_vtu(demo_result.stress[0], tmp_path, "peak")
    second = path.read_text(encoding="ascii").splitlines()[1]
    assert second == ("<!-- Invented data; computed, not measured: finite elements by Drypoint -->")


def test_entries_of_the_ledger_say_so(own_demo: Path, tmp_path: Path) -> None:
    """Of whatever is entered from an invented study, whoever enters it; the tip's chart, too."""
    bench = own_demo.parent / "bench"
    (bench / "calibration.toml").unlink()
    book = Ledger.open(str(tmp_path / "ledger.sqlite"))
    found = calibrate_study(bench / "bench.toml")
    accept_calibration(found, who="A. Person", why="looked at", ledger=book)
    entries = book.entries()
    assert len(entries) > 5 and {e.why for e in entries} == {"looked at (invented data)"}
    (reading,) = book.current(HealthBody, tip="B1")
    later = [reading.body.model_copy(update={"on": f"2025-04-0{k}"}) for k in (1, 2, 3)]
    book.accept_all([Draft(b) for b in later], "A. Person", "checked")
    assert health_of(book, "B1")[0].invented
    real = Ledger.open(str(tmp_path / "real.sqlite"))
    bodies = [e.body for e in entries if e.kind in ("tip", "frame")]
    real.accept_all([Draft(b) for b in (*bodies, *later)], "A. Person", "checked")
    assert not health_of(real, "B1")[0].invented


def test_the_mark_of_a_reason() -> None:
    """Once, and only where the data are invented."""
    marked_once = with_origin("looked at", True)
    assert marked_once == "looked at (invented data)" == with_origin(marked_once, True)
    assert of_invented(marked_once) and not of_invented(with_origin("looked at", False))


def test_what_the_command_stress_writes(
    own_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Tables, record and figures of a run of an invented study, taken from the cache."""
    from drypoint.cli import main

    out = tmp_path / "film"
    call = ["drypoint", "stress", str(own_demo), "film", "--out", str(out)]
    monkeypatch.setattr("sys.argv", call)
    with contextlib.suppress(SystemExit):
        main()
    assert_all_marked(out)
    record = (out / "stress-film-record.txt").read_text(encoding="utf-8")
    assert record.startswith("# Invented data; computed, not measured: ")
    pictures = sorted(out.glob("*.png"))
    assert len(pictures) == 4
    for path in pictures:
        assert Image.open(path).text["Description"] == "Invented data; computed, not measured"
