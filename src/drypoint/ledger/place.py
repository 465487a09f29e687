"""Where a ledger lies: a file (SQLite), or a PostgreSQL server by URL. Passwords are not shown."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import platformdirs

from drypoint.errors import LedgerError

#: Names the ledger for all commands: a file or a URL.
VARIABLE = "DRYPOINT_LEDGER"
_SERVERS = ("postgresql", "postgres", "postgresql+psycopg")
_FORMS = "Give a file, or a URL such as postgresql://user@server/database."


@dataclass(frozen=True)
class Place:
    """``path`` of the file, or ``url`` of the server; ``secrets`` are never to be shown."""

    path: Path | None
    shown: str
    url: Any = field(default=None, repr=False)
    secrets: tuple[str, ...] = field(default=(), repr=False)

    def __str__(self) -> str:
        return self.shown

    def scrub(self, text: str) -> str:
        """A message of the database without what is secret."""
        for secret in self.secrets:
            text = text.replace(secret, "***")
        return text


def default_path() -> Path:
    """The ledger of this user: in the folder where the system keeps programs' data."""
    return platformdirs.user_data_path("drypoint", appauthor=False) / "ledger.sqlite"


def find_place(where: str | Path | None = None) -> Place:
    """The place that is given, else that of ``DRYPOINT_LEDGER``, else the user's own.

    Raises
    ------
    LedgerError
        When it is neither a file nor the URL of a PostgreSQL database.
    """
    if where is None:
        where = os.environ.get(VARIABLE, "").strip() or default_path()
    if isinstance(where, Path) or "://" not in where:
        return _file(Path(where))
    scheme = where.partition("://")[0].lower()
    if scheme == "sqlite":
        rest = where[len("sqlite://") :]
        return _file(Path(rest[1:] if rest.startswith("/") else rest))
    if scheme not in _SERVERS:
        raise LedgerError(f"A ledger cannot lie in “{scheme}”.", remedy=_FORMS)
    return _server(where)


def _file(path: Path) -> Place:
    path = path.expanduser()
    return Place(path, str(path))


def _server(text: str) -> Place:
    from sqlalchemy.engine import make_url
    from sqlalchemy.exc import ArgumentError

    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        url = None
    if url is None or "@" in (url.host or "") + (url.database or ""):
        raise LedgerError(
            "The URL of the ledger cannot be understood (it is not shown, as it may hold a "
            "password).",
            remedy=f"{_FORMS} Write @ : / ? # in a password as %40 %3A %2F %3F %23, or keep the "
            "password in the server's password file.",
        )
    query = dict(url.query)
    secrets = [str(s) for s in (url.password, query.get("password"), query.get("sslpassword")) if s]
    host = url.host or query.get("host") or "localhost"
    user = f"{url.username}@" if url.username else ""
    port = f":{url.port}" if url.port else ""
    shown = f"postgresql://{user}{host}{port}/{url.database or ''}"
    return Place(None, shown, url.set(drivername="postgresql+psycopg"), tuple(secrets))
