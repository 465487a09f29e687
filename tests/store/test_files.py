"""Single files: whole or not at all, and the same bytes for the same values."""

from __future__ import annotations

import json
import math
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.errors import StoreError
from drypoint.store import atomic_write, write_json, write_table
from drypoint.store.atomic import is_running, new_tag
from drypoint.store.tables import csv_bytes, json_bytes, parquet_bytes, xlsx_bytes


def table() -> pl.DataFrame:
    """A table with what results hold."""
    return pl.DataFrame(
        {
            "test": ["a", "b, c", 'd "e"'],
            "n": [1, 2, None],
            "H_IT_GPa": [9.1, float("nan"), 0.1 + 0.2],
            "excluded": [True, False, None],
            "flags": [["one", "two"], [], None],
        }
    )


def test_atomic_write(tmp_path: Path) -> None:
    """New, replaced, and nothing left beside it."""
    path = tmp_path / "a.txt"
    atomic_write(path, b"one")
    atomic_write(path, b"two")
    assert path.read_bytes() == b"two"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]


def test_leftovers_of_dead_processes_go(tmp_path: Path) -> None:
    """Those of processes that run stay; those of other files stay too."""
    tag = new_tag()
    machine, _, end = tag.split("-")
    gone = subprocess.Popen([sys.executable, "-c", ""])
    gone.wait()
    dead = tmp_path / f".a.txt.{machine}-{gone.pid}-{end}.tmp"
    alive, other = tmp_path / f".a.txt.{tag}.tmp", tmp_path / dead.name.replace("a.txt", "b.txt")
    for path in (dead, alive, other):
        path.write_bytes(b"half")
    atomic_write(tmp_path / "a.txt", b"x")
    assert not dead.exists()
    assert alive.exists()
    assert other.exists()
    assert is_running(os.getpid())


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """A clear error, and no trace."""
    with pytest.raises(StoreError, match="cannot be written"):
        atomic_write(tmp_path / "none" / "a.txt", b"x")
    assert list(tmp_path.iterdir()) == []


def test_csv() -> None:
    """Exact numbers, empty for NaN and missing, quotes where needed; a decimal comma on request."""
    text = csv_bytes(table()).decode()
    assert text.splitlines() == [
        "test,n,H_IT_GPa,excluded,flags",
        "a,1,9.1,true,one; two",
        '"b, c",2,,false,""',
        '"d ""e""",,0.30000000000000004,,',
    ]
    comma = csv_bytes(table(), ",").decode().splitlines()
    assert comma[1] == 'a;1;9,1;true;"one; two"'


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1))
def test_csv_reads_back_exactly(numbers: list[float]) -> None:
    """Every number, to the last bit."""
    data = csv_bytes(pl.DataFrame({"x": numbers}, schema={"x": pl.Float64}))
    back = [float(line) for line in data.decode().splitlines()[1:]]
    assert back == numbers
    assert [math.copysign(1, v) for v in back] == [math.copysign(1, v) for v in numbers]


def test_the_same_bytes_again(tmp_path: Path) -> None:
    """CSV, Parquet, xlsx, also from another process and from a table in several pieces."""
    pieces = pl.concat([table()[:1], table()[1:]], rechunk=False)
    assert parquet_bytes(table()) == parquet_bytes(pieces)
    assert csv_bytes(table()) == csv_bytes(pieces)
    assert xlsx_bytes(table(), "tests") == xlsx_bytes(pieces, "tests")
    written = write_table(table(), tmp_path / "tests.v1", xlsx=True)
    assert [p.name for p in written] == ["tests.v1.csv", "tests.v1.parquet", "tests.v1.xlsx"]
    code = (
        "import sys, polars as pl; from pathlib import Path;"
        "from drypoint.store import write_table;"
        "write_table(pl.read_parquet(sys.argv[1]), Path(sys.argv[2]), excel=True)"
    )
    again = tmp_path / "again" / "tests.v1"
    again.parent.mkdir()
    subprocess.run([sys.executable, "-c", code, str(written[1]), str(again)], check=True)
    for path in written:
        assert path.read_bytes() == (again.parent / path.name).read_bytes(), path.name
    assert pl.read_parquet(written[1]).equals(table(), null_equal=True)


def test_json(tmp_path: Path) -> None:
    """Sorted, NaN as null, arrays as lists."""
    value: dict[str, Any] = {"b": np.array([1.0, np.nan]), "a": {"x": np.float64("inf"), 1: "ä"}}
    path = write_json(value, tmp_path / "s.json")
    assert json.loads(path.read_text(encoding="utf-8")) == {
        "a": {"x": None, "1": "ä"}, "b": [1.0, None],
    }  # fmt: skip
    assert path.read_bytes() == json_bytes(dict(reversed(value.items())))
    with pytest.raises(TypeError):
        json_bytes({"a": object()})
