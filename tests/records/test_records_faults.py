"""Every fault of a file is told, lines with the same fault together. All files are invented."""

from __future__ import annotations

import pickle
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from invented_records import invented, lines_of, plain_file, save

from drypoint.errors import DrypointError, NoResultError, RecordError
from drypoint.records import SetAside, read, starting_recipe_records, understand
from drypoint.records.find import DEVICES, reserved
from drypoint.records.grouped import by_reason, no_result
from drypoint.records.grouped import lines_of as lines_for_people
from drypoint.records.raw import Limits, opened

HEAD = "Time (s);Load (mN);Depth (nm)"


def rows() -> list[str]:
    r = invented()
    return lines_of([r.time, r.force * 1e3, r.depth * 1e9])


def only(path: Path) -> SetAside:
    (found,) = read(path).set_aside
    shown = [f for f in understand(path).faults]
    assert [(f.line, f.column, f.reason) for f in shown] == [
        (found.line, found.column, found.reason)
    ]
    return found


def test_two_faults_of_a_file_are_both_told(tmp_path: Path) -> None:
    body = rows()
    body[10] = "x;y;z"
    body[40] = "2.0;oops;12"
    found = only(save(tmp_path / "a.txt", [HEAD, *body]))
    assert (found.line, found.column) == (12, 1) and "holds “x”" in found.reason
    assert "Also line 42, column 5: Column 2 (“Load (mN)”) holds “oops”" in found.reason


def test_lines_with_the_same_fault_are_told_together(tmp_path: Path) -> None:
    body = rows()
    for i in (5, 9, 20, 30, 31, 40, 50, 55):
        body[i] = body[i].rpartition(";")[0]
    found = only(save(tmp_path / "a.txt", [HEAD, *body]))
    assert found.line == 7 and "2 fields where the others have 3" in found.reason
    assert "The same in lines 11, 22, 32, 33, 42 and 2 more, the last is line 57." in found.reason
    assert found.reason.count("fields where") == 1


def test_a_run_of_faults_and_many_kinds(tmp_path: Path) -> None:
    body = rows()
    for i in range(20, 40):
        body[i] = body[i].rpartition(";")[0] + ";NaN"
    found = only(save(tmp_path / "a.txt", [HEAD, *body]))
    assert "holds NaN, which is not a measured value. The same in every line up to line 41." in (
        found.reason
    )
    assert (found.line, found.column) == (22, len(body[20]) - 2)
    body = [f"{b.rpartition(';')[0]};w{i}" if i % 5 == 0 else b for i, b in enumerate(rows())]
    found = only(save(tmp_path / "b.txt", [HEAD, *body]))
    assert "8 more lines have other faults, the last is line 57." in found.reason


@pytest.mark.parametrize("every", [2, 3])
def test_a_ragged_file_keeps_its_columns(tmp_path: Path, every: int) -> None:
    """With every other row cut, the shorter rows were taken for the table and the names lost."""
    body = [b if i % every else b.rpartition(";")[0] for i, b in enumerate(rows())]
    found = only(save(tmp_path / "a.txt", [HEAD, *body]))
    assert "The row has 2 fields where the others have 3" in found.reason
    assert found.line == 2 and "and" in found.reason


def test_rows_in_reversed_order(tmp_path: Path) -> None:
    found = only(save(tmp_path / "a.txt", [HEAD, *rows()[::-1]]))
    assert "The time falls in every row, from 2.95 s in line 2 to 0 s in line 61" in found.reason
    assert "reversed order" in found.reason and "Sort the rows" in found.remedy
    assert (found.line, found.column) == (3, 1)


def test_a_time_that_runs_backwards_twice(tmp_path: Path) -> None:
    body = rows()
    for k in (10, 40):
        body[k], body[k + 1] = body[k + 1], body[k]
    found = only(save(tmp_path / "a.txt", [HEAD, *body]))
    assert "runs backwards, from 0.55 s to 0.5 s. It does so again in line 43." in found.reason
    assert (found.line, found.column) == (13, 1)


def test_a_bad_number_and_a_bad_clock(tmp_path: Path) -> None:
    body = rows()
    body[5] = "0.25;?;1"
    body[40], body[41] = body[41], body[40]
    found = only(save(tmp_path / "a.txt", [HEAD, *body]))
    assert found.line == 7 and "holds “?”" in found.reason
    assert "Also line 43, column 1: The time runs backwards" in found.reason


