"""Raw files as bytes: their hash, their size, and of what kind they are by their first bytes."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from drypoint import paths
from drypoint.errors import RecordError, Where
from drypoint.records.find import reserved_words

#: Files larger than this are refused unless the caller allows more.
MAX_BYTES = 500_000_000

#: First bytes -> kind that a reader takes.
KINDS: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "zip"),
    (b"PK\x05\x06", "zip"),
    (b"PK\x07\x08", "zip"),
    (b"\xd0\xcf\x11\xe0", "xls"),
    (b"\x89HDF\r\n\x1a\n", "hdf5"),
    (b"PAR1", "parquet"),
)


@dataclass(frozen=True)
class Limits:
    """What is read at most.

    Parameters
    ----------
    file_bytes : int
        Largest text file or workbook, packed and unpacked.
    table_bytes : int
        Most that the numbers of one HDF5 or Parquet file may fill.
    zip_bytes : int
        Largest zip file, and most that all members of one may unpack to.
    zip_members : int
        Most members of one zip file.
    zip_ratio : float
        How many times its packed size a member (above 1 MB) may unpack to.
    cells : int
        Most cells of one sheet.
    book_cells, sheets : int
        Most cells of all sheets of a workbook, and most sheets.
    sheet_text : int
        Most characters in the cells of a workbook.
    """

    file_bytes: int = MAX_BYTES
    table_bytes: int = 8_000_000_000
    zip_bytes: int = 4_000_000_000
    zip_members: int = 100_000
    zip_ratio: float = 250.0
    cells: int = 6_000_000
    book_cells: int = 24_000_000
    sheets: int = 10_000
    sheet_text: int = 100_000_000


def kind_of(head: bytes) -> str:
    """``zip``, ``xls``, ``hdf5``, ``parquet``, or ``text`` for all the rest."""
    return next((kind for magic, kind in KINDS if head.startswith(magic)), "text")


def too_large(name: str, max_bytes: int) -> RecordError:
    """The error for a file above the limit."""
    return RecordError(
        f"The file is larger than the limit of {max_bytes / 1e6:g} MB.",
        where=Where(name),
        remedy="Split the file, or raise the limit if the size is right.",
    )


#: Files up to this size are read as a whole, so that their hash is that of the bytes used.
IN_MEMORY = 128_000_000


@dataclass(frozen=True)
class Whole:
    """All bytes of a raw file, read once: its kind and its SHA-256."""

    kind: str
    raw: bytes
    sha256: str


class Large:
    """A raw file too large to be held: read by its path, with its SHA-256 from before.

    :meth:`changed` says afterwards whether the bytes were the same all the time.
    """

    def __init__(self, file: io.BufferedReader, path: Path, kind: str) -> None:
        self.path, self.kind = path, kind
        self._file = file
        self.sha256 = self._hash()
        self._state = self._look(os.fstat(file.fileno()))

    def changed(self) -> bool:
        """Whether the file is another by now, or has other bytes."""
        try:
            now = self._look(self.path.stat())
        except OSError:
            return True
        return now != self._state or self._hash() != self.sha256

    def _hash(self) -> str:
        self._file.seek(0)
        return hashlib.file_digest(self._file, "sha256").hexdigest()

    @staticmethod
    def _look(state: os.stat_result) -> tuple[int, int, int]:
        return state.st_dev, state.st_ino, state.st_size


@contextlib.contextmanager
def opened(path: Path, name: str, limits: Limits) -> Iterator[Whole | Large]:
    """A raw file by one handle: its bytes, or (where it is large) what it is read by.

    Raises
    ------
    DrypointError
        The file is missing, not readable, no regular file, outside the served folder, or too
        large.
    """
    try:
        file = paths.open_file(path, name)
    except OSError as error:
        raise _unreadable(path, name, error) from error
    with file:
        try:
            size = os.fstat(file.fileno()).st_size
            head = file.read(16)
            kind = kind_of(head)
            if kind in ("text", "xls") and size > limits.file_bytes:
                raise too_large(name, limits.file_bytes)
            if kind == "zip" and size > limits.zip_bytes:
                raise too_large(name, limits.zip_bytes)
            if kind in ("text", "xls") or size <= IN_MEMORY:
                # A file that grows meanwhile is cut where it ended when it was opened.
                raw = head + file.read(max(0, size - len(head)))
                found: Whole | Large = Whole(kind, raw, hashlib.sha256(raw).hexdigest())
            else:
                found = Large(file, path, kind)
        except OSError as error:
            raise _unreadable(path, name, error) from error
        yield found


def load(path: Path, name: str, max_bytes: int) -> bytes:
    """All bytes of a file.

    Raises
    ------
    DrypointError
        The file is missing, not readable, or too large.
    """
    try:
        raw = paths.read_bytes(path, name, max_bytes + 1)
    except OSError as error:
        raise _unreadable(path, name, error) from error
    if len(raw) > max_bytes:
        raise too_large(name, max_bytes)
    return raw


def _unreadable(path: Path, name: str, error: OSError) -> RecordError:
    said = paths.unreadable(path, name, error)
    if (words := reserved_words(path.name)) and not isinstance(error, FileNotFoundError):
        return RecordError(f"{said.what} {words}", where=said.where, remedy="Rename the file.")
    return RecordError(said.what, where=said.where, remedy=said.remedy)
