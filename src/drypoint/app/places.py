"""Studies in a folder: their keys in addresses, and the guard that no path leads out of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from drypoint import paths
from drypoint.app.faults import NotFound, PageError, Refused
from drypoint.errors import PathError
from drypoint.records.find import reserved_words
from drypoint.records.listing import name_fault

#: Parts the folders in a key; stands in no file name that is served.
PART = ":"
_STUDY = re.compile(r"^\s*drypoint\s*=\s*\d+\s*(#.*)?$", re.MULTILINE)
_DEPTH, _MOST, _LOOKED_AT = 4, 2000, 4096
_NAME = re.compile(r"[^\x00-\x1f/\\:*?\"<>|]{1,120}")


def key_of(root: Path, study: Path) -> str:
    """Key of a study file in addresses: its path inside the root, without ``.toml``."""
    relative = study.resolve().relative_to(root.resolve()).with_suffix("")
    return PART.join(relative.parts)


def study_at(root: Path, key: str) -> Path:
    """The study file of a key.

    Raises
    ------
    NotFound
        When there is none inside the root.
    """
    try:
        path = inside(root, key.replace(PART, "/") + ".toml")
        if path.is_file():
            return path
    except OSError:
        pass  # longer than the system's names may be
    raise NotFound(
        f"There is no study “{key.replace(PART, '/')[:80]}” in this folder.",
        remedy="It may have been moved or renamed. Begin at the studies.",
    )


def inside(root: Path, relative: str) -> Path:
    """A path inside a folder, links followed; anything that leads out of it is refused."""
    parts = PurePosixPath(relative.replace("\\", "/")).parts
    if not parts or any(p in ("..", "/") or "\x00" in p or PART in p for p in parts):
        raise Refused("The path leads out of the folder of the studies.")
    path = root.joinpath(*parts)
    if not paths.is_inside(path, root):
        raise Refused("The path leads out of the folder of the studies.")
    return paths.real(path)


def plain_name(name: str) -> str:
    """A name for a file or folder that is safe on every system.

    Raises
    ------
    PageError
        When it is not.
    """
    name = name.strip()
    if words := reserved_words(name):
        raise PageError(words, remedy="Choose another name.")
    if not _NAME.fullmatch(name) or name.startswith(".") or name.endswith("."):
        raise PageError(
            f"“{name[:60]}” is no name for a file or folder.",
            remedy="Use letters, digits, blanks, “-” and “_”; no slash, no point in front.",
        )
    return name


def find_studies(root: Path) -> Iterator[Path]:
    """Study files in a folder and up to three folders below it, sorted."""
    found = 0
    for path in _toml_files(root, _DEPTH):
        if found >= _MOST:
            return
        if is_study(path):
            found += 1
            yield path


def is_study(path: Path) -> bool:
    """Whether a file begins as a study file does."""
    try:
        head = paths.read_bytes(path, most=_LOOKED_AT).decode("utf-8-sig", "replace")
    except (OSError, PathError):
        return False
    return _STUDY.search(head) is not None


def _toml_files(folder: Path, depth: int) -> Iterator[Path]:
    try:
        entries = sorted(folder.iterdir(), key=lambda p: (p.is_dir(), p.name.lower()))
    except OSError:
        return
    for entry in entries:
        if entry.name.startswith(".") or PART in entry.name or entry.is_symlink():
            continue
        if name_fault(entry.name):
            continue  # it cannot be written into a page
        if entry.is_dir() and depth > 1 and entry.name != "results":
            yield from _toml_files(entry, depth - 1)
        elif entry.suffix == ".toml" and entry.is_file():
            yield entry
