"""Tables and summaries as files: the same values give the same bytes."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from drypoint.notices import INVENTED, INVENTED_FILE
from drypoint.store.atomic import atomic_write

#: Last column of every table of an invented study, and key in the metadata of its Parquet files.
INVENTED_COLUMN = "invented"


def marked(table: pl.DataFrame) -> pl.DataFrame:
    """A table of invented data, with the column that says so behind all others, true in each row.

    A column and no comment line: readers of CSV take it as it is, and it survives a copy.
    """
    return table.with_columns(pl.lit(True).alias(INVENTED_COLUMN))


def csv_bytes(table: pl.DataFrame, decimal: str = ".") -> bytes:
    """A table as CSV (UTF-8, ``\\n``), each number in the shortest form that reads back exactly.

    With ``decimal = ","`` the fields are separated by semicolons. NaN and missing are empty.
    """
    columns = [_csv_column(table[name], decimal) for name in table.columns]
    text = pl.DataFrame(columns).write_csv(
        separator=";" if decimal == "," else ",", line_terminator="\n", null_value=""
    )
    return text.encode("utf-8")


def _csv_column(series: pl.Series, decimal: str) -> pl.Series:
    kind = series.dtype
    if kind in (pl.Float64, pl.Float32):
        words = [_number(v, decimal) for v in series.to_list()]
        return pl.Series(series.name, words, dtype=pl.String)
    if isinstance(kind, (pl.List, pl.Array)):
        words = [None if v is None else "; ".join(map(str, v)) for v in series.to_list()]
        return pl.Series(series.name, words, dtype=pl.String)
    if kind == pl.Boolean:
        words = [None if v is None else str(v).lower() for v in series.to_list()]
        return pl.Series(series.name, words, dtype=pl.String)
    return series


def _number(value: float | None, decimal: str) -> str | None:
    if value is None or math.isnan(value):
        return None
    text = repr(value)
    return text if decimal == "." else text.replace(".", decimal)


def parquet_bytes(table: pl.DataFrame, *, invented: bool = False) -> bytes:
    """A table as Parquet; the bytes depend on the table alone.

    ``invented`` puts the notice into the file's key-value metadata.
    """
    buffer = io.BytesIO()
    table.rechunk().write_parquet(
        buffer, compression="zstd", compression_level=3, statistics=True, row_group_size=1 << 20,
        metadata={INVENTED_COLUMN: INVENTED_FILE} if invented else None,
    )  # fmt: skip
    return buffer.getvalue()


def xlsx_bytes(table: pl.DataFrame, sheet: str, *, invented: bool = False) -> bytes:
    """A table as a workbook (xlsx) with one sheet; the bytes depend on the table alone.

    ``invented`` puts the notice into the document's properties, a note on the first cell, and the
    head of printed pages.
    """
    import datetime

    import xlsxwriter

    buffer = io.BytesIO()
    book = xlsxwriter.Workbook(
        buffer, {"in_memory": True, "nan_inf_to_errors": True, "strings_to_formulas": False}
    )
    words = {"title": INVENTED, "comments": INVENTED_FILE} if invented else {}
    book.set_properties({"created": datetime.datetime(2000, 1, 1), **words})
    page = book.add_worksheet(sheet[:31])
    if invented:
        page.write_comment(0, 0, INVENTED_FILE)
        page.set_header(f"&C{INVENTED}")
    head = book.add_format({"bold": True})
    page.freeze_panes(1, 0)
    for c, name in enumerate(table.columns):
        page.write_string(0, c, name, head)
        for r, value in enumerate(table[name].to_list(), start=1):
            if value is None or (isinstance(value, float) and not math.isfinite(value)):
                continue
            if isinstance(value, bool):
                page.write_boolean(r, c, value)
            elif isinstance(value, (int, float)):
                page.write_number(r, c, value)
            else:
                text = "; ".join(map(str, value)) if isinstance(value, list) else str(value)
                page.write_string(r, c, text)
    book.close()
    return buffer.getvalue()


def write_table(
    table: pl.DataFrame,
    stem: Path,
    *,
    csv: bool = True,
    parquet: bool = True,
    xlsx: bool = False,
    csv_decimal: str = ".",
    invented: bool = False,
    excel: bool = False,
) -> list[Path]:
    """Write a table as ``stem.csv``, ``stem.parquet`` and, on request, ``stem.xlsx``.

    With ``invented`` each says that its data are: see :func:`marked`, :func:`parquet_bytes` and
    :func:`xlsx_bytes`. ``excel`` is the former name of ``xlsx``.

    Returns
    -------
    list of Path
        The files written.
    """
    stem = Path(stem)
    table = marked(table) if invented else table
    files: dict[Path, bytes] = {}
    if csv:
        files[stem.with_name(stem.name + ".csv")] = csv_bytes(table, csv_decimal)
    if parquet:
        files[stem.with_name(stem.name + ".parquet")] = parquet_bytes(table, invented=invented)
    if xlsx or excel:
        files[stem.with_name(stem.name + ".xlsx")] = xlsx_bytes(table, stem.name, invented=invented)
    for path, data in files.items():
        atomic_write(path, data)
    return list(files)


def plain(value: Any) -> Any:
    """A value as JSON holds it: numbers that are not finite become null."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(v) for v in value]
    if isinstance(value, np.ndarray):
        return plain(value.tolist())
    if isinstance(value, np.generic):
        return plain(value.item())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def json_bytes(value: Any) -> bytes:
    """A value as JSON with sorted keys; the bytes depend on the value alone."""
    text = json.dumps(plain(value), sort_keys=True, ensure_ascii=False, indent=2, allow_nan=False)
    return (text + "\n").encode("utf-8")


def write_json(value: Any, path: Path) -> Path:
    """Write a value as JSON (sorted keys, NaN as null), and return the path."""
    atomic_write(Path(path), json_bytes(value))
    return Path(path)
