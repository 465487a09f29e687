"""A result set: made as a whole beside the earlier one, then put in its place.

At any moment the folder of the results, or the folder ``NAME.old`` beside it, holds a whole
result set; :func:`recover` puts back what a kill between two steps has left there.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from drypoint import paths
from drypoint.errors import StoreError, Where
from drypoint.locking import lock_file
from drypoint.parsing import json_value
from drypoint.store.atomic import cannot_write, is_left, new_tag, patiently, sync_folder
from drypoint.store.manifest import (
    NAME,
    Manifest,
    Origin,
    faults,
    read_manifest,
    write_manifest,
)

_TAG = re.compile(r"[0-9a-f]+-\d+-[0-9a-f]+")


@dataclass(frozen=True)
class Results:
    """A result set on disk, as its list says."""

    folder: Path
    manifest: Manifest

    def table(self, stem: str) -> pl.DataFrame:
        """A table by the name of its files without ending, for example ``"tests"``."""
        path = self.path(f"{stem}.parquet")
        try:
            return pl.read_parquet(path)
        except (OSError, pl.exceptions.PolarsError) as error:
            raise _unreadable(path) from error

    def json(self, name: str) -> Any:
        """A JSON file of the set, for example ``"summary.json"``."""
        path = self.path(name)
        try:
            return json_value(paths.read_bytes(path).decode("utf-8"))
        except (OSError, ValueError) as error:
            raise _unreadable(path) from error

    def path(self, name: str) -> Path:
        """Path of a file of the set.

        Raises
        ------
        StoreError
            When the set has no such file.
        """
        if name not in self.manifest.files:
            raise StoreError(
                f"The results hold no “{name}”.",
                where=Where(str(self.folder)),
                remedy="They hold: " + ", ".join(sorted(self.manifest.files)) + ".",
            )
        path = self.folder / name
        if not paths.is_inside(path, self.folder):
            raise StoreError(
                f"“{name}” leads out of the folder of the results; it was not read.",
                where=Where(str(self.folder)),
                remedy="Run the study again.",
            )
        if not paths.is_file(path):  # a pipe would be waited for without end
            raise _unreadable(path)
        return path

    def faults(self) -> list[str]:
        """Files that are missing or were changed since; empty where the set is whole."""
        return faults(self.folder)


def read_results(folder: Path | str) -> Results:
    """The result set in a folder (or the earlier one, while a new one is put in its place).

    Raises
    ------
    StoreError
        When there is no complete result set.
    """
    folder = Path(folder)
    if not folder.exists() and (_old(folder) / NAME).exists():
        folder = _old(folder)
    return Results(folder, read_manifest(folder))


@contextlib.contextmanager
def new_results(folder: Path | str, origin: Origin) -> Iterator[Path]:
    """Make a new result set.

    Write every file into the folder that this yields. When the block ends, the list of the files
    is written last, and the set takes the place of the earlier one. When the block fails, the
    earlier one stays. Files in the old folder that Drypoint has not written are carried over.

    Raises
    ------
    StoreError
        When the folder holds other things than results, or cannot be written.
    """
    place = Path(folder).resolve()
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        recover(place)
        partial = place.with_name(f"{place.name}.partial-{new_tag()}")
        partial.mkdir()
    except OSError as error:
        raise cannot_write(place, error) from error
    try:
        yield partial
        write_manifest(partial, origin)
        _sync_tree(partial)
        with _held(place):
            _recover(place)
            _put_in_place(partial, place)
    except OSError as error:
        raise cannot_write(place, error) from error
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def recover(folder: Path | str) -> list[str]:
    """Put right what a killed run has left: the earlier results back, unfinished ones away.

    Returns
    -------
    list of str
        What was done, a sentence each.
    """
    place = Path(folder).resolve()
    if not place.parent.is_dir():
        return []
    with _held(place):
        return _recover(place)


@contextlib.contextmanager
def _held(place: Path) -> Iterator[None]:
    try:
        with lock_file(place.with_name(f".{place.name}.lock")):
            yield
    except TimeoutError as error:
        raise StoreError(
            "Another run is writing these results.",
            where=Where(str(place)),
            remedy="Wait for it, or choose another folder.",
        ) from error


def _recover(place: Path) -> list[str]:
    done = []
    old = _old(place)
    if old.exists():
        if not place.exists():
            old.rename(place)
            done.append(f"The earlier results were put back into {place.name}.")
        else:
            _retire(old, place)
            done.append(f"{old.name} was removed; {place.name} holds the newer results.")
    _check_ours(place)
    for left in sorted(place.parent.glob(f"{_plain(place.name)}.partial-*-*-*")):
        tag = left.name.removeprefix(f"{place.name}.partial-")
        if _TAG.fullmatch(tag) and is_left(tag, left):
            shutil.rmtree(left, ignore_errors=True)
            done.append(f"{left.name}, left by a run that was cut off, was removed.")
    return done


def _put_in_place(partial: Path, place: Path) -> None:
    old = _old(place)
    _check_conflicts(partial, place)
    if place.exists():
        patiently(lambda: place.rename(old))
        sync_folder(place.parent)
    try:
        patiently(lambda: partial.rename(place))
    except OSError:
        if old.exists() and not place.exists():
            old.rename(place)
        raise
    sync_folder(place.parent)
    if old.exists():
        _retire(old, place)


def _retire(old: Path, place: Path) -> None:
    """Remove the earlier results, after carrying over what Drypoint has not written."""
    for path in _foreign(old):
        target = place / path.relative_to(old)
        target.parent.mkdir(parents=True, exist_ok=True)
        path.rename(target)
    shutil.rmtree(old)


def _foreign(folder: Path) -> list[Path]:
    """Files in a folder of results that its list does not name."""
    if not (folder / NAME).exists():
        return []
    try:
        listed = read_manifest(folder).files
    except StoreError as error:
        raise StoreError(
            error.what, where=error.where, remedy="Move the folder away, and run the study again."
        ) from error
    ours = {folder / name for name in listed} | {folder / NAME}
    return [p for p in sorted(folder.rglob("*")) if not p.is_dir() and p not in ours]


def _check_ours(place: Path) -> None:
    """Refuse to replace a folder that holds something else than results."""
    if not place.exists() or (place / NAME).is_file():
        return
    if place.is_dir() and not any(place.iterdir()):
        return
    raise StoreError(
        "It exists and holds something else than results of Drypoint; nothing was changed.",
        where=Where(str(place)),
        remedy="Choose another folder for the results, or move these files away.",
    )


def _check_conflicts(partial: Path, place: Path) -> None:
    for path in _foreign(place) if place.exists() else []:
        name = path.relative_to(place)
        if (partial / name).exists():
            raise StoreError(
                f"{name.as_posix()} was not written by Drypoint, and the new results have a file "
                "of that name; nothing was changed.",
                where=Where(str(place)),
                remedy="Move or rename it, and run again.",
            )


def _sync_tree(folder: Path) -> None:
    for path in folder.rglob("*"):
        if path.is_file():
            with path.open("rb+") as file:
                os.fsync(file.fileno())
        else:
            sync_folder(path)
    sync_folder(folder)


def _old(place: Path) -> Path:
    return place.with_name(place.name + ".old")


def _plain(name: str) -> str:
    return name.replace("[", "[[]").replace("*", "[*]").replace("?", "[?]")


def _unreadable(path: Path) -> StoreError:
    return StoreError(
        "The file cannot be read.", where=Where(str(path)), remedy="Run the study again."
    )
