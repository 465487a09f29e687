"""Text cells that a spreadsheet program would take for a formula, and back.

The dangerous beginnings are those of OWASP's page on CSV injection (common practice).
"""

from __future__ import annotations

import csv
import io
import re
import zipfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

import drypoint
from drypoint.records.cells import cell_text, safe_cell
from drypoint.store import read_csv, write_table
from drypoint.store.tables import csv_bytes

ATTACKS = ["=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "=cmd|' /C calc'!A0", "'=1",
           "''@x", '=HYPERLINK("http://x","y")', '=1;"2",3\n4', "\uff1d1+1", "-", "+",
           "-1.5e"]  # fmt: skip
PLAIN = ["glass", "", "'quoted'", "-1.5", "+2", "-1e-5", "1=1", "a@b", "'", "O'Hara", "-1,5"]
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


@pytest.mark.parametrize("decimal", [".", ","])
def test_no_cell_begins_like_a_formula_and_all_come_back(decimal: str) -> None:
    texts = ATTACKS + PLAIN
    table = pl.DataFrame(
        {"test": texts, "=head": texts, "x": [-1.5] * len(texts), "n": [-3] * len(texts)}
    )
    data = csv_bytes(table, decimal)
    rows = list(csv.reader(io.StringIO(data.decode(), newline=""),
                           delimiter=";" if decimal == "," else ","))  # fmt: skip
    for cell in [*rows[0], *(c for row in rows[1:] for c in row[:2])]:
        assert not cell.startswith(_STARTS) or cell.replace(",", ".") in ("-1.5", "+2", "-1e-5")
    assert {row[2] for row in rows[1:]} == {f"-1{decimal}5"} and {r[3] for r in rows[1:]} == {"-3"}
    back = read_csv(data, {"test": pl.String})
    assert back["test"].to_list() == texts and back.columns == table.columns
    assert back["x"].to_list() == table["x"].to_list()


_LETTERS = st.one_of(st.sampled_from("'=+-@\t\r\n1.,e;"), st.characters(codec="utf-8"))


@given(st.text(alphabet=_LETTERS))
def test_every_text_comes_back(text: str) -> None:
    assert cell_text(safe_cell(text)) == text


def test_verbatim_lists_and_types() -> None:
    table = pl.DataFrame({"t": ["=1"], "words": [["=1", "b"]], "numbers": [[-1.5, 2.0]]})
    assert csv_bytes(table, text="verbatim") == b"t,words,numbers\n=1,=1; b,-1.5; 2.0\n"
    assert csv_bytes(table) == b"t,words,numbers\n'=1,'=1; b,-1.5; 2.0\n"
    kinds = table.select(pl.col("t").cast(pl.Categorical))
    assert csv_bytes(kinds) == b"t\n'=1\n"


def test_workbooks_hold_text_not_formulas(tmp_path: Path) -> None:
    write_table(pl.DataFrame({"=t": ATTACKS}), tmp_path / "t", xlsx=True)
    with zipfile.ZipFile(tmp_path / "t.xlsx") as book:
        sheet = book.read("xl/worksheets/sheet1.xml").decode()
        shared = book.read("xl/sharedStrings.xml").decode()
    assert "<f>" not in sheet and "<f " not in sheet
    assert "=1+1" in shared and "'=1+1" not in shared
    assert pl.read_parquet(tmp_path / "t.parquet")["=t"].to_list() == ATTACKS


def test_every_table_is_written_by_the_one_writer() -> None:
    """Nothing else in the program writes CSV; the demo's table of truths marks its cells itself."""
    package = Path(drypoint.__file__).parent
    words = re.compile(r"write_csv\(|csv\.writer|to_csv|DictWriter")
    found = {p.name for p in package.rglob("*.py") if words.search(p.read_text(encoding="utf-8"))}
    assert found == {"tables.py", "demo.py"}
    assert "safe_cell" in (package / "simulation" / "demo.py").read_text(encoding="utf-8")
