"""Hashes of raw files, and whether what was read has the same: files may change meanwhile."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from drypoint.errors import PathError
from drypoint.records.batch import TestInfo
from drypoint.records.documents import changed, shown_path
from drypoint.records.layout import SetAside
from drypoint.records.listing import shown_name
from drypoint.store.manifest import file_sha256


def hash_files(folder: Path, files: Sequence[str]) -> tuple[dict[str, str], list[SetAside]]:
    """SHA-256 of each file that can be read; the others are set aside."""
    hashes: dict[str, str] = {}
    aside = []
    for name in files:
        try:
            hashes[name] = file_sha256(folder / name)
        except PathError as error:
            aside.append(SetAside(name, None, error.what, error.remedy))
    return hashes, aside


def changed_since(
    tests: Iterable[TestInfo], folder: Path, hashes: Mapping[str, str]
) -> dict[str, SetAside]:
    """Files of which the bytes that were read are not those that were hashed before.

    Returns
    -------
    dict
        Path of the file in the tests' sources -> what is said of it.
    """
    names = {shown_name(shown_path(folder / f, folder)): f for f in hashes}
    out: dict[str, SetAside] = {}
    for test in tests:
        path = test.source.path.partition("!")[0]
        name = names.get(path, path)
        if name in hashes and test.source.sha256 != hashes[name] and path not in out:
            error = changed(name)
            out[path] = SetAside(name, None, error.what, error.remedy)
    return out
