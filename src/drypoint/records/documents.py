"""What stands in raw files: each text, sheet, zipped member or table, one after the other."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

from drypoint import paths
from drypoint.errors import DrypointError, RecordError, Where
from drypoint.records.decode import Decoded
from drypoint.records.find import files_in, left_out_note, reserved_words
from drypoint.records.grid import Grid
from drypoint.records.layout import Layout
from drypoint.records.listing import name_fault, shown_name
from drypoint.records.raw import Large, Limits, kind_of, load, opened
from drypoint.records.unpack import flavour, members, open_zip

_NO_ZIP_IN_ZIP = "A zip file in a zip file is not opened."


@dataclass(frozen=True)
class Document:
    """One text or table, not yet understood.

    ``shown`` names it with what stands before and behind the ``!``; ``file`` is the raw file
    alone; ``stem`` and ``folder`` are for the names of its tests. ``body`` is bytes of a text,
    the text of a sheet, or a typed table.
    """

    shown: str
    file: str
    stem: str
    folder: str
    kind: str
    sha256: str
    body: bytes | Decoded | Grid
    member_sha256: str | None = None
    notes: tuple[str, ...] = ()

    @property
    def place(self) -> str:
        """What stands behind the file's own name."""
        return self.shown[len(self.file) :].lstrip("!")

    def layout(self, layout: Layout) -> Layout:
        """What is declared, as it holds for this kind: the marks of text are none of a sheet."""
        if self.kind == "workbook":
            return replace(layout, delimiter="\t", decimal=".", encoding=None, comment=None)
        return layout


@dataclass(frozen=True)
class Lost:
    """A file, or something inside one, that could not be opened."""

    shown: str
    error: DrypointError


Opened = Document | Lost


@dataclass(frozen=True)
class Opening:
    """How files are opened: what is declared, root of their names, limits, hashes known."""

    layout: Layout
    root: Path | None
    limits: Limits
    seen: dict[str, str]

    def once(self, key: str, shown: str) -> None:
        """Refuse a file with the same bytes as an earlier one."""
        if key in self.seen:
            raise RecordError(
                f"The file has the same bytes as {self.seen[key]}.",
                where=Where(shown),
                remedy="Leave one of the two out of the study.",
            )
        self.seen[key] = shown


def shown_path(path: Path, root: Path | None) -> str:
    """A file's name for people and provenance: relative to ``root`` where it can be."""
    if root is not None:
        try:
            return paths.real(path).relative_to(paths.real(root)).as_posix()
        except (ValueError, OSError):
            pass
    return path.as_posix()


class ChangedError(RecordError):
    """A file was written to while it was read; nothing that was read from it counts."""


def stem_of(path: Path | PurePosixPath) -> str:
    """File name without its ending (and without ``.gz`` before that)."""
    name = path.name[:-3] if path.name.lower().endswith(".gz") else path.name
    return Path(name).stem or path.name


def open_path(path: Path, how: Opening, stem: str | None = None) -> Iterator[Opened | str]:
    """Documents of a file, or of all files of a folder; a text among them is a note."""
    shown = shown_name(shown_path(path, how.root))
    try:
        paths.check_allowed(path, shown)
    except DrypointError as error:
        yield Lost(shown, error)
        return
    if not path.is_dir():
        yield from _open_file(path, how, stem)
        return
    try:
        files, left, odd = files_in(path)
    except OSError as error:
        yield Lost(shown, RecordError(f"The folder is not readable ({error.strerror})."))
        return
    if left:
        yield left_out_note(shown, left)
    for one in odd:
        where = Where(f"{shown}/{one.name}")
        yield Lost(f"{shown}/{one.name}", RecordError(one.what, where=where, remedy=one.remedy))
    if not files and not odd:
        yield Lost(
            shown,
            RecordError(
                "The folder holds no file to read.",
                where=Where(shown),
                remedy="Folders in it are not entered; name them, or a pattern.",
            ),
        )
    for file in files:
        yield from _open_file(file, how, None)


def _open_file(path: Path, how: Opening, stem: str | None) -> Iterator[Opened | str]:
    shown = shown_name(shown_path(path, how.root))
    try:
        if fault := name_fault(path.name):
            raise RecordError(fault, where=Where(shown), remedy="Rename the file.")
        with opened(path, shown, how.limits) as file:
            how.once(file.sha256, shown)
            if words := reserved_words(path.name):
                yield f"{shown}: {words} Rename the file, or it cannot be opened there."
            name = stem if stem is not None else stem_of(path)
            base = Document(shown, shown, name, path.parent.name, file.kind, file.sha256, b"")
            raw = file.path if isinstance(file, Large) else file.raw
            yield from _guarded(base, raw, how, how.layout.inside, zipped=False)
            if isinstance(file, Large) and file.changed():
                raise changed(shown)
    except DrypointError as error:
        yield Lost(shown, error)


