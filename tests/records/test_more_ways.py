"""Workbooks, Parquet, HDF5, zip files and folders. All files are invented here."""

from __future__ import annotations

import datetime
import hashlib
import tomllib
import zipfile
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import polars as pl
import pytest
from invented_records import Invented, invented, plain_file
from invented_tables import NAMES, hdf5, numbers, parquet, sheet_rows, workbook, zipped

from drypoint.records import (
    Batch,
    Column,
    Layout,
    Limits,
    ReadOutcome,
    SetAside,
    read,
    read_in_chunks,
    starting_recipe_records,
    understand,
    understand_all,
)
from drypoint.records.raw import Limits as RawLimits


def only(outcome: ReadOutcome) -> SetAside:
    assert len(outcome.set_aside) == 1, outcome.set_aside
    found = outcome.set_aside[0]
    assert found.reason and found.remedy
    return found


def right(batch: Batch, i: int, record: Invented) -> None:
    s = batch.span(i)
    for name in ("time", "force", "depth"):
        np.testing.assert_allclose(getattr(batch, name)[s], getattr(record, name), rtol=1e-14)


def layout_of(text: str) -> Layout:
    table = tomllib.loads(text)["records"][0]
    columns = {role: Column(**c) for role, c in table.pop("columns", {}).items()}
    rest = {k: v for k, v in table.items() if k not in ("files", "specimen")}
    rest["inside"] = tuple(rest.get("inside", ()))
    return Layout(columns=columns, **rest)


# --- workbooks --------------------------------------------------------------------------------


def test_a_sheet_a_test(tmp_path: Path) -> None:
    a, b = invented(seed=1), invented(seed=2)
    head = [
        ["Operator", "B. Bench"],
        ["Temperature", 23.5, "°C"],
        ["Date", datetime.date(2026, 2, 3)],
        [],
    ]
    path = workbook(
        tmp_path / "w.xlsx",
        {"T 1": sheet_rows(a, head=head), "T 2": sheet_rows(b), "Info": [["Words", "only"]]},
    )
    outcome = read([path], root=tmp_path)
    assert not outcome.set_aside
    right(outcome.batch, 0, a)
    right(outcome.batch, 1, b)
    first = outcome.batch.tests[0]
    assert [t.name for t in outcome.batch.tests] == ["w:T 1", "w:T 2"]
    assert first.declared == {
        "operator": "B. Bench",
        "temperature": "23.5 °C",
        "date": "2026-02-03",
    }
    assert first.source.path == "w.xlsx!T 1" and first.source.first_line == 6
    assert first.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert any("Info" in n for n in outcome.notes)


@pytest.mark.parametrize("how", ["column", "blank rows", "unit row"])
def test_one_sheet_with_several_tests(tmp_path: Path, how: str) -> None:
    a, b = invented(seed=1), invented(seed=2)
    if how == "column":
        rows: list[list[Any]] = [["Test", *NAMES]]
        rows += [["A", *r] for r in sheet_rows(a)[1:]] + [[2, *r] for r in sheet_rows(b)[1:]]
        labels = ["A", "2"]
    else:
        names = NAMES if how == "blank rows" else ("Time", "Load", "Depth")
        units = [] if how == "blank rows" else [["s", "mN", "nm"]]
        rows = [list(names), *units, *sheet_rows(a)[1:], [], *sheet_rows(b)[1:]]
        labels = ["1", "2"]
    path = workbook(tmp_path / "w.xlsx", {"Sheet1": rows})
    outcome = read([path])
    assert [t.name for t in outcome.batch.tests] == [f"w:{v}" for v in labels]
    right(outcome.batch, 0, a)
    right(outcome.batch, 1, b)


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("abc", "holds “abc”"), ("1.5", "holds “'1.5”"), ("1,5", "holds “'1,5”"), (True, "“TRUE”"),
        (datetime.date(2026, 2, 3), "holds “2026-02-03”"), (None, "is empty"),
        ("#N/A", "holds “'#N/A”"),
    ],
)  # fmt: skip
def test_what_is_no_number_in_a_cell(tmp_path: Path, value: object, said: str) -> None:
    rows = sheet_rows(invented())
    rows[20][1] = value
    path = workbook(tmp_path / "w.xlsx", {"S": rows, "T": sheet_rows(invented(seed=2))})
    outcome = read([path], root=tmp_path)
    found = only(outcome)
    assert said in found.reason and "Load (mN)" in found.reason
    assert (found.file, found.line, found.column) == ("w.xlsx!S", 21, 2)
    assert len(outcome.batch) == 1


