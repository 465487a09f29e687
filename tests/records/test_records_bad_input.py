"""What bad input gets: one message with file, line, column and remedy; the rest is read.

All files are invented here.
"""

from __future__ import annotations

import gzip
import hashlib
from pathlib import Path

import pytest
from invented_records import invented, lines_of, plain_file, save

from drypoint.records import Column, Layout, ReadOutcome, SetAside, read

HEAD = "Time (s);Load (mN);Depth (nm)"


def rows(seed: int = 1) -> list[str]:
    r = invented(seed=seed)
    return lines_of([r.time, r.force * 1e3, r.depth * 1e9])


def only(outcome: ReadOutcome) -> SetAside:
    assert len(outcome.set_aside) == 1
    found = outcome.set_aside[0]
    assert found.reason[-1] in ".?”" and found.remedy and found.stage == "reading"
    return found


def spoiled(tmp_path: Path, line: int, text: str) -> SetAside:
    """One file with a bad line (numbered as in the file) beside a good one."""
    lines = [HEAD, *rows()]
    lines[line - 1] = text
    bad = save(tmp_path / "bad.txt", lines)
    good = plain_file(tmp_path / "good.txt", invented(seed=2))
    before = hashlib.sha256(bad.read_bytes()).digest()
    outcome = read([bad, good], root=tmp_path)
    assert hashlib.sha256(bad.read_bytes()).digest() == before
    assert [t.name for t in outcome.batch.tests] == ["good"]
    found = only(outcome)
    assert found.file == "bad.txt"
    return found


@pytest.mark.parametrize(
    ("line", "text", "column", "said", "remedy"),
    [
        (20, "0.9;abc;1.5", 5, "“Load (mN)”) holds “abc”", "copy"),
        (20, "0.9;1.5;", 9, "“Depth (nm)”) is empty", "copy"),
        (20, "0.9;NaN;1.5", 5, "holds NaN, which is not a measured value", "copy"),
        (20, "0.9;inf;1.5", 5, "holds inf", "copy"),
        (20, "0.9;1.5", 8, "2 fields where the others have 3", "complete it or delete"),
        (20, "0.9;1.5;2.5;3.5", 13, "4 fields where the others have 3", "complete it or delete"),
        (20, "0.9;1 5;1.5", 5, "holds “1 5”", "copy"),
        (20, "0.9;0x15;1.5", 5, "holds “0x15”", "copy"),
        (20, "0.9;1_5;1.5", 5, "holds “1_5”", "copy"),
        (20, "0.9;1.5e;1.5", 5, "holds “1.5e”", "copy"),
        (20, "end of loading", 15, "1 field where", "complete it or delete"),
        (2, "x;0.1;0.2", 1, "“Time (s)”) holds “x”", "copy"),
        (2, "0;x;y", 3, "“Load (mN)”) holds “x”", "copy"),
        (3, "0.05;x;0.2", 6, "holds “x”", "copy"),
        (61, "2.95;0.5;abc", 10, "holds “abc”", "copy"),
        (61, "2.95;0.5", 9, "The last row is incomplete", "Delete line 61"),
        (20, "0.1;1.5;2.5", 1, "The time runs backwards, from 0.85 s to 0.1 s", "split"),
    ],
)
def test_a_bad_line(
    tmp_path: Path, line: int, text: str, column: int, said: str, remedy: str
) -> None:
    found = spoiled(tmp_path, line, text)
    assert said in found.reason
    assert (found.line, found.column) == (line, column)
    assert remedy in found.remedy


