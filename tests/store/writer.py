"""Writes result sets, for the tests that kill it."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from drypoint.store import Origin, new_results, write_json, write_table

FILES = ("tests.csv", "tests.parquet", "cycles.csv", "cycles.parquet", "sub/summary.json")


def write(folder: Path, n: int) -> None:
    """Result set number ``n``; each of its files says so."""
    table = pl.DataFrame({"n": [n] * 500, "x": [float(i) for i in range(500)]})
    origin = Origin({"raw/a.txt": "0" * 64}, f"recipe {n}", "", "0", n)
    with new_results(folder, origin) as made:
        write_table(table, made / "tests")
        write_table(table, made / "cycles")
        (made / "sub").mkdir()
        write_json({"n": n}, made / "sub" / "summary.json")


def write_for_ever(folder: Path, first: int) -> None:
    """Result sets ``first``, ``first + 1``, ... until somebody ends this."""
    while True:
        write(folder, first)
        first += 1
