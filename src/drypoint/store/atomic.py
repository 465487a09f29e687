"""Files that are there whole or not at all, whatever happens while they are written."""

from __future__ import annotations

import contextlib
import hashlib
import os
import platform
import re
import secrets
import sys
import time
from collections.abc import Callable
from pathlib import Path

from drypoint.errors import StoreError, Where

_LEFTOVER = re.compile(r"^\.(?P<name>.+)\.(?P<tag>[0-9a-f]+-\d+-[0-9a-f]+)\.tmp$")
_DAY_S = 86400.0


def atomic_write(path: Path, data: bytes, *, durable: bool = True) -> None:
    """Write a file so that a kill at any moment leaves the earlier file, or the new one.

    The bytes go to a temporary file in the same folder, to the disk, and then take the place of
    ``path``. What killed runs left behind beside ``path`` is removed. Without ``durable`` the
    disk is not waited for: a file may then be damaged when the power fails.

    Raises
    ------
    StoreError
        When the file cannot be written.
    """
    path = Path(path)
    clean_leftovers(path)
    temporary = path.with_name(f".{path.name}.{new_tag()}.tmp")
    try:
        with temporary.open("xb") as file:
            file.write(data)
            file.flush()
            if durable:
                os.fsync(file.fileno())
        patiently(lambda: temporary.replace(path))
    except OSError as error:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise cannot_write(path, error) from error
    if durable:
        sync_folder(path.parent)


def patiently(step: Callable[[], object]) -> None:
    """Do a step that may fail for a moment on Windows, where virus scanners open new files."""
    for wait_s in (0.05, 0.2, 0.5) if sys.platform == "win32" else ():
        try:
            step()
            return
        except PermissionError:
            time.sleep(wait_s)
    step()


def new_tag() -> str:
    """A new name part that says which process on which machine makes a temporary file."""
    return f"{_machine()}-{os.getpid()}-{secrets.token_hex(4)}"


def is_left(tag: str, path: Path) -> bool:
    """Whether the maker of a temporary file is gone. Those of other machines count for a day."""
    machine, pid, _ = tag.split("-")
    if machine == _machine():
        return not is_running(int(pid))
    with contextlib.suppress(OSError):
        return time.time() - path.stat().st_mtime > _DAY_S
    return False


def _machine() -> str:
    return hashlib.sha256(platform.node().encode("utf-8")).hexdigest()[:6]


def clean_leftovers(path: Path) -> None:
    """Remove temporary files of ``path`` whose writer is no longer running."""
    for found in path.parent.glob(f".{_escape(path.name)}.*.tmp"):
        match = _LEFTOVER.match(found.name)
        if match and match["name"] == path.name and is_left(match["tag"], found):
            with contextlib.suppress(OSError):
                found.unlink()


def is_running(pid: int) -> bool:
    """Whether a process with this number runs on this machine (true where that is unknown)."""
    if sys.platform == "win32":
        return _is_running_windows(pid)
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _is_running_windows(pid: int) -> bool:  # pragma: no cover - other system
    if sys.platform == "win32":
        import ctypes

        handle = ctypes.windll.kernel32.OpenProcess(0x1000, False, pid)
        if not handle:
            return False
        code = ctypes.c_ulong()
        ctypes.windll.kernel32.GetExitCodeProcess(handle, ctypes.byref(code))
        ctypes.windll.kernel32.CloseHandle(handle)
        return code.value == 259
    return True


def sync_folder(folder: Path) -> None:
    """Bring the names in a folder to the disk (not needed, and not possible, on Windows)."""
    if sys.platform == "win32":
        return
    with contextlib.suppress(OSError):
        fd = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)


def cannot_write(path: Path, error: OSError) -> StoreError:
    """The words for a file or folder that cannot be written."""
    return StoreError(
        f"It cannot be written: {error.strerror or error}.",
        where=Where(str(path)),
        remedy="Close programs that have it open, and check that the disk has room and that you "
        "may write there.",
    )


def _escape(name: str) -> str:
    return re.sub(r"([*?[])", r"[\1]", name)
