"""Paths as callers give them: one file or a collection of files, and nothing else."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from drypoint.errors import RecordError

#: What functions take that read several files: a path, or a collection of paths.
Paths = str | os.PathLike[str] | Iterable[str | os.PathLike[str]]


def paths_of(given: Paths) -> list[Path]:
    """The paths given: a string or path is one file (or folder), a collection is several.

    Raises
    ------
    RecordError
        It is neither, or an element of a collection is not a path.
    """
    if isinstance(given, str | os.PathLike):
        return [path_of(given)]
    if isinstance(given, bytes | bytearray | Mapping) or not isinstance(given, Iterable):
        raise _invalid(given, "a path, or a collection of paths")
    return [path_of(one) for one in given]


def path_of(given: object) -> Path:
    """One path.

    Raises
    ------
    RecordError
        It is not a path. An empty string is none: it would mean the current folder.
    """
    if isinstance(given, str) and given.strip():
        return Path(given)
    if isinstance(given, os.PathLike):
        plain = os.fspath(given)
        if isinstance(plain, str):
            return Path(plain)
    raise _invalid(given, "a path (str or Path)")


def names_for(paths: list[Path], names: str | Iterable[str] | None) -> list[str] | None:
    """Names for files, one each; a string is the name of one file.

    Raises
    ------
    RecordError
        There are more or fewer names than files, or a name is not a string.
    """
    if names is None:
        return None
    found = [names] if isinstance(names, str) else list(names)
    if len(found) != len(paths) or not all(isinstance(n, str) for n in found):
        raise RecordError(
            f"Invalid names: got {len(found)} for {len(paths)} paths; expected one string each.",
            remedy="Give as many names as paths, or leave names out.",
        )
    return found


def _invalid(given: object, expected: str) -> RecordError:
    shown = repr(given)
    return RecordError(
        f"Invalid path: got {shown[:60]} ({type(given).__name__}); expected {expected}.",
        remedy='For example "raw/a.csv", Path("raw"), or ["raw/a.csv", "raw/b.csv"].',
    )
