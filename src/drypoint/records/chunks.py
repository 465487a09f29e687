"""Reading more than fits into memory: file by file, and large Parquet files a part at a time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import polars as pl

from drypoint.errors import DrypointError, RecordError, Where
from drypoint.records.columns import assign
from drypoint.records.documents import Document, Lost, Opening, open_path
from drypoint.records.grid import Grid
from drypoint.records.layout import Layout
from drypoint.records.paths import Paths, paths_of
from drypoint.records.raw import Limits
from drypoint.records.read import Reader, ReadOutcome

#: Bytes of numbers that a file may hold when only parts of it are in memory.
_ANY = 10**15


def read_in_chunks(
    paths: Paths,
    layout: Layout | None = None,
    *,
    samples: int = 5_000_000,
    specimen: str = "",
    root: Path | None = None,
    limits: Limits | None = None,
) -> Iterator[ReadOutcome]:
    """The same tests as :func:`~drypoint.records.read.read` gives, some million samples at a time.

    A Parquet file is read by parts if a column names the test and the rows of a test stand
    together; a test whose rows come again later is set aside there. Other files are read whole.

    Parameters
    ----------
    samples : int
        About how many samples an outcome holds; a test is never cut.
    paths, layout, specimen, root, limits
        As for ``read``.

    Raises
    ------
    RecordError
        ``paths`` is neither a path nor a collection of paths; raised by the call itself.
    """
    limits = replace(limits or Limits(), table_bytes=_ANY)
    return _outcomes(paths_of(paths), layout or Layout(), samples, specimen, root, limits)


def _outcomes(
    paths: Sequence[Path],
    layout: Layout,
    samples: int,
    specimen: str,
    root: Path | None,
    limits: Limits,
) -> Iterator[ReadOutcome]:
    how = Opening(layout, root, limits, {})
    reader = Reader(layout, specimen, limits)
    for given in paths:
        for doc in open_path(given, how):
            if isinstance(doc, Document) and isinstance(doc.body, Grid):
                for part in _parts(doc, doc.body, layout, samples):
                    reader.take(part)
                    if reader.samples >= samples:
                        yield reader.outcome()
            else:
                reader.take(doc)
            if reader.samples >= samples:
                yield reader.outcome()
    last = reader.outcome()
    if len(last.batch) or last.set_aside or last.notes:
        yield last


def _parts(doc: Document, grid: Grid, layout: Layout, samples: int) -> Iterator[Document | Lost]:
    """A table in parts that end where a test ends."""
    dialect = grid.dialect()
    assignment = assign(dialect, layout)
    test = assignment.role("test")
    whole = grid.height <= samples or test is None or layout.split == "one"
    if whole or assignment.questions or grid.window is None or test is None:
        yield doc
        return
    seen: set[str] = set()
    first = 0
    size = samples
    while first < grid.height:
        behind = min(first + size, grid.height)
        part = grid.window(first, behind)
        try:
            (column,) = part.load([test.index - 1])
        except DrypointError as error:
            yield Lost(doc.shown, error)
            return
        runs = pl.Series(column).rle()
        lengths = runs.struct.field("len").to_list()
        labels = [str(v) for v in runs.struct.field("value").to_list()]
        if behind < grid.height:
            if len(labels) == 1:
                size *= 2
                continue
            lengths, labels = lengths[:-1], labels[:-1]
        size = samples
        again = seen & set(labels)
        if again:
            name = sorted(again)[0]
            yield Lost(
                doc.shown,
                RecordError(
                    f"The rows of the test “{name}” do not stand together.",
                    where=Where(doc.shown, line=first + 1, test=name),
                    remedy="Sort the file by test and time, or read it as a whole.",
                ),
            )
            return
        seen.update(labels)
        behind = first + sum(lengths)
        yield replace(doc, body=grid.window(first, behind))
        first = behind
