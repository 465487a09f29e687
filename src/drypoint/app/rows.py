"""Rows of the results for a page: filtered, sorted, a part at a time, with values as people read
them (uncertainty to two figures, value to match)."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Literal

import polars as pl
from pydantic import Field

from drypoint.app.api import Form
from drypoint.recipe import Effective
from drypoint.run.columns import COLUMNS, column, unit_text
from drypoint.uncertainty.rounding import round_pair

#: Properties that the table shows at first.
FIRST = ("F_max", "h_c", "H_IT", "E_IT")
#: Most tests whose row numbers are sent along for the chart beside the table.
MOST_MATCHES = 5000
DASH = "\u2013"


class Choice(Form):
    """Which rows, in which order, and which part of them."""

    q: str = Field("", max_length=200)
    specimen: str = ""
    flag: str = ""
    state: Literal["", "counted", "excluded"] = ""
    by: str = ""
    low: float | None = None
    high: float | None = None
    sort: str = ""
    down: bool = False
    start: int = Field(0, ge=0)
    size: int = Field(100, ge=1, le=1000)
    columns: str = ""


def with_state(table: pl.DataFrame, state: Effective) -> pl.DataFrame:
    """The table with a row number, and with exclusions as the decisions say them now."""
    why = {t: e.why for (t, c), e in state.excluded.items() if c is None}
    found = pl.col("test").replace_strict(why, default=None, return_dtype=pl.String)
    return table.with_row_index("row").with_columns(found.alias("why")).with_columns(
        pl.col("why").is_not_null().alias("out")
    )  # fmt: skip


def lean(table: pl.DataFrame, choice: Choice) -> pl.DataFrame:
    """Only the columns that a choice needs, so that many rows are sorted quickly."""
    needed = {*shown(choice), *(s for s in (choice.sort, choice.by) if s in COLUMNS)}
    names = {column(s, prefix) for s in needed for prefix in ("", "u_")}
    plain = {"test", "specimen", "flags", "source", "row", "out", "why"}
    return table.select([c for c in table.columns if c in names | plain])


def flag_counts(table: pl.DataFrame) -> list[tuple[str, int]]:
    """Each flag that occurs, and how often."""
    found = table["flags"].str.split("; ").explode()
    counts = found.filter(found != "").value_counts(name="n")
    return sorted(counts.iter_rows())


def chosen(table: pl.DataFrame, choice: Choice) -> pl.DataFrame:
    """The rows of a choice, sorted; unknown columns change nothing."""
    keep = pl.lit(True)
    if choice.q:
        words = choice.q.lower()
        inside = [pl.col(c).str.to_lowercase().str.contains(words, literal=True)
                  for c in ("test", "specimen", "source")]  # fmt: skip
        keep &= pl.any_horizontal(inside).fill_null(False)
    if choice.specimen:
        keep &= pl.col("specimen") == choice.specimen
    if choice.flag == "any":
        keep &= pl.col("flags") != ""
    elif choice.flag == "none":
        keep &= pl.col("flags") == ""
    elif choice.flag:
        keep &= pl.col("flags").str.split("; ").list.contains(choice.flag)
    if choice.state:
        keep &= pl.col("out") if choice.state == "excluded" else ~pl.col("out")
    if choice.by in COLUMNS:
        values = pl.col(column(choice.by))
        if choice.low is not None:
            keep &= values >= choice.low
        if choice.high is not None:
            keep &= values <= choice.high
    found = table.filter(keep)
    name = _sort_column(choice.sort)
    if name:
        found = found.sort(
            name, descending=choice.down, nulls_last=True, maintain_order=True
        )  # fmt: skip
    return found


def _sort_column(name: str) -> str:
    if name in COLUMNS:
        return column(name)
    return name if name in ("test", "specimen", "flags", "out") else ""


def shown(choice: Choice) -> tuple[str, ...]:
    """The properties that a choice shows."""
    return tuple(c for c in choice.columns.split(",") if c in COLUMNS) or FIRST


def cell(row: Mapping[str, Any], symbol: str) -> list[str]:
    """Value and standard uncertainty of a property as text."""
    value, u = row[column(symbol)], row[column(symbol, "u_")]
    if value is None:
        return [DASH, ""]
    out = round_pair(value, float("nan") if u is None else u)
    return [out[0].replace("-", "\u2212"), "" if out[1] in ("0", "n/a") else out[1]]


def rows_of(part: pl.DataFrame, symbols: Iterable[str]) -> list[dict[str, Any]]:
    """Rows as plain values."""
    return [
        {
            "row": r["row"],
            "test": r["test"],
            "specimen": r["specimen"],
            "out": r["out"],
            "why": r["why"],
            "flags": [f for f in r["flags"].split("; ") if f],
            "cells": {s: cell(r, s) for s in symbols},
        }
        for r in part.iter_rows(named=True)
    ]


def heads(symbols: Iterable[str]) -> list[dict[str, str]]:
    """Symbol, unit and meaning of properties."""
    from drypoint.run.columns import MEANING

    return [{"symbol": s, "unit": unit_text(s), "meaning": MEANING[s]} for s in symbols]