@pytest.mark.parametrize(
    ("raw", "said", "line"),
    [
        (b"", "empty", None),
        (b" \n\t\n", "empty", None),
        (b"\xef\xbb\xbf\n", "blanks only", None),
        (b"PK\x03\x04\x14\x00", "a workbook or a zip archive", None),
        (b"\xd0\xcf\x11\xe0\xa1", "an old workbook or text document", None),
        (b"\x89HDF\r\n\x1a\n\x00", "an HDF5 file", None),
        (b"1;2;3\n4;5;6\n\x00\x00\x00", "zero bytes", 3),
        (b"1;2;3\n4;\x07;6\n", "control byte 0x07", 2),
        (bytes(range(128, 256)) * 3, "binary", None),
        (gzip.compress(b"1;2;3\n" * 500, mtime=0)[:-9], "damaged or was cut short", None),
        (b"only words here\nand here\n", "No table of numbers", None),
        (b"single\n1\n2\n3\n", "No table of numbers", None),
    ],
)
def test_a_file_that_is_no_record(tmp_path: Path, raw: bytes, said: str, line: int | None) -> None:
    path = tmp_path / "bad.txt"
    path.write_bytes(raw)
    good = plain_file(tmp_path / "good.txt", invented())
    outcome = read([path, good], root=tmp_path)
    found = only(outcome)
    assert said in found.reason and found.line == line and found.test is None
    assert len(outcome.batch) == 1


def test_missing_folder_large_and_wrong_encoding(tmp_path: Path) -> None:
    good = plain_file(tmp_path / "a.txt", invented(), head=["Prüfer: X"], encoding="cp1252")
    assert "no such file" in only(read([tmp_path / "none.txt"])).reason
    (tmp_path / "empty").mkdir()
    assert "folder" in only(read([tmp_path / "empty"])).reason
    assert "larger than the limit" in only(read([good], max_bytes=100)).reason
    zipped = tmp_path / "z.gz"
    zipped.write_bytes(gzip.compress(b"1;2\n" * 100_000, mtime=0))
    assert "larger than the limit" in only(read([zipped], max_bytes=10_000)).reason
    found = only(read([good], Layout(encoding="utf-8")))
    assert "not valid utf-8" in found.reason and found.line == 1
    assert "is not an encoding" in only(read([good], Layout(encoding="klingon"))).reason


def test_a_duplicate_is_set_aside(tmp_path: Path) -> None:
    a = plain_file(tmp_path / "a.txt", invented())
    b = plain_file(tmp_path / "b.txt", invented())
    outcome = read([a, b], root=tmp_path)
    assert len(outcome.batch) == 1
    assert "same bytes as a.txt" in only(outcome).reason


def test_only_the_faulty_test_of_a_file_is_lost(tmp_path: Path) -> None:
    for split in ("blank", "column"):
        lines = [HEAD if split == "blank" else f"Test;{HEAD}"]
        for k in (1, 2, 3):
            block = rows(k)
            if k == 2:
                block[10] = "0.5;oops;12"
            lines += [f"P{k};{r}" for r in block] if split == "column" else [*block, ""]
        outcome = read([save(tmp_path / f"{split}.txt", lines)], root=tmp_path)
        found = only(outcome)
        wrong = "2" if split == "blank" else "P2"
        assert found.test == f"{split}:{wrong}" and "oops" in found.reason
        assert found.line == (73 if split == "blank" else 72)
        assert len(outcome.batch) == 2


def test_later_blocks_lose_no_first_line_in_silence(tmp_path: Path) -> None:
    r = invented()
    two = lines_of([r.force * 1e3, r.depth * 1e9])
    lines = ["Load (mN);Depth (nm)", *two, "", "abc;3.0", *two[1:]]
    outcome = read([save(tmp_path / "a.txt", lines)], Layout(split="blank lines"))
    assert only(outcome).line == 63 and len(outcome.batch) == 1
    units = ["Load (mN);Depth (nm)", *two, "", "Load (N);Depth (nm)", *two]
    outcome = read([save(tmp_path / "b.txt", units)], Layout(split="blank lines"))
    assert only(outcome).line in (63, 64) and len(outcome.batch) == 1


