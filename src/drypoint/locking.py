"""One lock for files that several processes write: works on POSIX systems and on Windows."""

from __future__ import annotations

import contextlib
import os
import sys
import time
from collections.abc import Iterator
from pathlib import Path

#: On Windows a byte far behind the end of any file is locked, so that its text stays readable.
_FAR = 1 << 40


def _try_lock(fd: int, shared: bool) -> bool:
    """Take the lock if it is free."""
    if sys.platform == "win32":
        import msvcrt

        place = os.lseek(fd, 0, os.SEEK_CUR)
        try:
            os.lseek(fd, _FAR, os.SEEK_SET)
            msvcrt.locking(fd, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        finally:
            os.lseek(fd, place, os.SEEK_SET)
        return True
    import fcntl

    try:
        fcntl.flock(fd, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _unlock(fd: int) -> None:
    if sys.platform == "win32":
        import msvcrt

        os.lseek(fd, _FAR, os.SEEK_SET)
        msvcrt.locking(fd, msvcrt.LK_UNLCK, 1)
        return
    import fcntl

    fcntl.flock(fd, fcntl.LOCK_UN)


@contextlib.contextmanager
def locked(fd: int, *, shared: bool = False, wait_s: float = 30.0) -> Iterator[None]:
    """Hold a lock on an open file.

    Parameters
    ----------
    fd : int
        File descriptor of the open file.
    shared : bool
        Readers may share the lock (on Windows they take turns).
    wait_s : float
        How long to wait for others.

    Raises
    ------
    TimeoutError
        When another process keeps the lock longer than ``wait_s``.
    """
    until = time.monotonic() + wait_s
    while not _try_lock(fd, shared):
        if time.monotonic() >= until:
            raise TimeoutError
        time.sleep(0.005)
    try:
        yield
    finally:
        _unlock(fd)


@contextlib.contextmanager
def lock_file(path: Path, *, wait_s: float = 30.0) -> Iterator[None]:
    """Hold a lock file for what is no file itself, such as a folder. It is removed afterwards.

    A lock file that a killed process left behind is not locked any more, and does no harm.

    Raises
    ------
    TimeoutError
        When another process keeps the lock longer than ``wait_s``.
    """
    until = time.monotonic() + wait_s
    while True:
        fd = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        try:
            with locked(fd, wait_s=max(0.0, until - time.monotonic())):
                if not _same_file(fd, path):
                    continue
                try:
                    yield
                finally:
                    if sys.platform != "win32":
                        path.unlink(missing_ok=True)
                return
        finally:
            os.close(fd)
            if sys.platform == "win32":
                with contextlib.suppress(OSError):
                    path.unlink()


def _same_file(fd: int, path: Path) -> bool:
    """Whether the open file still stands at ``path`` (its last holder may have removed it)."""
    try:
        return os.path.samestat(os.fstat(fd), path.stat())
    except FileNotFoundError:
        return False