def test_no_unloading_is_seen_before_a_run(tmp_path: Path) -> None:
    """With the line of the largest force; the record was called clear."""
    r = invented(200)
    top = int(np.argmax(r.force))
    path = save(
        tmp_path / "a.txt", [HEAD, *lines_of([r.time, r.force * 1e3, r.depth * 1e9])[: top + 5]]
    )
    seen = understand(path)
    (fault,) = seen.faults
    assert "There is no unloading" in fault.reason and fault.stage == "checking"
    assert fault.line == top + 2 and f"in row {top + 1} of {top + 5}" in fault.reason
    frame = pl.DataFrame({"time (s)": r.time, "force (N)": r.force, "depth (m)": r.depth})
    frame.head(top + 5).write_parquet(tmp_path / "a.parquet")
    (fault,) = understand(tmp_path / "a.parquet").faults
    assert "There is no unloading" in fault.reason


def test_holes_of_a_typed_table_are_counted(tmp_path: Path) -> None:
    r = invented()
    force, depth = r.force.copy(), r.depth.copy()
    force[20:25], depth[40] = np.nan, np.nan
    frame = pl.DataFrame({"time (s)": r.time, "force (N)": force, "depth (m)": depth})
    frame.write_parquet(tmp_path / "a.parquet")
    found = only(tmp_path / "a.parquet")
    assert (found.line, found.column) == (21, 2) and "no number in 5 rows" in found.reason
    assert "Also line 41, column 3: Column 3 (“depth (m)”) has no number here." in found.reason


# ------------------------------------------------------------------------- several files


def aside(k: int, reason: str) -> SetAside:
    return SetAside(f"f{k}.txt", f"f{k}", reason, "Repair it.", k + 2, 3)


def test_reasons_are_put_together_and_none_is_lost() -> None:
    items = [aside(k, "Empty." if k % 2 else f"Reason {k % 4}.") for k in range(40)]
    groups = by_reason(items)
    assert [len(g) for g in groups] == [10, 20, 10]
    assert sorted(s.file for g in groups for s in g) == sorted(s.file for s in items)
    text = "\n".join(lines_for_people(items))
    assert all(f"  f{k}.txt, line {k + 2}, column 3 (test f{k})" in text for k in range(40))
    assert text.count("Empty.") == 1 and "20 times: Empty." in text


def test_nothing_reduced_names_every_reason() -> None:
    items = [aside(0, "Holds nan."), aside(1, "Ragged."), aside(2, "Ragged.")]
    error = no_result(items)
    assert isinstance(error, RecordError)
    for words in ("Holds nan.", "Ragged.", "f0.txt, line 2", "f1.txt, line 3", "f2.txt, line 4"):
        assert words in str(error)
    assert len(error.problems) == 2 and "f2.txt, line 4" in error.problems[1][1]
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is NoResultError and again.problems == error.problems
    assert str(no_result([])).startswith("No test gave a result.")
    assert "f0.txt, line 2, column 3" in str(no_result(items[:1]))


def test_a_lost_file_is_named_with_all_its_faults(tmp_path: Path) -> None:
    path = tmp_path / "a.bin"
    path.write_bytes(b"\x00\x01")
    seen = understand(path)
    assert all(f.reason.rstrip(".") in starting_recipe_records([seen]) for f in seen.faults)


# ------------------------------------------------------------------------- reserved names


@pytest.mark.parametrize(
    "name", ["nul.txt", "NUL", "Aux.tar.gz", "com1.csv", "lpt9.txt", "con .txt"]
)
def test_reserved_names(name: str) -> None:
    """Names that Windows reserves for devices: CON, PRN, AUX, NUL, COM0-9, LPT0-9."""
    assert reserved(name) and len(DEVICES) == 24


@pytest.mark.parametrize("name", ["null.txt", "a.nul", "com.txt", "com10.txt", "console.txt"])
def test_names_that_are_free(name: str) -> None:
    assert not reserved(name)


def test_a_file_of_a_reserved_name_is_read_and_the_name_is_said(tmp_path: Path) -> None:
    path = plain_file(tmp_path / "nul.txt", invented())
    outcome = read(path)
    assert len(outcome.batch) == 1
    assert any("reserved name" in n and "NUL" in n for n in outcome.notes)
    assert any("reserved name" in n for n in understand(path).notes)
    assert not any("reserved" in n for n in read(plain_file(tmp_path / "a.txt", invented())).notes)


def test_a_device_under_that_name(tmp_path: Path) -> None:
    """What opening ``nul.txt`` gives where the name is a device, and what an error adds."""
    path = tmp_path / "nul.txt"
    path.symlink_to("/dev/null")
    with pytest.raises(DrypointError), opened(path, "nul.txt", Limits()):
        pass