def test_blank_lines_that_can_mean_two_things(tmp_path: Path) -> None:
    lines = [HEAD, *rows()[:30], "", *rows()[30:]]
    path = save(tmp_path / "a.txt", lines)
    found = only(read([path]))
    assert "several tests, or one test with gaps?" in found.reason
    assert 'split = "blank lines"' in found.remedy and 'split = "one"' in found.remedy
    assert len(read([path], Layout(split="one")).batch) == 1
    assert len(read([path], Layout(split="blank lines")).batch) == 2


@pytest.mark.parametrize("tail", ["2.95;0.5;12.", "2.95;0.5;12.34", "2.95;0.5;", "2.95;0.", "2.9"])
def test_a_file_cut_while_written(tmp_path: Path, tail: str) -> None:
    r = invented()
    body = [
        f"{t:.3f};{f:.4f};{h:.4f}"
        for t, f, h in zip(r.time, r.force * 1e3, r.depth * 1e9, strict=True)
    ]
    path = save(tmp_path / "a.txt", [HEAD, *body[:-1], tail], end=False)
    found = only(read([path]))
    assert "the file was cut short" in found.reason
    assert found.line == 61 and "Delete line 61 in a copy" in found.remedy


def test_a_file_without_last_line_end_is_fine(tmp_path: Path) -> None:
    path = plain_file(tmp_path / "a.txt", invented(), end=False)
    assert read([path]).set_aside == ()


def test_lost_samples(tmp_path: Path) -> None:
    r = invented(300)
    keep = [*range(120), *range(135, 300)]
    time = r.time.copy()
    time[135:] += 60
    body = lines_of([time[keep], r.force[keep] * 1e3, r.depth[keep] * 1e9])
    path = save(tmp_path / "a.txt", [HEAD, *body])
    found = only(read([path]))
    assert "samples were lost" in found.reason and found.line == 122 and found.column == 1


@pytest.mark.parametrize(
    ("names", "said", "remedy"),
    [
        ("Time (s);Load;Depth (nm)", "“Load” (force) has no unit", 'force = {name = "Load", unit'),
        ("Time;Load (mN);Depth (nm)", "“Time” (time) has no unit", 'time = {name = "Time", unit'),
        (
            "Time (s);Load (nm);Depth (nm)",
            "“nm” is not a unit of force",
            "mN, µN, N or gf",
        ),
        ("Time (s);Load (V);Depth (nm)", "“V” is not a unit of force", "mN"),
        ("Time (s);Load (g);Depth (nm)", "“g” is not a unit of force", "gf"),
        ("Depth (nm);Load (mN);Corrected depth (nm)", "could each be the depth", "Corrected depth"),
        ("Force (mN);Load (gf);Depth (nm)", "could each be the force", 'name = "Load (gf)"'),
        ("Depth;Load (mN);Depth", "could each be the depth", "{index = 3}"),
        ("Time (s);Load (mN);z (nm)", "No column is clearly the depth", 'name = "z (nm)"'),
        ("A;B;C", "No column is clearly the force", 'force = {name = "A", unit = "mN"}'),
        ("s;mN;nm", "No column is clearly the force", "index"),
        ("", "No column is clearly the force", "force = {index = 1"),
    ],
)
def test_columns_that_must_be_asked_about(
    tmp_path: Path, names: str, said: str, remedy: str
) -> None:
    path = save(tmp_path / "a.txt", [*([names] if names else []), *rows()])
    found = only(read([path]))
    assert said in found.reason and remedy in found.remedy