def changed(shown: str) -> ChangedError:
    """The words for a file that was written to while it was read."""
    return ChangedError(
        "The file was changed while it was read.",
        where=Where(shown),
        remedy="Run again when the instrument or the copy has finished writing it.",
    )


def _guarded(
    base: Document, raw: bytes | Path, how: Opening, inside: tuple[str, ...], zipped: bool
) -> Iterator[Opened | str]:
    """All documents of a file; what goes wrong on the way is the last of them."""
    try:
        yield from _open(base, raw, how, inside, zipped)
    except DrypointError as error:
        yield Lost(base.shown, error)


def _open(
    base: Document, raw: bytes | Path, how: Opening, inside: tuple[str, ...], zipped: bool
) -> Iterator[Opened | str]:
    layout, limits = how.layout, how.limits
    if base.kind == "text":
        assert isinstance(raw, bytes)
        yield replace(base, body=raw)
    elif base.kind == "parquet":
        from drypoint.records.parquet import open_parquet

        yield replace(base, body=open_parquet(raw, base.shown, limits))
    elif base.kind == "hdf5":
        from drypoint.records.hdf5 import Failed, open_hdf5

        grids, notes = open_hdf5(raw, base.shown, replace(layout, inside=inside), limits)
        yield from (f"{base.shown}: {note}" for note in notes)
        for grid in grids:
            if isinstance(grid, Failed):
                yield Lost(f"{base.shown}!{grid.place}", grid.error)
            else:
                yield replace(base, body=grid)
    elif base.kind == "xls":
        assert isinstance(raw, bytes)
        yield from _sheets(base, raw, inside, limits)
    else:
        with open_zip(io.BytesIO(raw) if isinstance(raw, bytes) else raw, base.shown) as archive:
            what = flavour(archive)
            if what == "zip" and not zipped:
                own = tuple(p.partition("!")[0] or "*" for p in inside)
                below = tuple(p.partition("!")[2] for p in inside if "!" in p)
                for member in members(archive, base.shown, own, limits):
                    if isinstance(member, str):
                        yield member
                        continue
                    yield from _member(base, member.place, member.raw, member.fault, how, below)
                return
        if what == "zip":
            raise RecordError(
                _NO_ZIP_IN_ZIP, where=Where(base.shown), remedy="Unpack it and give the files."
            )
        if what != "workbook":
            kind = "a text document (.docx)" if what == "word" else "a binary workbook (.xlsb)"
            raise RecordError(
                f"This is {kind}.", where=Where(base.shown), remedy="Save it as .xlsx."
            )
        whole = raw if isinstance(raw, bytes) else load(raw, base.shown, limits.file_bytes)
        yield from _sheets(base, whole, inside, limits)


def _member(
    base: Document, place: str, raw: bytes, fault: DrypointError | None, how: Opening,
    inside: tuple[str, ...],
) -> Iterator[Opened | str]:  # fmt: skip
    shown = f"{base.shown}!{place}"
    sha256 = hashlib.sha256(raw).hexdigest()
    try:
        if fault is not None:
            raise fault
        how.once(sha256, shown)
    except DrypointError as error:
        yield Lost(shown, error)
        return
    path = PurePosixPath(place)
    folder = path.parent.name or base.stem
    inner = replace(
        base, shown=shown, stem=stem_of(path), folder=folder, kind=kind_of(raw),
        member_sha256=sha256,
    )  # fmt: skip
    yield from _guarded(inner, raw, how, inside, zipped=True)


def _sheets(
    base: Document, raw: bytes, inside: tuple[str, ...], limits: Limits
) -> Iterator[Opened | str]:
    """Sheets with numbers. One without is noted where others have some."""
    from drypoint.records.workbook import read_workbook

    sheets, notes = read_workbook(raw, base.shown, inside, limits)
    yield from (f"{base.shown}: {note}" for note in notes)
    full = [s for s in sheets if s.rows_of_numbers > 1]
    bare = [s.name for s in sheets if s.rows_of_numbers <= 1 and s.rows_of_text < 2]
    if full and bare:
        yield f"{base.shown}: No table of numbers, left out: {', '.join(bare)}."
        sheets = [s for s in sheets if s.name not in bare]
    for sheet in sheets:
        stem = base.stem if len(sheets) == 1 else f"{base.stem}:{sheet.name}"
        yield replace(
            base, shown=f"{base.shown}!{sheet.name}", kind="workbook", stem=stem,
            body=Decoded(sheet.text, "", base.sha256),
        )  # fmt: skip
