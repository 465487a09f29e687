"""Tables and summaries as files: the same values give the same bytes."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from drypoint.notices import INVENTED, INVENTED_FILE
from drypoint.records.cells import CsvText, cell_text, safe_cell
from drypoint.store.atomic import atomic_write

#: Last column of every table of an invented study, and key in the metadata of its Parquet files.
INVENTED_COLUMN = "invented"


def marked(table: pl.DataFrame) -> pl.DataFrame:
    """A table of invented data, with the column that says so behind all others, true in each row.

    A column and no comment line: readers of CSV take it as it is, and it survives a copy.
    """
    return table.with_columns(pl.lit(True).alias(INVENTED_COLUMN))


def csv_bytes(table: pl.DataFrame, decimal: str = ".", text: CsvText = "safe") -> bytes:
    """A table as CSV (UTF-8, ``\\n``), each number in the shortest form that reads back exactly.

    With ``decimal = ","`` the fields are separated by semicolons. NaN and missing are empty. Text
    that a spreadsheet program would take for a formula gets an apostrophe in front, unless ``text``
    is ``"verbatim"``; :func:`read_csv` takes it away again.
    """
    cell = safe_cell if text == "safe" else str
    columns = [_csv_column(table[name], decimal, cell) for name in table.columns]
    written = pl.DataFrame(columns).write_csv(
        separator=";" if decimal == "," else ",", line_terminator="\n", null_value=""
    )
    return written.encode("utf-8")


def read_csv(
    source: Path | bytes, types: Mapping[str, type[pl.DataType]] | None = None
) -> pl.DataFrame:
    """A table that :func:`csv_bytes` wrote, its text cells as they were.

    Parameters
    ----------
    source : Path or bytes
    types : mapping, optional
        Types of columns that are not to be found out, such as labels that look like numbers.
    """
    data = source if isinstance(source, bytes) else source.read_bytes()
    head = data[:4096].partition(b"\n")[0]
    comma = head.count(b";") > head.count(b",")
    table = pl.read_csv(
        io.BytesIO(data), separator=";" if comma else ",", decimal_comma=comma,
        infer_schema_length=None, comment_prefix="#", schema_overrides=types or None,
    )  # fmt: skip
    texts = [
        pl.Series(cell_text(s.name), [None if v is None else cell_text(v) for v in s.to_list()])
        if s.dtype == pl.String
        else s.alias(cell_text(s.name))
        for s in table.get_columns()
    ]
    return pl.DataFrame(texts)


def _csv_column(series: pl.Series, decimal: str, cell: Callable[[str], str]) -> pl.Series:
    kind, name = series.dtype, cell(series.name)
    if kind in (pl.Float64, pl.Float32):
        words = [_number(v, decimal) for v in series.to_list()]
    elif isinstance(kind, (pl.List, pl.Array)):
        numbers = kind.inner.is_numeric() if kind.inner is not None else False
        joined = [None if v is None else "; ".join(map(str, v)) for v in series.to_list()]
        words = joined if numbers else [None if v is None else cell(v) for v in joined]
    elif kind == pl.Boolean:
        words = [None if v is None else str(v).lower() for v in series.to_list()]
    elif kind.is_numeric() or kind.is_temporal():
        return series.alias(name)
    else:
        words = [None if v is None else cell(str(v)) for v in series.to_list()]
    return pl.Series(name, words, dtype=pl.String)


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
    csv_text: CsvText = "safe",
    invented: bool = False,
    excel: bool = False,
) -> list[Path]:
    """Write a table as ``stem.csv``, ``stem.parquet`` and, on request, ``stem.xlsx``.

    With ``invented`` each says that its data are: see :func:`marked`, :func:`parquet_bytes` and
    :func:`xlsx_bytes`. ``csv_text="verbatim"`` leaves text cells of the CSV that begin like a
    formula as they are. ``excel`` is the former name of ``xlsx``.

    Returns
    -------
    list of Path
        The files written.
    """
    stem = Path(stem)
    table = marked(table) if invented else table
    files: dict[Path, bytes] = {}
    if csv:
        files[stem.with_name(stem.name + ".csv")] = csv_bytes(table, csv_decimal, csv_text)
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