def test_phase_is_asked_about(tmp_path: Path) -> None:
    r = invented()
    body = lines_of([r.time, r.force * 1e3, r.depth * 1e9, [str(i // 20) for i in range(60)]])
    path = save(tmp_path / "a.txt", [f"{HEAD};Phase", *body])
    found = only(read([path]))
    assert "can be phase or segment" in found.reason
    batch = read([path], Layout(columns={"segment": Column(name="Phase")})).batch
    assert batch.segment_labels == ("0", "1", "2")


@pytest.mark.parametrize(
    ("layout", "said", "remedy"),
    [
        ({"columns": {"depth": Column("Tiefe")}}, "no column “Tiefe”", "3 “Depth (nm)”"),
        ({"columns": {"depth": Column(index=9)}}, "no column number 9", "The columns are"),
        ({"columns": {"weight": Column("Load")}}, "is no role", "force"),
        ({"columns": {"depth": Column("Depth", unit="µm")}}, "in nm by the file", "scale = 1000"),
        ({"columns": {"depth": Column("Depth", unit="mN")}}, "declared in mN", "Leave unit out"),
        ({"columns": {"depth": Column("Load"), "force": Column("Load")}}, "declared as", "own"),
        ({"delimiter": ":"}, "is not a delimiter", "Allowed"),
        ({"delimiter": ","}, "No table of numbers", "Tried"),
        ({"decimal": "x"}, "is not a decimal", "Allowed"),
        ({"decimal": ","}, "declared as “,”", 'decimal = "."'),
        ({"split": "magic"}, "no way to split", "blank lines"),
        ({"split": "column"}, "No column names the test", "test = {name"),
    ],
)
def test_a_layout_that_does_not_fit(
    tmp_path: Path, layout: dict[str, object], said: str, remedy: str
) -> None:
    path = plain_file(tmp_path / "a.txt", invented())
    found = only(read([path], Layout(**layout)))  # type: ignore[arg-type]
    assert said in found.reason and remedy in found.remedy


def test_units_in_name_and_row_contradict(tmp_path: Path) -> None:
    path = save(tmp_path / "a.txt", ["Time;Load (mN);Depth", "s;N;nm", *rows()])
    found = only(read([path]))
    assert "says mN in its name and N in the row of units" in found.reason
    outcome = read([path], Layout(columns={"force": Column("Load (mN)", unit="mN")}))
    assert outcome.batch.force.max() == pytest.approx(10e-3, rel=1e-3)


def test_decimal_marks_that_can_mean_two_things(tmp_path: Path) -> None:
    body = [f"{1 + i},{100 + i};{2 + i},{345 + i}" for i in range(30)]
    path = save(tmp_path / "a.txt", ["Load (µN);Depth (nm)", *body])
    found = only(read([path]))
    assert "decimal fraction or a number in the thousands" in found.reason
    assert 'decimal = "."' in found.remedy and 'decimal = ","' in found.remedy
    assert read([path], Layout(decimal=",")).batch.force[0] == pytest.approx(1.1e-6)
    assert read([path], Layout(decimal=".")).batch.force[0] == pytest.approx(1100e-6)


def test_commas_between_whole_numbers(tmp_path: Path) -> None:
    body = [f"{i},{3 * i + 1},{i},{2 * i + 5}" for i in range(30)]
    path = save(tmp_path / "a.txt", body)
    assert "part the columns or be the decimal mark" in only(read([path])).reason
    named = save(tmp_path / "b.txt", ["Load (mN),Depth (nm)", *body])
    assert read([named]).set_aside != ()


def test_marks_mixed_within_a_file(tmp_path: Path) -> None:
    body = rows()
    body[30] = body[30].replace(".", ",")
    found = only(read([save(tmp_path / "a.txt", [HEAD, *body])]))
    assert "Both the point and the comma" in found.reason
    comma = [r.replace(".", ",") for r in rows()]
    comma[30] = "1,5;1.23,5;7"
    found = only(read([save(tmp_path / "b.txt", [HEAD, *comma])]))
    assert "“1.23,5”" in found.reason and found.line == 32


def test_comments_are_skipped_and_told(tmp_path: Path) -> None:
    body = rows()
    body.insert(30, "# lights switched on")
    outcome = read([save(tmp_path / "a.txt", [HEAD, *body])])
    assert len(outcome.batch) == 1 and len(outcome.batch.time) == 60
    assert any("lights" in note for note in outcome.notes)
    body[30] = "* lights"
    path = save(tmp_path / "b.txt", [HEAD, *body])
    assert only(read([path])).line == 32
    assert len(read([path], Layout(comment="*")).batch) == 1
