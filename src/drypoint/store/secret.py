"""The secret of a user, by which what Drypoint has kept is known again as its own.

It lies in the user's folder (never in a study folder) with mode 0600, and is made when it is first
needed. It proves that whoever wrote a cache entry could read this file; it proves nothing to
anybody else, and no signature depends on it.
"""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
import sys
from pathlib import Path

from drypoint.records.saved import home

NAME = "cache-secret"
#: Names another file of the secret, for example one that several accounts of a person share.
VARIABLE = "DRYPOINT_SECRET"
_BYTES = 32


def secret_file() -> Path:
    """Where the secret lies: in the user's folder, or where ``DRYPOINT_SECRET`` says."""
    given = os.environ.get(VARIABLE, "").strip()
    return Path(given) if given else home() / NAME


def user_secret(make: bool = True) -> bytes | None:
    """The secret of this user, made where there is none (unless ``make`` is false).

    Returns
    -------
    bytes or None
        ``None`` where the user's folder cannot be read or written, or where others can read the
        file; nothing is then taken from a cache.
    """
    path = secret_file()
    with contextlib.suppress(OSError):
        if make:
            path.parent.mkdir(parents=True, exist_ok=True)
            with contextlib.suppress(FileExistsError):
                _make(path)
        return _read(path)
    return None


def _make(path: Path) -> None:
    """Write a new secret under another name, then link it: two programs get the same one."""
    if path.exists():
        return
    partial = path.with_name(f".{NAME}.{secrets.token_hex(8)}")
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
    with os.fdopen(os.open(partial, flags, 0o600), "wb") as file:
        file.write(secrets.token_bytes(_BYTES))
        file.flush()
        os.fsync(file.fileno())
    try:
        os.link(partial, path)
    except FileExistsError:
        pass
    except OSError:  # a file system without links
        if not path.exists():
            partial.replace(path)
    finally:
        partial.unlink(missing_ok=True)


def _read(path: Path) -> bytes | None:
    with path.open("rb") as file:
        state = os.fstat(file.fileno())
        if sys.platform != "win32" and (
            stat.S_IMODE(state.st_mode) & 0o077 or state.st_uid != os.geteuid()
        ):
            return None
        data = file.read(_BYTES + 1)
    return data if len(data) == _BYTES else None
