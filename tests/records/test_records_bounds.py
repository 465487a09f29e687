"""Text without bounds: wide tables, long headers, many tests. Plain words within a few seconds."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from invented_records import invented, lines_of

from drypoint.records import Layout, read

NUMBERS = "\n".join(lines_of([invented().time, invented().force * 1e3, invented().depth * 1e9]))
NAMES = "Time (s);Load (mN);Depth (nm)\n"


@pytest.mark.parametrize("line", ["Operator: X\n", "Time (s);Load (mN)\n", "a;b;c\n", "# note\n"])
def test_a_million_header_lines(line: str, tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text(line * 1_000_000 + NAMES + NUMBERS, encoding="utf-8")
    start = time.process_time()
    (one,) = read([path]).set_aside
    assert time.process_time() - start < 30.0  # a guard against a hang, not a measure
    assert "Invalid header: got 50,000 lines without a table of numbers" in one.reason
    assert one.line == 50_000 and "first_data_line" in one.remedy


def test_a_header_of_forty_thousand_lines_is_read(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("Operator: X\n" * 40_000 + NAMES + NUMBERS, encoding="utf-8")
    assert len(read([path]).batch) == 1
    path.write_text("Operator: X\n" * 60_000 + NAMES + NUMBERS, encoding="utf-8")
    assert len(read([path], Layout(first_data_line=60_002)).batch) == 1


@pytest.mark.parametrize("lines", [1, 4])
@pytest.mark.parametrize("columns", [20_000, 1_000_000])
def test_a_wide_table(columns: int, lines: int, tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    head = ";".join(f"c{k}" for k in range(columns))
    path.write_text("\n".join([head, *[";".join(["1.5"] * columns)] * lines]), encoding="utf-8")
    start = time.process_time()
    (one,) = read([path]).set_aside
    assert time.process_time() - start < 30.0  # a guard against a hang, not a measure
    assert len(one.reason) + len(one.remedy) < 5000
    assert f"got {columns:,} columns" in one.reason and "expected at most 5,000" in one.reason


def test_a_link_to_itself(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.symlink_to(path)
    (one,) = read([path], root=tmp_path).set_aside
    assert one.file == "a.csv" and one.remedy
