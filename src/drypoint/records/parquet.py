"""Parquet files, one sample a row: one test a file, or tests told apart by a column."""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path

import polars as pl

from drypoint.errors import RecordError, Where
from drypoint.records import header
from drypoint.records.grid import Grid, Values
from drypoint.records.raw import Limits


def open_parquet(source: Path | bytes, shown: str, limits: Limits) -> Grid:
    """What a Parquet file holds; its numbers are read when they are asked for.

    Raises
    ------
    RecordError
        It is damaged, or larger than the limit.
    """

    def where() -> Path | io.BytesIO:
        return io.BytesIO(source) if isinstance(source, bytes) else source

    try:
        schema = pl.read_parquet_schema(where())
        height = int(pl.scan_parquet(where()).select(pl.len()).collect().item())
    except BaseException as error:
        raise _broken(shown, error) from error
    names = tuple(schema)
    if height * max(1, len(names)) * 8 > limits.table_bytes:
        raise RecordError(
            f"The file holds {height} rows: more than the limit of "
            f"{limits.table_bytes / 1e6:g} MB of numbers.",
            where=Where(shown),
            remedy="Split the file, or read it in chunks.",
        )
    nested = [n for n, t in schema.items() if t.is_nested()]
    if nested:
        raise RecordError(
            f"Column “{nested[0]}” holds lists; a table with one sample a row is read.",
            where=Where(shown),
            remedy="Write it again with one row for each sample and a column for the test.",
        )

    declared = _words(source, shown)
    numeric = tuple(t.is_numeric() for t in schema.values())

    def rows(first: int, behind: int) -> Grid:
        whole = (first, behind) == (0, height)

        def load(columns: Sequence[int]) -> list[Values]:
            wanted = [names[i] for i in columns]
            unique = list(dict.fromkeys(wanted))
            try:
                if whole:
                    frame = pl.read_parquet(where(), columns=unique)
                else:
                    part = pl.scan_parquet(where()).slice(first, behind - first)
                    frame = part.select(unique).collect()
            except BaseException as error:
                raise _broken(shown, error) from error
            if frame.height != behind - first:
                raise _broken(shown, ValueError("rows"))
            found = (frame[name] for name in wanted)
            return [s if s.dtype.is_numeric() else s.cast(pl.String) for s in found]

        return Grid(
            names, ("",) * len(names), numeric, behind - first, load, declared, (), rows, first
        )

    return rows(0, height)


def _words(source: Path | bytes, shown: str) -> dict[str, str]:
    """Pairs that the writer kept with the file (not those of its own bookkeeping)."""
    declared: dict[str, str] = {}
    try:
        where = io.BytesIO(source) if isinstance(source, bytes) else source
        pairs = pl.read_parquet_metadata(where)
    except Exception:  # words are of use, but a file without readable ones has its numbers
        return declared
    for key, value in pairs.items():
        found = header.pair(f"{key}: {value}", ":") if ":" not in key else None
        if found is not None and value.lstrip()[:1] not in ("{", "["):
            header.add(declared, *found)
    return declared


def _broken(shown: str, error: BaseException) -> RecordError:
    if isinstance(error, (KeyboardInterrupt, SystemExit)):
        raise error
    return RecordError(
        "This is a Parquet file that cannot be read: it is damaged or cut short.",
        where=Where(shown),
        remedy="Write it again, or copy it again from where it was made.",
    )
