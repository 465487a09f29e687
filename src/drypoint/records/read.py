"""Read raw files into one batch. A bad file or test is set aside; the others are read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from drypoint.errors import DrypointError
from drypoint.records.batch import Batch, join
from drypoint.records.decode import Decoded, decode_bytes
from drypoint.records.documents import ChangedError, Document, Lost, Opening, open_path
from drypoint.records.doubt import doubts
from drypoint.records.finish import notes_of, prefixed, take_apart, text_batch
from drypoint.records.finish_grid import grid_batch, grid_notes, grid_read, part_shown
from drypoint.records.grid import Grid
from drypoint.records.layout import Layout, SetAside
from drypoint.records.paths import Paths, names_for, paths_of
from drypoint.records.raw import MAX_BYTES, Limits
from drypoint.records.shapes import Shapes, Waiting


@dataclass(frozen=True)
class ReadOutcome:
    """What could be read, what could not and why, and what is worth knowing about the rest."""

    batch: Batch
    set_aside: tuple[SetAside, ...] = ()
    notes: tuple[str, ...] = ()


def read(
    paths: Paths,
    layout: Layout | None = None,
    *,
    specimen: str = "",
    names: str | Sequence[str] | None = None,
    root: Path | None = None,
    max_bytes: int = MAX_BYTES,
    limits: Limits | None = None,
    doubting: bool = True,
) -> ReadOutcome:
    """Read text files, workbooks, Parquet and HDF5 files, zip files of these, and folders.

    Parameters
    ----------
    paths : Path, str, or a collection of these
        Raw files; they are only read, never changed, and none stays open. A single path is one
        file or folder. Of a folder every file right in it is read, but those that are no records
        by their names.
    layout : Layout, optional
        What is declared about them; the rest is found from each file.
    specimen : str
        Name of the specimen; without it, what the file's header says.
    names : str or sequence of str, optional
        Names for the files, one each, instead of their stems.
    root : Path, optional
        Folder relative to which :class:`~drypoint.records.batch.Source` names the files.
    max_bytes : int
        Larger text files and workbooks are refused.
    limits : Limits, optional
        All limits, instead of ``max_bytes``.
    doubting : bool
        Whether numbers that are hard to believe are told in the notes.

    Returns
    -------
    ReadOutcome
        Never an exception because of a file: what is wrong with one stands in ``set_aside``.

    Raises
    ------
    RecordError
        ``paths`` is neither a path nor a collection of paths, or ``names`` do not fit it.

    Notes
    -----
    A file with the same bytes as an earlier one is set aside as its duplicate. What a file gives
    does not depend on those read with it: files of one shape are only read faster together.
    """
    layout = layout or Layout()
    how = Opening(layout, root, limits or replace(Limits(), file_bytes=max_bytes), {})
    reader = Reader(layout, specimen, how.limits)
    files = paths_of(paths)
    stems = names_for(files, names)
    for k, given in enumerate(files):
        for doc in open_path(given, how, stems[k] if stems is not None else None):
            reader.take(doc)
    return reader.outcome(doubting=doubting)


class Reader:
    """Takes documents in their order; texts of a known shape wait and are read together."""

    def __init__(self, layout: Layout, specimen: str, limits: Limits) -> None:
        self.layout, self.specimen, self.limits = layout, specimen, limits
        self.batches: list[Batch] = []
        self.aside: list[SetAside] = []
        self.notes: list[str] = []
        self.used: set[str] = set()
        self.shapes = Shapes(layout)
        self.waiting: list[Waiting] = []
        self.size = 0

    def take(self, doc: Document | Lost | str) -> None:
        """One more document, one that was lost, or a note."""
        if isinstance(doc, Document) and isinstance(doc.body, bytes):
            found = self.shapes.match(doc)
            if found is not None:
                if self.waiting and self.waiting[0].shape is not found.shape:
                    self.flush()
                self.waiting.append(found)
                self.size += len(doc.body)
                if self.size > 8_000_000 or len(self.waiting) >= 1000:
                    self.flush()
                return
        self.flush()
        if isinstance(doc, str):
            self.notes.append(doc)
        elif isinstance(doc, Lost):
            if isinstance(doc.error, ChangedError):
                self._drop(doc.shown)
            self._lost(doc.shown, doc.error)
        else:
            self._one(doc)

    def flush(self) -> None:
        """Read the texts that wait."""
        waiting, self.waiting, self.size = self.waiting, [], 0
        if not waiting:
            return
        for piece in self.shapes.read(waiting, self.specimen, self.used):
            if isinstance(piece, Batch):
                self.batches.append(piece)
            elif isinstance(piece, str):
                self.notes.append(piece)
            else:
                self._one(piece)

    @property
    def samples(self) -> int:
        """Samples read so far, with a guess at those of the texts that wait."""
        return sum(len(b.force) for b in self.batches) + self.size // 30

    def outcome(self, *, doubting: bool = True) -> ReadOutcome:
        """What was read since the last outcome."""
        self.flush()
        batch = join(self.batches)
        told = doubts(batch) if doubting else ()
        found = ReadOutcome(batch, tuple(self.aside), (*self.notes, *told))
        self.batches, self.aside, self.notes = [], [], []
        return found

    def _drop(self, file: str) -> None:
        """Take back the tests of a file."""
        kept = []
        for batch in self.batches:
            mine = [i for i, t in enumerate(batch.tests) if t.source.path.partition("!")[0] == file]
            if mine:
                batch = batch.take([i for i in range(len(batch)) if i not in set(mine)])
            kept += [batch] if len(batch) else []
        self.batches = kept

    def _lost(self, shown: str, error: DrypointError) -> None:
        where = error.where
        self.aside.append(
            SetAside(shown, where.test, error.what, error.remedy, where.line, where.column)
        )

    def _one(self, doc: Document) -> None:
        """One document by itself, with all care."""
        try:
            if isinstance(doc.body, Grid):
                grid, assignment = grid_read(doc, self.layout)
                notes = grid_notes(grid, assignment, self.layout)
                batch, bad = grid_batch(grid, doc, self.specimen, self.used)
            else:
                file = take_apart(self._decoded(doc), self.layout, doc)
                notes = notes_of(file, self.layout)
                batch, bad = text_batch(file, self.specimen, self.used)
                self.shapes.learn(doc, file, notes, bool(bad))
        except DrypointError as error:
            self._lost(part_shown(doc), error)
            return
        self.notes += prefixed(doc.shown, (*doc.notes, *notes))
        self.aside += bad
        if len(batch):
            self.batches.append(batch)

    def _decoded(self, doc: Document) -> Decoded:
        if isinstance(doc.body, Decoded):
            return doc.body
        assert isinstance(doc.body, bytes)
        return decode_bytes(
            doc.body, doc.shown, encoding=self.layout.encoding, max_bytes=self.limits.file_bytes
        )
