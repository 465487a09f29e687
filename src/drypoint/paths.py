"""Which files are opened: whether a path lies inside a folder, and regular files only.

The command line reads what its user names, with the user's rights. The workbench reads only inside
the folder that it serves: :func:`confined` holds for one request, :func:`confine` for a process.
Every file that a study or a request names is opened with :func:`open_file`, which checks this
before a byte is read.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import stat
from collections.abc import Callable, Iterator
from contextvars import ContextVar, copy_context
from pathlib import Path
from typing import Any

from drypoint.errors import PathError, Where

_REQUEST: ContextVar[Path | None] = ContextVar("folder that files are read from", default=None)
_process: list[Path] = []
_gate: list[Callable[[Path, str, int], None]] = []

#: Kinds of what is not a regular file.
_KINDS: tuple[tuple[Callable[[int], bool], str], ...] = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)
#: Opened so that a pipe does not wait for its other end, and no link is followed.
_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_BINARY", 0)
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_NOCTTY", 0)
)


def real(path: Path | str) -> Path:
    """A path with all links resolved, as far as it exists."""
    return Path(os.path.realpath(path))


def is_inside(path: Path | str, folder: Path | str) -> bool:
    """Whether a path lies inside a folder, or is that folder, after links are resolved.

    A path that cannot be resolved (too long, a zero byte) is not inside.
    """
    try:
        return real(path).is_relative_to(real(folder))
    except (OSError, ValueError):
        return False


def inside(folder: Path, name: str, *, what: str = "path", key: str | None = None) -> Path:
    """The path of a name (with ``/`` or ``\\``) inside a folder.

    Raises
    ------
    PathError
        When it leads out of the folder, directly or by a link.
    """
    path = folder / name.replace("\\", "/")
    if not is_inside(path, folder):
        raise PathError(
            f"Invalid {what}: got “{name}”, which leads out of {folder.name or 'the'} folder; "
            f"expected a path inside it.",
            where=Where(key=key),
            remedy="Links count as the place that they lead to.",
        )
    return path


def confine(folder: Path | None) -> None:
    """Let this process open only files inside a folder; ``None`` lifts that."""
    _process[:] = [] if folder is None else [real(folder)]


def before_opening(look: Callable[[Path, str, int], None] | None) -> None:
    """Call ``look`` with path, shown name and size of each file that this process opens, before a
    byte is read; what it raises is raised. ``None`` lifts that."""
    _gate[:] = [] if look is None else [look]


@contextlib.contextmanager
def confined(folder: Path) -> Iterator[None]:
    """Let this thread (or task) open only files inside a folder while the block runs."""
    token = _REQUEST.set(real(folder))
    try:
        yield
    finally:
        _REQUEST.reset(token)


def here(work: Callable[..., Any]) -> Callable[..., Any]:
    """``work`` for another thread, under the limit of this one."""
    context = copy_context()
    return lambda *given: context.run(work, *given)


def limits() -> list[Path]:
    """Folders that every file must lie inside; none on the command line."""
    mine = _REQUEST.get()
    return [*_process, *([mine] if mine is not None else [])]


def check_allowed(path: Path | str, shown: str = "") -> None:
    """Refuse a path outside the served folder. Nothing at the path is looked at before.

    Raises
    ------
    PathError
    """
    if not all(is_inside(path, folder) for folder in limits()):
        raise PathError(
            "The path leads out of the folder that the workbench serves; nothing was read.",
            where=Where(shown or str(path)),
            remedy="Put the file inside that folder, or serve a folder that holds both.",
        )


def is_file(path: Path, shown: str = "") -> bool:
    """Whether there is a regular file, links followed.

    Raises
    ------
    PathError
        When the path is outside the served folder.
    """
    check_allowed(path, shown)
    try:
        return stat.S_ISREG(path.stat().st_mode)
    except (OSError, ValueError):
        return False


def kind_words(mode: int) -> str:
    """What something is that is not a regular file."""
    return next((words for fits, words in _KINDS if fits(mode)), "not a regular file")


def open_file(path: Path, shown: str = "") -> io.BufferedReader:
    """A regular file, open for reading. Pipes, devices and folders are refused unopened.

    Raises
    ------
    PathError
        When the path is outside the served folder, or not that of a regular file.
    OSError
        As for :func:`open`.
    """
    check_allowed(path, shown)
    try:
        whole = real(path)
        before = os.lstat(whole)
    except ValueError as error:
        raise PathError(f"Invalid path: {error}.", where=Where(shown or repr(str(path)))) from error
    if not stat.S_ISREG(before.st_mode):
        raise _not_regular(before.st_mode, shown or str(path))
    for look in _gate:
        look(whole, shown, before.st_size)
    fd = os.open(whole, _FLAGS)
    try:
        after = os.fstat(fd)
        # Whoever put a link in the way between the look and the opening gains nothing.
        same = (before.st_dev, before.st_ino) == (after.st_dev, after.st_ino)
        if not same or not stat.S_ISREG(after.st_mode) or real(whole) != whole:
            raise PathError(
                "The file was replaced while it was opened; it was not read.",
                where=Where(shown or str(path)),
                remedy="Try again when nothing else writes there.",
            )
        return os.fdopen(fd, "rb")
    except BaseException:
        os.close(fd)
        raise


def _not_regular(mode: int, shown: str) -> PathError:
    return PathError(
        f"Invalid file: got {kind_words(mode)}; expected a regular file.",
        where=Where(shown),
        remedy="Give the path of a file that you may read.",
    )


def read_bytes(path: Path, shown: str = "", most: int = -1) -> bytes:
    """The bytes of a regular file, at most ``most`` of them; see :func:`open_file`."""
    with open_file(path, shown) as file:
        return file.read(most)


def sha256_of(path: Path, shown: str = "") -> str:
    """SHA-256 of a regular file.

    Raises
    ------
    PathError
        When it cannot be read, or is outside the served folder.
    """
    try:
        with open_file(path, shown) as file:
            return hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as error:
        raise unreadable(path, shown or str(path), error) from error


def unreadable(path: Path, shown: str, error: OSError) -> PathError:
    """The words for a file that the system does not open."""
    if isinstance(error, FileNotFoundError):
        return PathError(
            "There is no such file.", where=Where(shown), remedy="Check the path in the recipe."
        )
    kind = "a folder, not a file" if path.is_dir() else f"not readable ({error.strerror})"
    return PathError(
        f"It is {kind}.", where=Where(shown), remedy="Give the path of a file that you may read."
    )
