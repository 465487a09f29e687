"""Raw files as bytes: their hash, their size, and of what kind they are by their first bytes."""

from __future__ import annotations

import hashlib
import os
import stat
from dataclasses import dataclass
from pathlib import Path

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
    """

    file_bytes: int = MAX_BYTES
    table_bytes: int = 8_000_000_000
    zip_bytes: int = 4_000_000_000
    zip_members: int = 100_000
    zip_ratio: float = 250.0
    cells: int = 6_000_000


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


def first_look(path: Path, name: str, max_bytes: int) -> tuple[str, bytes]:
    """Kind of a file, and all its bytes where it is a text or an old workbook.

    Raises
    ------
    RecordError
        The file is missing, not readable, or too large.
    """
    try:
        with path.open("rb", buffering=0) as file:
            state = os.fstat(file.fileno())
            if not stat.S_ISREG(state.st_mode):
                raise _no_file(path, name)
            head = file.read(16)
            kind = kind_of(head)
            if kind not in ("text", "xls"):
                return kind, head
            if state.st_size > max_bytes:
                raise too_large(name, max_bytes)
            return kind, head + file.readall()
    except OSError as error:
        raise _unreadable(path, name, error) from error


def _no_file(path: Path, name: str) -> RecordError:
    """The error for a path that opens, but not as a file."""
    words = reserved_words(path.name)
    return RecordError(
        f"It is a device or a pipe, not a file. {words}".strip(),
        where=Where(name),
        remedy="Rename the file." if words else "Give the path of a file that you may read.",
    )


def load(path: Path, name: str, max_bytes: int) -> bytes:
    """All bytes of a file.

    Raises
    ------
    RecordError
        The file is missing, not readable, or too large.
    """
    raw = _read(path, name, max_bytes + 1)
    if len(raw) > max_bytes:
        raise too_large(name, max_bytes)
    return raw


def sha256_of(path: Path, name: str) -> str:
    """SHA-256 of a file that is too large to be held."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise _unreadable(path, name, error) from error


def _read(path: Path, name: str, most: int) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(most)
    except OSError as error:
        raise _unreadable(path, name, error) from error


def _unreadable(path: Path, name: str, error: OSError) -> RecordError:
    if isinstance(error, FileNotFoundError):
        return RecordError(
            "There is no such file.", where=Where(name), remedy="Check the path in the recipe."
        )
    if words := reserved_words(path.name):
        return RecordError(
            f"It is not readable ({error.strerror}). {words}",
            where=Where(name),
            remedy="Rename the file.",
        )
    kind = "a folder, not a file" if path.is_dir() else f"not readable ({error.strerror})"
    return RecordError(
        f"It is {kind}.", where=Where(name), remedy="Give the path of a file that you may read."
    )