def test_a_row_that_begins_with_an_error_is_no_comment(tmp_path: Path) -> None:
    rows = sheet_rows(invented())
    rows[20][0] = "#DIV/0!"
    assert only(read([workbook(tmp_path / "w.xlsx", {"S": rows})])).line == 21


def test_sheets_that_cannot_be_read(tmp_path: Path) -> None:
    words = [["Time (s)", "Load (mN)", "Depth (nm)"], *[["0.1", "0.2", "0.3"]] * 30]
    strange = [["A (mN)", "B (nm)"], *[[k, k] for k in range(30)]]
    path = workbook(tmp_path / "w.xlsx", {"S": sheet_rows(invented()), "W": words, "X": strange})
    outcome = read([path], root=tmp_path)
    assert len(outcome.batch) == 1
    assert [s.file for s in outcome.set_aside] == ["w.xlsx!W", "w.xlsx!X"]
    assert "kept as text" in outcome.set_aside[0].remedy
    assert not read([path], Layout(inside=("S",))).set_aside
    assert "no sheet to read" in only(read([path], Layout(inside=("Q",)))).reason


def test_hidden_sheets_are_noted(tmp_path: Path) -> None:
    import xlsxwriter

    book = xlsxwriter.Workbook(tmp_path / "w.xlsx")
    for name in ("S", "H"):
        sheet = book.add_worksheet(name)
        for i, row in enumerate(sheet_rows(invented(seed=len(name)))):
            sheet.write_row(i, 0, row)
    book.get_worksheet_by_name("H").hide()
    book.close()
    outcome = read([tmp_path / "w.xlsx"])
    assert len(outcome.batch) == 1 and any("Hidden" in n for n in outcome.notes)


def test_a_workbook_that_claims_too_much(tmp_path: Path) -> None:
    path = workbook(tmp_path / "w.xlsx", {"S": [["a"], *[[]] * 5]})
    with zipfile.ZipFile(path) as old:
        parts = {n: old.read(n) for n in old.namelist()}
    name = "xl/worksheets/sheet1.xml"
    far = b'<row r="1048576"><c r="XFD1048576"><v>1</v></c></row></sheetData>'
    parts[name] = parts[name].replace(b"</sheetData>", far)
    assert "spans more than" in only(read([zipped(tmp_path / "x.xlsx", parts)])).reason


def test_an_open_document_sheet(tmp_path: Path) -> None:
    record = invented(30)
    cells = "".join(
        "<table:table-row>"
        + "".join(
            f'<table:table-cell office:value-type="float" office:value="{float(v)!r}"/>'
            if not isinstance(v, str)
            else '<table:table-cell office:value-type="string">'
            f"<text:p>{v}</text:p></table:table-cell>"
            for v in row
        )
        + "</table:table-row>"
        for row in sheet_rows(record)
    )
    xml = (
        '<?xml version="1.0"?><office:document-content '
        'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body>'
        f'<office:spreadsheet><table:table table:name="S">{cells}</table:table>'
        "</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        b'<?xml version="1.0"?><manifest:manifest '
        b'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>'
    )
    kind = b"application/vnd.oasis.opendocument.spreadsheet"
    parts = {"mimetype": kind, "META-INF/manifest.xml": manifest}
    path = zipped(tmp_path / "w.ods", {**parts, "content.xml": xml.encode()})
    right(read([path]).batch, 0, record)
    bomb = xml.replace(
        "<table:table-row>",
        '<table:table-row table:number-rows-repeated="1048576"><table:table-cell '
        'table:number-columns-repeated="16384" office:value-type="float" office:value="1"/>'
        "</table:table-row><table:table-row>", 1,
    )  # fmt: skip
    path = zipped(tmp_path / "b.ods", {**parts, "content.xml": bomb.encode()})
    assert "spans more than" in only(read([path])).reason


# --- Parquet ----------------------------------------------------------------------------------


