"""Opening addresses: each is valid once and for a short time.

A program's arguments are visible to every user of the machine. The browser is therefore not
started with the address, but with a small file that only its owner can read and that leads there.
"""

from __future__ import annotations

import contextlib
import hashlib
import html
import os
import secrets
import stat
import sys
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from drypoint.errors import StoreError, Where
from drypoint.records.saved import home

#: Seconds for which an address in a file, and one that was printed, are valid.
FILE_S, PRINTED_S = 120.0, 900.0
#: Most addresses that are remembered, used ones included.
_MOST = 1000
_ENDING = ".open.html"
_PAGE = """<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="referrer" content="no-referrer">
<meta http-equiv="refresh" content="0; url={address}"><title>Drypoint workbench</title></head>
<body><p><a href="{address}">Open the workbench</a></p></body></html>
"""


@dataclass
class _Ticket:
    until: float
    used: bool = False
    path: Path | None = None


@dataclass
class Tickets:
    """The opening addresses of one workbench. Only hashes of the tokens are kept."""

    clock: Callable[[], float] = time.monotonic
    _known: dict[str, _Ticket] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def issue(
        self, token: str = "", *, valid_s: float = PRINTED_S, path: Path | None = None
    ) -> str:
        """A new token (or the given one), valid once within ``valid_s`` seconds.

        ``path`` is a file that contains it; it is removed when the token is used or expires.
        """
        token = token or secrets.token_urlsafe(24)
        with self._lock:
            self._known[_hash(token)] = _Ticket(self.clock() + valid_s, path=path)
            while len(self._known) > _MOST:
                self._remove(self._known.pop(next(iter(self._known))))
        return token

    def redeem(self, token: str) -> str:
        """Use a token up; why it does not open, or empty if it does."""
        with self._lock:
            found = self._known.get(_hash(token))
            if found is None:
                return "This opening address is not valid."
            if found.used:
                return "This opening address was used already; each opens once."
            self._remove(found)
            if self.clock() > found.until:
                return "This opening address has expired."
            found.used = True
            return ""

    def sweep(self) -> None:
        """Remove the files of tokens that have expired."""
        with self._lock:
            for ticket in self._known.values():
                if self.clock() > ticket.until:
                    self._remove(ticket)

    def close(self) -> None:
        """Make all tokens invalid and remove their files."""
        with self._lock:
            for ticket in self._known.values():
                self._remove(ticket)
            self._known.clear()

    @staticmethod
    def _remove(ticket: _Ticket) -> None:
        if ticket.path is not None:
            with contextlib.suppress(OSError):
                ticket.path.unlink()
        ticket.path = None


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


def opening_file(tickets: Tickets, address: str) -> Path:
    """A file that leads a browser to a new opening address below ``address``.

    The file has mode 0600 and lies in a folder of mode 0700 in the user's folder. On Windows the
    permissions of the user's profile apply. Files that killed workbenches left behind are removed.

    Raises
    ------
    StoreError
        When there is no such folder that only this user can read and write.
    """
    folder = home() / "opening"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        _check_private(folder)
        _clean(folder)
        path = folder / f"{secrets.token_hex(8)}{_ENDING}"
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except OSError as error:
        raise StoreError(
            f"The file that opens the browser cannot be written ({error.strerror}).",
            where=Where(str(folder)),
            remedy="Open the printed address.",
        ) from error
    token = tickets.issue(valid_s=FILE_S, path=path)
    with os.fdopen(fd, "w", encoding="utf-8") as file:
        file.write(_PAGE.format(address=html.escape(f"{address}/open?token={token}")))
    return path


def _check_private(folder: Path) -> None:
    """Give a folder of one's own mode 0700; refuse one of somebody else, or a link."""
    if sys.platform == "win32":
        return
    state = os.lstat(folder)
    if not stat.S_ISDIR(state.st_mode) or state.st_uid != os.geteuid():
        raise StoreError(
            "The folder for opening files belongs to another user, or is a link.",
            where=Where(str(folder)),
            remedy="Remove it, or open the printed address.",
        )
    if stat.S_IMODE(state.st_mode) & 0o077:
        folder.chmod(0o700)


def _clean(folder: Path) -> None:
    """Remove opening files older than any can be valid."""
    for path in folder.glob(f"*{_ENDING}"):
        with contextlib.suppress(OSError):
            if time.time() - path.lstat().st_mtime > FILE_S:
                path.unlink()
