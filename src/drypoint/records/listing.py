"""Files that a pattern finds below a folder, and what is set aside unopened, each with a reason.

Set aside are links that lead elsewhere, pipes and devices, names that cannot be written down, and
folders that cannot be entered. ``**`` does not enter links to folders, so that no loop is walked.
"""

from __future__ import annotations

import fnmatch
import os
import re
import stat
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from drypoint import paths

_MAGIC = re.compile(r"[*?\[]")
#: Levels of folders that ``**`` enters.
_DEEPEST = 64


@dataclass(frozen=True)
class Odd:
    """Something that was found and is not read: its name as it can be shown, why, what to do."""

    name: str
    what: str
    remedy: str = ""


@dataclass
class Listing:
    """What a pattern finds, by names relative to the folder (with ``/``)."""

    files: list[str] = field(default_factory=list)
    folders: list[str] = field(default_factory=list)
    odd: list[Odd] = field(default_factory=list)


def shown_name(name: str) -> str:
    """A name in which everything that cannot be printed is escaped."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in name)


def name_fault(name: str) -> str:
    """Why a name cannot be written into tables and reports; empty where it can."""
    try:
        name.encode("utf-8")
    except UnicodeEncodeError:
        return "Its name is not valid UTF-8."
    if any(unicodedata.category(c) in ("Cc", "Zl", "Zp") for c in name):
        return "Its name contains a line break or another control character."
    return ""


def find_files(folder: Path, pattern: str) -> Listing:
    """Files and folders that a pattern names.

    Parameters
    ----------
    folder : Path
        What the pattern is relative to.
    pattern : str
        With ``*``, ``?``, ``[...]``, and ``**`` for any folders; hidden names only where the
        pattern begins with a point.

    Raises
    ------
    PathError
        When the part before the first wildcard leads out of the served folder.
    """
    plain = pattern.replace("\\", "/")
    parts = [p for p in PurePosixPath(plain).parts if p != "."]
    fixed = next((i for i, p in enumerate(parts) if _MAGIC.search(p)), len(parts))
    if fixed < len(parts) and paths.is_file(folder / plain):
        fixed = len(parts)  # a name that has such a sign in it
    found = Listing()
    start = "/".join(parts[:fixed]).replace("//", "/")
    base = folder / start if start else folder
    paths.check_allowed(base, shown_name(start or str(folder)))
    if fixed == len(parts):
        # Named, not found: a link is followed wherever the user may read.
        _leaf(base, start, (), found)
        return found
    rest = parts[fixed:]
    if rest[-1] == "**":
        rest = [*rest, "*"]
    homes = (paths.real(base), paths.real(folder))
    seen: set[str] = set()
    _walk(base, start, rest, homes, found, seen, 0)
    found.files.sort()
    return found


def in_folder(folder: Path) -> Listing:
    """What lies right in a folder and is not hidden.

    Raises
    ------
    OSError
        When the folder cannot be entered.
    PathError
        When it is outside the served folder.
    """
    paths.check_allowed(folder)
    found = Listing()
    home = (paths.real(folder),)
    with os.scandir(folder) as entries:
        names = sorted(e.name for e in entries if not e.name.startswith("."))
    for name in names:
        _leaf(folder / name, name, home, found)
    return found


def _walk(
    folder: Path, name: str, rest: list[str], homes: Iterable[Path], found: Listing,
    seen: set[str], depth: int,
) -> None:  # fmt: skip
    part, more = rest[0], rest[1:]
    if part == "**":
        _walk(folder, name, more, homes, found, seen, depth)
        for entry in _entries(folder, name, found, seen):
            below = _joined(name, entry.name)
            if entry.name.startswith(".") or not _is_dir(entry):
                continue
            if entry.is_symlink():
                _once(found, seen, below, "It is a link to a folder, which ** does not enter.",
                      "Name the folder that it leads to.")  # fmt: skip
            elif depth >= _DEEPEST:
                _once(found, seen, below, f"It is more than {_DEEPEST} folders deep.",
                      "Name the folder itself.")  # fmt: skip
            elif fault := name_fault(entry.name):
                _once(found, seen, below, fault, "Rename the folder.")
            else:
                _walk(Path(entry.path), below, rest, homes, found, seen, depth + 1)
        return
    if not _MAGIC.search(part):
        below = _joined(name, part)
        if more:
            if (folder / part).is_dir():
                _walk(folder / part, below, more, homes, found, seen, depth)
        elif os.path.lexists(folder / part) and below not in seen:
            seen.add(below)
            _leaf(folder / part, below, homes, found)
        return
    for entry in _entries(folder, name, found, seen):
        if entry.name.startswith(".") and not part.startswith("."):
            continue
        if not fnmatch.fnmatch(entry.name, part):
            continue
        below = _joined(name, entry.name)
        if not more:
            if below not in seen:
                seen.add(below)
                _leaf(Path(entry.path), below, homes, found)
        elif _is_dir(entry):
            if entry.is_symlink() and not _within(Path(entry.path), homes):
                _once(found, seen, below, *_LEADS_OUT)
            else:
                _walk(Path(entry.path), below, more, homes, found, seen, depth)


_LEADS_OUT = (
    "It is a link that leads out of the folder in which files are looked for.",
    "Name the file or folder that it leads to.",
)


def _leaf(path: Path, name: str, homes: Iterable[Path], found: Listing) -> None:
    """One thing that was found: a file, a folder, or odd."""
    if fault := name_fault(name):
        found.odd.append(Odd(shown_name(name), fault, "Rename the file."))
        return
    try:
        mode = os.lstat(path).st_mode
        if stat.S_ISLNK(mode):
            homes = tuple(homes)
            if homes and not _within(path, homes):
                found.odd.append(Odd(name, *_LEADS_OUT))
                return
            mode = path.stat().st_mode
    except FileNotFoundError:
        if os.path.lexists(path):
            found.odd.append(
                Odd(name, "It is a link to a file that does not exist.", "Remove the link.")
            )
        return
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        found.odd.append(Odd(name, f"It cannot be looked at ({reason}).", "Check its path."))
        return
    if stat.S_ISREG(mode):
        found.files.append(name)
    elif stat.S_ISDIR(mode):
        found.folders.append(name)
    else:
        what = f"It is {paths.kind_words(mode)}, not a file; it was not opened."
        found.odd.append(Odd(name, what, "Leave it out."))


def _within(path: Path, homes: Iterable[Path]) -> bool:
    allowed = all(paths.is_inside(path, limit) for limit in paths.limits())
    return allowed and any(paths.is_inside(path, home) for home in homes)


def _entries(
    folder: Path, name: str, found: Listing, seen: set[str]
) -> Iterator[os.DirEntry[str]]:  # fmt: skip
    try:
        with os.scandir(folder) as entries:
            whole = sorted(entries, key=lambda e: e.name)
    except NotADirectoryError:
        return
    except FileNotFoundError:
        return
    except OSError as error:
        what = f"The folder is not readable ({error.strerror})."
        _once(found, seen, name or ".", what, "Check your rights.")
        return
    yield from whole


def _once(found: Listing, seen: set[str], name: str, what: str, remedy: str) -> None:
    """An odd thing, told once."""
    if name not in seen:
        seen.add(name)
        found.odd.append(Odd(shown_name(name), what, remedy))


def _joined(name: str, part: str) -> str:
    return f"{name}/{part}" if name and not name.endswith("/") else f"{name}{part}"


def _is_dir(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False