@pytest.mark.parametrize("mixed", [False, True])
def test_parquet(tmp_path: Path, mixed: bool) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    path = parquet(tmp_path / "p.parquet", [a, b], ["A", "B"])
    if mixed:
        frame = (
            pl.read_parquet(path).with_row_index().sort(pl.col("index") % 7, maintain_order=True)
        )
        frame = frame.sort("Time (s)", maintain_order=True).drop("index")
        frame.write_parquet(path)
    outcome = read([path], root=tmp_path)
    batch = outcome.batch
    at = {t.name: i for i, t in enumerate(batch.tests)}
    right(batch, at["p:A"], a)
    right(batch, at["p:B"], b)
    assert batch.tests[0].source.path == "p.parquet"
    assert batch.tests[0].source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    one = parquet(tmp_path / "one.parquet", [a], names=("Time", "Load", "Depth"))
    assert "has no unit" in only(read([one])).reason
    columns = {"time": Column("Time", unit="s"), "force": Column("Load", unit="mN")}
    right(read([one], Layout(columns={**columns, "depth": Column("Depth", unit="nm")})).batch, 0, a)


def test_parquet_faults(tmp_path: Path) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    path = parquet(tmp_path / "p.parquet", [a, b], ["A", "B"])
    frame = pl.read_parquet(path)
    spoiled = frame.with_columns(
        pl.when(pl.int_range(pl.len()) == 45).then(None).otherwise("Load (mN)").alias("Load (mN)")
        if False
        else pl.when(pl.int_range(pl.len()) == 45)
        .then(None)
        .otherwise(pl.col("Load (mN)"))
        .alias("Load (mN)")
    )
    spoiled.write_parquet(path)
    outcome = read([path])
    found = only(outcome)
    assert found.test == "p:B" and found.line == 46 and "Load (mN)" in found.reason
    assert [t.name for t in outcome.batch.tests] == ["p:A"]
    backwards = frame.with_columns(pl.col("Time (s)") % 1.0)
    backwards.write_parquet(path)
    assert all("runs backwards" in s.reason for s in read([path]).set_aside)
    frame.select(pl.all().implode()).write_parquet(path)
    assert "holds lists" in only(read([path])).reason
    path.write_bytes(path.read_bytes()[:-20])
    assert "damaged" in only(read([path])).reason


def test_parquet_in_chunks(tmp_path: Path) -> None:
    records = [invented(30 + k % 40, seed=k) for k in range(50)]
    path = parquet(tmp_path / "p.parquet", records, [f"T{k}" for k in range(50)])
    text = plain_file(tmp_path / "a.txt", invented(seed=99))
    whole = read([path, text], root=tmp_path)
    for samples in (20, 200, 10_000):
        parts = list(read_in_chunks([path, text], samples=samples, root=tmp_path))
        assert sum(len(p.batch) for p in parts) == 51
        assert [t for p in parts for t in p.batch.tests] == list(whole.batch.tests)
        force = np.concatenate([p.batch.force for p in parts])
        np.testing.assert_array_equal(force, whole.batch.force)
        assert samples < 10_000 or len(parts) == 1
    frame = pl.read_parquet(path)
    pl.concat([frame, frame.head(5)]).write_parquet(path)
    parts = list(read_in_chunks([path], samples=200))
    assert "do not stand together" in parts[-1].set_aside[0].reason


# --- HDF5 -------------------------------------------------------------------------------------


def test_hdf5_groups(tmp_path: Path) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    words = {"temperature": "23 °C", "x_um": 12.0, "y_um": -3.0}
    path = hdf5(tmp_path / "h.h5", {"tests/t1": a, "tests/t2": b}, words)
    for layout in (Layout(), Layout(inside=("/tests/*",))):
        outcome = read([path], layout, root=tmp_path)
        assert not outcome.set_aside, outcome.set_aside
        right(outcome.batch, 0, a)
        right(outcome.batch, 1, b)
        first = outcome.batch.tests[0]
        assert first.name == "h:t1" and first.source.path == "h.h5!/tests/t1"
        assert first.declared["operator"] == "B. Bench"
        assert first.declared["temperature"] == "23 °C"
        assert first.position_m == pytest.approx((12e-6, -3e-6))
    assert len(read([path], Layout(inside=("/tests/t2",))).batch) == 1
    assert "No group" in only(read([path], Layout(inside=("/x/*",)))).reason


def test_hdf5_that_must_be_asked_about(tmp_path: Path) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    path = hdf5(tmp_path / "h.h5", {"tests/t1": a, "raw/t1": b})
    found = only(read([path]))
    assert 'inside = ["/tests/*"]' in found.remedy
    seen = understand(path)
    assert seen.questions[0].choices == ('inside = ["/raw/*"]', 'inside = ["/tests/*"]')


