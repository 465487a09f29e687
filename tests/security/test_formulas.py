"""Names from raw files that a spreadsheet program would take for formulas: every table that any
command writes is looked at. Invented data."""

from __future__ import annotations

import csv
import zipfile
from pathlib import Path

import polars as pl
import pytest
from attacked import drypoint

ATTACK = "=HYPERLINK(A1)"
_STARTS = ("=", "+", "-", "@", "\t", "\r")


@pytest.fixture
def attacked(study: Path) -> Path:
    """A study whose specimen, tests, operator and stress run are named like formulas."""
    raw = study.parent / "raw"
    for k, path in enumerate(sorted(raw.glob("*.txt"))):
        path.rename(raw / f"{'=+-@'[k]}1+cmd G-0{k + 1}.txt")
    (study.parent / "places.csv").write_text(
        f"test,specimen,site\n'=1+cmd G-01,{ATTACK},@SUM\n", encoding="utf-8"
    )
    text = study.read_text(encoding="utf-8").replace('"glass"', f'"{ATTACK}"')
    text = text.replace("[specimens.glass]", f'[specimens."{ATTACK}"]')
    text += '\n[tests_table]\nfile = "places.csv"\n'
    study.write_text(text + "\n[output]\nxlsx = true\n", encoding="utf-8")
    return study


def cells(folder: Path) -> list[tuple[str, str]]:
    """Every cell of every CSV below a folder that begins like a formula and is not a number."""
    found = []
    for path in sorted(folder.rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.reader(file):
                for cell in row:
                    try:
                        float(cell)
                    except ValueError:
                        if cell.startswith(_STARTS):
                            found.append((path.name, cell))
    return found


def test_no_table_of_a_run_holds_a_formula(attacked: Path, tmp_path: Path) -> None:
    said = drypoint("run", attacked, "--quiet")
    assert said.code == 0, said.text
    results = attacked.parent / "results"
    assert len(list(results.glob("*.csv"))) >= 2
    assert cells(results) == []
    kept = pl.read_parquet(results / "tests.parquet")
    assert ATTACK in kept["specimen"].to_list()
    assert "=1+cmd G-01" in kept["test"].to_list()
    back = (results / "tests.csv").read_text(encoding="utf-8")
    assert "'=1+cmd G-01" in back and f"'{ATTACK}" in back
    for book in results.glob("*.xlsx"):
        with zipfile.ZipFile(book) as parts:
            for name in parts.namelist():
                if name.startswith("xl/worksheets/sheet"):
                    sheet = parts.read(name).decode()
                    assert "<f>" not in sheet and "<f " not in sheet
    moved = tmp_path / "moved.csv"
    said = drypoint("rerun", attacked, "--with", "analysis.beta=1.07", "--out", moved)
    assert said.code == 0, said.text
    assert f"'{ATTACK}" in moved.read_text(encoding="utf-8") and cells(tmp_path / "moved.csv") == []
    said = drypoint("sign", attacked, "--who", "A. Example (invented)", "--no-ledger")
    assert said.code == 0, said.text
    assert drypoint("check", attacked, "--recompute").code == 0


def test_the_option_leaves_them_as_they_are(attacked: Path, tmp_path: Path) -> None:
    moved = tmp_path / "moved.csv"
    said = drypoint(
        "rerun", attacked, "--with", "analysis.beta=1.07", "--out", moved, "--csv-text", "verbatim"
    )
    assert said.code == 0, said.text
    text = moved.read_text(encoding="utf-8")
    assert ATTACK in text and f"'{ATTACK}" not in text
    written = attacked.read_text(encoding="utf-8")
    attacked.write_text(written.replace("xlsx = true", 'csv_text = "verbatim"'), encoding="utf-8")
    assert drypoint("run", attacked, "--quiet").code == 0
    text = (attacked.parent / "results" / "tests.csv").read_text(encoding="utf-8")
    assert ATTACK in text and f"'{ATTACK}" not in text
