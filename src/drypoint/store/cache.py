"""Results of single stages, kept by the hash of what they were made from.

A cache may be deleted at any time. The key of an entry contains the hash of the program, the
versions of its libraries and the processor. An entry carries a keyed hash over its key and content
(the secret is the user's, see :mod:`drypoint.store.secret`): one that is damaged, or that somebody
else wrote, counts as missing, with a note. Signing never uses a cache.
"""

from __future__ import annotations

import contextlib
import hashlib
import hmac
import io
import json
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint import paths
from drypoint.errors import PathError, StoreError
from drypoint.store.atomic import atomic_write
from drypoint.store.secret import secret_file, user_secret
from drypoint.store.tables import json_bytes
from drypoint.version import program_stamp

#: Name of the folder beside the study file.
FOLDER = ".drypoint-cache"
_META = "meta.json"
#: Length of the keyed hash at the head of an entry, in bytes.
_HASH = 64
Arrays = dict[str, NDArray[Any]]


def cache_key(*parts: str) -> str:
    """Key of an entry from everything it depends on: hashes of inputs and options; program,
    libraries and processor are added here."""
    digest = hashlib.sha256()
    for part in (program_stamp(), *parts):
        data = part.encode("utf-8")
        digest.update(len(data).to_bytes(8, "little") + data)
    return digest.hexdigest()


@dataclass(frozen=True)
class Entry:
    """Arrays by name, and what was noted with them."""

    arrays: Arrays
    meta: Any


@dataclass
class Cache:
    """Entries in a folder, the longest unused removed where they pass ``limit`` bytes.

    ``notes`` collects what went wrong: damaged entries, a disk that is full. A cache that is
    ``looking`` changes nothing on disk.
    """

    folder: Path
    limit: int = 2_000_000_000
    notes: list[str] = field(default_factory=list)
    looking: bool = False
    _size: int | None = field(default=None, init=False, repr=False)
    _known: bytes | None = field(default=None, init=False, repr=False)

    @classmethod
    def beside(cls, study: Path, limit: int = 2_000_000_000) -> Cache:
        """The cache beside a study file."""
        return cls(Path(study).parent / FOLDER, limit)

    def get(self, key: str) -> Entry | None:
        """An entry, or ``None`` where there is none, or it is damaged."""
        path = self._path(key)
        secret = self._secret(make=False)
        if secret is None:
            if secret_file().exists():
                self._no_secret()
            return None
        if not self._is_ours(path):
            return None
        try:
            data = paths.read_bytes(path)
        except FileNotFoundError:
            return None
        except PathError as error:
            self.notes.append(f"Cache entry {path.name} cannot be read: {error.what}")
            return None
        except OSError as error:
            self.notes.append(f"Cache entry {path.name} cannot be read: {error.strerror}.")
            return None
        try:
            entry = _unpack(data, secret, key)
        except (ValueError, KeyError, EOFError, OSError, zipfile.BadZipFile):
            self.notes.append(
                f"Cache entry {path.name} is damaged, or was not written by this user; it is "
                "computed again."
            )
            if not self.looking:
                with contextlib.suppress(OSError):
                    path.unlink()
            return None
        if not self.looking:
            with contextlib.suppress(OSError):
                path.touch()
        return entry

    def has(self, key: str) -> bool:
        """Whether there is an entry (it may yet be damaged). Nothing is changed."""
        return self._secret(make=False) is not None and self._path(key).is_file()

    def put(self, key: str, arrays: Mapping[str, NDArray[Any]], meta: Any = None) -> bool:
        """Keep arrays and a JSON-like ``meta``; false, with a note, where that is not possible."""
        if self.looking:
            return False
        secret = self._secret(make=True)
        if secret is None:
            self._no_secret()
            return False
        path = self._path(key)
        if not self._is_ours(path):
            self.notes.append("The cache leads out of its folder; nothing is kept in it.")
            return False
        try:
            self._prepare(path.parent)
            data = _pack(arrays, meta, secret, key)
            atomic_write(path, data, durable=False)
        except (OSError, StoreError) as error:
            self.notes.append(f"A cache entry cannot be kept: {error}")
            return False
        if self._size is None or self._size + len(data) > self.limit:
            self.trim()
        else:
            self._size += len(data)
        return True

    def trim(self) -> None:
        """Remove the entries that were not used for longest, until the rest fits the limit."""
        entries = []
        for path in self.folder.glob("*/*.npz"):
            with contextlib.suppress(OSError):
                state = path.stat()
                entries.append((state.st_mtime_ns, state.st_size, path))
        total = sum(size for _, size, _ in entries)
        for _, size, path in sorted(entries, key=lambda e: (e[0], str(e[2]))):
            if total <= self.limit:
                break
            with contextlib.suppress(OSError):
                path.unlink()
            total -= size
        self._size = total

    def _secret(self, *, make: bool) -> bytes | None:
        """The user's secret, read once; made when something is first kept."""
        if self._known is None:
            self._known = user_secret(make)
        return self._known

    def _no_secret(self) -> None:
        note = (
            f"The cache is not used: {secret_file()} cannot be read or written, or others may "
            "read it."
        )
        if note not in self.notes:
            self.notes.append(note)

    def _prepare(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        mark = self.folder / ".gitignore"
        if not mark.exists():
            atomic_write(mark, b"# A cache; it may be deleted at any time.\n*\n")

    def _is_ours(self, path: Path) -> bool:
        """Whether an entry lies where it seems to, and not behind a link elsewhere."""
        return paths.is_inside(path, self.folder.parent)

    def _path(self, key: str) -> Path:
        return self.folder / key[:2] / f"{key}.npz"


def _pack(arrays: Mapping[str, NDArray[Any]], meta: Any, secret: bytes, key: str) -> bytes:
    """The keyed hash of all that follows, then a zip of ``.npy`` files with fixed dates."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_STORED) as book:
        book.writestr(zipfile.ZipInfo(_META), json_bytes(meta))
        for name in sorted(arrays):
            part = io.BytesIO()
            np.lib.format.write_array(part, np.asarray(arrays[name]), allow_pickle=False)
            book.writestr(zipfile.ZipInfo(f"{name}.npy"), part.getvalue())
    content = buffer.getvalue()
    return _keyed(secret, key, memoryview(content)) + content


def _unpack(data: bytes, secret: bytes, key: str) -> Entry:
    content = memoryview(data)[_HASH:]
    if not hmac.compare_digest(data[:_HASH], _keyed(secret, key, content)):
        raise ValueError("the keyed hash differs")
    with zipfile.ZipFile(io.BytesIO(content)) as book:
        meta = json.loads(book.read(_META))
        arrays = {
            name.removesuffix(".npy"): np.lib.format.read_array(
                io.BytesIO(book.read(name)), allow_pickle=False
            )
            for name in book.namelist()
            if name != _META
        }
    return Entry(arrays, meta)


def _keyed(secret: bytes, key: str, content: memoryview) -> bytes:
    """Keyed hash (HMAC, RFC 2104) over an entry's key and content, as hexadecimal."""
    made = hmac.new(secret, key.encode("utf-8") + b"\0", hashlib.sha256)
    made.update(content)
    return made.hexdigest().encode("ascii")