@pytest.mark.parametrize("form", ["two-dimensional", "compound", "declared", "index"])
def test_hdf5_tables(tmp_path: Path, form: str) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    path = tmp_path / "h.h5"
    layout = Layout()
    with h5py.File(path, "w") as file:
        if form == "two-dimensional":
            data = file.create_dataset("record", data=np.stack(numbers(a), axis=1))
            data.attrs["columns"], data.attrs["units"] = (
                ["Time", "Load", "Depth"],
                ["s", "mN", "nm"],
            )
        elif form == "compound":
            kind = [("Time (s)", "f8"), ("Load (mN)", "f8"), ("Depth (nm)", "f8")]
            rows = np.array(list(zip(*numbers(a), strict=True)), dtype=kind)
            file["record"] = rows
        elif form == "declared":
            for name, values in zip(("raw/clock", "raw/load", "c"), numbers(a), strict=True):
                file[name] = values
            columns = {
                "time": Column("raw/clock", unit="s"), "force": Column("raw/load", unit="mN"),
                "depth": Column("c", unit="nm"),
            }  # fmt: skip
            layout = Layout(inside=("/",), columns=columns)
        else:
            both = [np.concatenate(v) for v in zip(numbers(a), numbers(b), strict=True)]
            for name, unit, values in zip(("t", "F", "h"), ("s", "mN", "nm"), both, strict=True):
                file.create_dataset(name, data=values).attrs["units"] = unit
            file["test"] = np.repeat([b"A", b"B"], [40, 60])
    outcome = read([path], layout)
    assert not outcome.set_aside, outcome.set_aside
    right(outcome.batch, 0, a)
    if form == "index":
        assert [t.name for t in outcome.batch.tests] == ["h:A", "h:B"]
        right(outcome.batch, 1, b)


def test_hdf5_faults(tmp_path: Path) -> None:
    def spoiled(change: Any) -> SetAside:
        path = hdf5(tmp_path / "h.h5", {"t/1": invented(seed=1), "t/2": invented(seed=2)})
        with h5py.File(path, "r+") as file:
            change(file["t/2"])
        outcome = read([path], root=tmp_path)
        assert len(outcome.batch) == 1
        found = only(outcome)
        assert found.file == "h.h5!/t/2"
        return found

    def shorter(group: Any) -> None:
        del group["force"]
        group.create_dataset("force", data=np.arange(5.0)).attrs["unit"] = "mN"

    def hole(group: Any) -> None:
        group["force"][7] = np.nan

    def scaled(group: Any) -> None:
        group["force"].attrs["scale_factor"] = 0.001

    assert "differ in length: " in spoiled(shorter).reason
    assert spoiled(hole).line == 8
    assert "scale_factor" in spoiled(scaled).reason
    path = tmp_path / "h.h5"
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    assert only(read([path])).reason


def test_hdf5_links_to_other_files_are_not_followed(tmp_path: Path) -> None:
    hdf5(tmp_path / "other.h5", {"t": invented()})
    with h5py.File(tmp_path / "h.h5", "w") as file:
        file["t"] = h5py.ExternalLink("other.h5", "/t")
    assert len(read([tmp_path / "h.h5"]).batch) == 0


def test_without_h5py_the_extra_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = hdf5(tmp_path / "h.h5", {"t/1": invented()})
    monkeypatch.setitem(__import__("sys").modules, "h5py", None)
    assert "drypoint[hdf5]" in only(read([path])).remedy


# --- folders and zip files --------------------------------------------------------------------


def test_folder(tmp_path: Path) -> None:
    for k in range(3):
        plain_file(tmp_path / f"a{k}.txt", invented(seed=k))
    (tmp_path / "photo.png").write_bytes(b"\x89PNG")
    (tmp_path / ".hidden").write_bytes(b"x")
    (tmp_path / "below").mkdir()
    plain_file(tmp_path / "below" / "b.txt", invented(seed=9))
    outcome = read([tmp_path], root=tmp_path)
    assert [t.name for t in outcome.batch.tests] == ["a0", "a1", "a2"]
    assert any("photo.png" in n for n in outcome.notes) and not outcome.set_aside


