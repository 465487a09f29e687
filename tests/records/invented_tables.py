"""Workbooks, Parquet, HDF5 and zip files invented for these tests. No instrument wrote them."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import polars as pl
import xlsxwriter
from invented_records import Invented

NAMES = ("Time (s)", "Load (mN)", "Depth (nm)")


def numbers(record: Invented) -> list[Any]:
    """Time in s, force in mN, depth in nm."""
    return [record.time, record.force * 1e3, record.depth * 1e9]


def sheet_rows(
    record: Invented, names: Sequence[str] = NAMES, head: Sequence[Sequence[Any]] = ()
) -> list[list[Any]]:
    """Rows of a sheet: header pairs, names, numbers."""
    body = np.stack(numbers(record), axis=1).tolist()
    return [*map(list, head), list(names), *body]


def workbook(path: Path, sheets: Mapping[str, Sequence[Sequence[Any]]]) -> Path:
    """A workbook with the given rows; ``None`` leaves a cell empty."""
    book = xlsxwriter.Workbook(path, {"nan_inf_to_errors": True, "strings_to_numbers": False})
    date = book.add_format({"num_format": "yyyy-mm-dd"})
    for name, rows in sheets.items():
        sheet = book.add_worksheet(name)
        for i, row in enumerate(rows):
            for k, value in enumerate(row):
                if value is None:
                    continue
                if hasattr(value, "isoformat"):
                    sheet.write_datetime(i, k, value, date)
                else:
                    sheet.write(i, k, value)
    book.close()
    return path


def parquet(
    path: Path,
    records: Sequence[Invented],
    labels: Sequence[str] = (),
    names: Sequence[str] = NAMES,
) -> Path:
    """A Parquet file, with a column of labels where they are given."""
    columns = np.concatenate([np.stack(numbers(r)) for r in records], axis=1)
    frame = pl.DataFrame(dict(zip(names, columns, strict=True)))
    if labels:
        lengths = [len(r.time) for r in records]
        frame = frame.with_columns(pl.Series("Test", np.repeat(list(labels), lengths)))
    frame.write_parquet(path)
    return path


def hdf5(
    path: Path, records: Mapping[str, Invented], attributes: Mapping[str, Any] | None = None
) -> Path:
    """An HDF5 file with a group a test, units as attributes."""
    with h5py.File(path, "w") as file:
        file.attrs["operator"] = "B. Bench"
        for name, record in records.items():
            group = file.require_group(name)
            for key, value in (attributes or {}).items():
                group.attrs[key] = value
            for column, unit, values in zip(
                ("time", "force", "depth"), ("s", "mN", "nm"), numbers(record), strict=True
            ):
                group.create_dataset(column, data=values).attrs["unit"] = unit
    return path


def zipped(path: Path, members: Mapping[str, bytes]) -> Path:
    """A zip file of the given bytes."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, raw in members.items():
            archive.writestr(zipfile.ZipInfo(name), raw, zipfile.ZIP_DEFLATED)
    path.write_bytes(held.getvalue())
    return path
