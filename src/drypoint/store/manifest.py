"""The list of a result set: every file with its hash, and what it was made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.errors import PathError, StoreError, Where
from drypoint.parsing import json_value
from drypoint.store.atomic import atomic_write
from drypoint.store.tables import json_bytes

NAME = "manifest.json"
#: Version of the manifest's form.
FORM = 1


@dataclass(frozen=True)
class Origin:
    """What a result set was made from.

    ``inputs`` maps each raw file, as the study names it, to its SHA-256. ``decisions_hash`` is
    empty where there are no decisions. ``version`` is that of Drypoint. ``invented``: the data are.
    """

    inputs: Mapping[str, str]
    recipe_hash: str
    decisions_hash: str
    version: str
    seed: int
    more: Mapping[str, Any] = field(default_factory=dict)
    invented: bool = False


@dataclass(frozen=True)
class Manifest:
    """Origin and files (path inside the folder, with forward slashes -> SHA-256)."""

    origin: Origin
    files: Mapping[str, str]


def file_sha256(path: Path) -> str:
    """SHA-256 of a file as it lies on disk.

    Raises
    ------
    PathError
        When it cannot be read.
    """
    return paths.sha256_of(path)


def write_manifest(folder: Path, origin: Origin) -> Manifest:
    """List every file under ``folder``, and write the list there. Call it last."""
    files = {
        path.relative_to(folder).as_posix(): file_sha256(path)
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path != folder / NAME
    }
    manifest = Manifest(origin, files)
    body = {"manifest": FORM, "files": dict(files), **asdict(origin)}
    atomic_write(folder / NAME, json_bytes(body))
    return manifest


def read_manifest(folder: Path) -> Manifest:
    """Read the list of a result set.

    Raises
    ------
    StoreError
        When there is none, or it is not one that this version can read.
    """
    path = folder / NAME
    remedy = "Run the study again."
    try:
        body = json_value(paths.read_bytes(path).decode("utf-8"))
        if body["manifest"] != FORM:
            raise StoreError(
                f"The result set has form {body['manifest']}; this version reads form {FORM}.",
                where=Where(str(path)),
                remedy=remedy,
            )
        names = Origin.__dataclass_fields__
        known = {name: body[name] for name in names if name in body}
        return Manifest(Origin(**known), body["files"])
    except FileNotFoundError as error:
        raise StoreError(
            "There is no complete result set.", where=Where(str(folder)), remedy=remedy
        ) from error
    except (OSError, ValueError, KeyError, TypeError, PathError) as error:
        raise StoreError(
            "The list of the result set cannot be read.", where=Where(str(path)), remedy=remedy
        ) from error


def faults(folder: Path) -> list[str]:
    """What is wrong with a result set: files that are missing or differ from the list."""
    manifest = read_manifest(folder)
    found = []
    for name, sha256 in manifest.files.items():
        path = folder / name
        if not paths.is_inside(path, folder):
            found.append(f"{name} leads out of the folder")
        elif not path.is_file():
            found.append(f"{name} is missing")
        elif (same := same_bytes(path, sha256)) is None:
            found.append(f"{name} cannot be read")
        elif not same:
            found.append(f"{name} was changed after it was written")
    return found


def same_bytes(path: Path, sha256: str) -> bool | None:
    """Whether a file has the bytes of a hash; ``None`` where it cannot be read."""
    try:
        return file_sha256(path) == sha256
    except PathError:
        return None