def test_zip(tmp_path: Path) -> None:
    raw = [plain_file(tmp_path / f"{k}", invented(seed=k)).read_bytes() for k in range(6)]
    book = workbook(tmp_path / "w.xlsx", {"S": sheet_rows(invented(seed=7))}).read_bytes()
    inner = zipped(tmp_path / "i.zip", {"x.txt": raw[5]}).read_bytes()
    path = zipped(
        tmp_path / "batch.zip",
        {
            "inner/name.txt": raw[0], "../../etc/up.txt": raw[1], "C:\\drive\\d.txt": raw[2],
            "/abs.txt": raw[3], "same.txt": raw[0], "book.xlsx": book, "inner.zip": inner,
            "pic.png": b"\x89PNG", "__MACOSX/._x": b"x", "void.txt": b"", "dir/": b"",
        },
    )  # fmt: skip
    before = sorted(tmp_path.rglob("*"))
    outcome = read([path], root=tmp_path)
    assert sorted(tmp_path.rglob("*")) == before
    paths = [t.source.path for t in outcome.batch.tests]
    assert set(paths) == {
        "batch.zip!/etc/up.txt", "batch.zip!/abs.txt", "batch.zip!/drive/d.txt",
        "batch.zip!/book.xlsx!S", "batch.zip!/inner/name.txt",
    }  # fmt: skip
    info = next(t for t in outcome.batch.tests if "inner/name" in t.source.path)
    assert info.name == "name"
    assert info.source.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert info.source.member_sha256 == hashlib.sha256(raw[0]).hexdigest()
    reasons = {s.file: s.reason for s in outcome.set_aside}
    assert "zip file in a zip file" in reasons["batch.zip!/inner.zip"]
    assert "same bytes" in reasons["batch.zip!/same.txt"]
    assert "empty" in reasons["batch.zip!/void.txt"]
    assert len(read([path], Layout(inside=("inner/*",))).batch) == 1


def test_zip_limits(tmp_path: Path) -> None:
    raw = plain_file(tmp_path / "a.txt", invented()).read_bytes()
    path = zipped(tmp_path / "z.zip", {"a.txt": raw, "bomb.txt": b"0;0;0\n" * 2_000_000})
    outcome = read([path], root=tmp_path)
    assert len(outcome.batch) == 1 and "times its packed size" in only(outcome).reason
    few = read([path], limits=RawLimits(zip_members=1))
    assert "2 members; 1 are the most" in only(few).reason
    small = read([path], limits=RawLimits(zip_bytes=len(raw) + 40_000))
    assert "larger than the limit" in only(small).reason
    tiny = read([path], limits=RawLimits(zip_bytes=1000))
    assert "larger than the limit" in only(tiny).reason


def test_an_encrypted_zip(tmp_path: Path) -> None:
    path = zipped(tmp_path / "z.zip", {"a.txt": b"1;2\n" * 50})
    held = bytearray(path.read_bytes())
    held[6] |= 1
    held[held.index(b"PK\x01\x02") + 8] |= 1
    path.write_bytes(held)
    assert "encrypted" in only(read([path])).reason


@pytest.mark.parametrize("kind", ["workbook", "parquet", "hdf5", "zip"])
def test_the_starting_recipe_reads_them_again(tmp_path: Path, kind: str) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    if kind == "workbook":
        path = workbook(tmp_path / "w.xlsx", {"A": sheet_rows(a), "B": sheet_rows(b)})
    elif kind == "parquet":
        path = parquet(tmp_path / "w.parquet", [a, b], ["A", "B"])
    elif kind == "hdf5":
        path = hdf5(tmp_path / "w.h5", {"t/A": a, "t/B": b})
    else:
        members = {
            f"{k}.txt": plain_file(tmp_path / k, r).read_bytes() for k, r in (("A", a), ("B", b))
        }
        path = zipped(tmp_path / "w.zip", members)
    looks = understand_all(path, root=tmp_path)
    assert len(looks) == 1 and looks[0].clear and len(looks[0].tests) == 2
    text = starting_recipe_records(looks)
    declared = read([path], layout_of(text))
    plain = read([path])
    assert not declared.set_aside and len(declared.batch) == 2
    np.testing.assert_array_equal(plain.batch.force, declared.batch.force)
    assert plain.batch.tests == declared.batch.tests


def test_two_layouts_in_one_file(tmp_path: Path) -> None:
    a, b = invented(40, seed=1), invented(60, seed=2)
    other = ("Time (s)", "Load (µN)", "Depth (nm)")
    path = workbook(tmp_path / "w.xlsx", {"A": sheet_rows(a), "B": sheet_rows(b, other)})
    tables = tomllib.loads(starting_recipe_records(understand_all(path)))["records"]
    assert [t["inside"] for t in tables] == [["A"], ["B"]]


def test_limits_of_check_are_another_thing() -> None:
    assert Limits is not RawLimits
