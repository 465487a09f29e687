"""The database under a ledger: transactions that are whole or not at all, and plain words.

SQLite: write-ahead log, full synchronisation, one writer at a time (BEGIN IMMEDIATE), others wait.
PostgreSQL: one writer at a time by an advisory lock, which ends with its transaction.
"""

from __future__ import annotations

import contextlib
import sqlite3
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL
from sqlalchemy.exc import DBAPIError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from drypoint.errors import LedgerError
from drypoint.ledger.place import Place
from drypoint.ledger.rows import Rows
from drypoint.ledger.schema import bring_up, newest, schema_of

_WRITE = "drypoint_write"
#: Number of the advisory lock: “Drypoint” in ASCII, below 2^63.
_LOCK = int.from_bytes(b"Drypoint")


class Database:
    """One database. Each transaction has a connection of its own, so that forks do no harm."""

    def __init__(self, place: Place, wait_s: float) -> None:
        self.place = place
        self._wait_s = wait_s
        self._engine = self._sqlite(place.path) if place.path else self._server(place.url)

    def _sqlite(self, path: Path) -> Engine:
        url = URL.create("sqlite", database=str(path.absolute()))
        engine = create_engine(
            url,
            poolclass=NullPool,
            hide_parameters=True,
            connect_args={"timeout": self._wait_s, "check_same_thread": False},
        )

        @event.listens_for(engine, "connect")
        def _set_up(raw: Any, _: Any) -> None:
            raw.isolation_level = None  # transactions begin below, not when the driver thinks so
            raw.execute("PRAGMA foreign_keys = ON")
            raw.execute("PRAGMA synchronous = FULL")

        @event.listens_for(engine, "begin")
        def _begin(connection: Connection) -> None:
            write = connection.get_execution_options().get(_WRITE)
            connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

        return engine

    def _server(self, url: URL) -> Engine:
        wait = {} if "connect_timeout" in url.query else {"connect_timeout": 10}
        try:
            return create_engine(
                url,
                poolclass=NullPool,
                hide_parameters=True,
                connect_args={"application_name": "drypoint", **wait},
            )
        except ModuleNotFoundError as error:
            raise LedgerError(
                "A ledger on a PostgreSQL server needs psycopg, which is not installed.",
                remedy='Install it: pip install "drypoint[postgres]".',
            ) from error

    def prepare(self, create: bool) -> None:
        """Make sure that the tables of this version are there."""
        path = self.place.path
        if path is not None and not path.exists():
            if not create:
                raise self._none()
            with self._plain():
                path.parent.mkdir(parents=True, exist_ok=True)
        with self._transaction() as connection:
            found = schema_of(connection, self.place)
        if found == newest():
            return
        if found == 0 and not create:
            raise self._none()
        if path is not None:
            self._write_ahead()
        with self._transaction(write=True) as connection:
            bring_up(connection, self.place)

    def _none(self) -> LedgerError:
        return LedgerError(
            f"There is no ledger at {self.place}.",
            remedy="Check the place; the first entry that is accepted begins a ledger.",
        )

    def _write_ahead(self) -> None:
        """Switch a file to the write-ahead log, for ever. Others may be doing the same."""
        until = time.monotonic() + self._wait_s
        while True:
            try:
                with self._plain(), contextlib.closing(self._engine.raw_connection()) as raw:
                    raw.cursor().execute("PRAGMA journal_mode = WAL")
                return
            except LedgerError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.02)

    @contextlib.contextmanager
    def reading(self) -> Iterator[Rows]:
        """A transaction that sees one state of the ledger throughout."""
        with self._transaction() as connection:
            yield Rows(connection)

    @contextlib.contextmanager
    def writing(self) -> Iterator[Rows]:
        """A transaction that writes, alone. All of it is kept, or nothing."""
        with self._transaction(write=True) as connection:
            yield Rows(connection)

    @contextlib.contextmanager
    def _transaction(self, write: bool = False) -> Iterator[Connection]:
        server = self.place.path is None
        with self._plain(), self._engine.connect() as connection:
            connection = connection.execution_options(**{_WRITE: write})
            if server:
                level = "READ COMMITTED" if write else "REPEATABLE READ"
                connection = connection.execution_options(isolation_level=level)
            with connection.begin() as transaction:
                if server and write:
                    wait_ms = int(self._wait_s * 1000)
                    connection.exec_driver_sql(f"SET LOCAL lock_timeout = {wait_ms}")
                    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")
                yield connection
                if not write:
                    return
                try:
                    transaction.commit()
                except DBAPIError as error:
                    if error.connection_invalidated:
                        raise self._unknown(error) from error
                    raise

    def _unknown(self, error: DBAPIError) -> LedgerError:
        return LedgerError(
            f"The connection to {self.place} broke at the end of writing; whether the entry "
            f"stands in the ledger is not known ({self._detail(error)}).",
            remedy="Accept the same draft again: it enters once only.",
        )

    @contextlib.contextmanager
    def _plain(self) -> Iterator[None]:
        """What the database says, in our words."""
        try:
            yield
        except (DBAPIError, OSError, sqlite3.Error) as error:
            raise self._words(error) from error
        except UnicodeDecodeError as error:
            raise self._damaged("it has text that is not UTF-8") from error
        except SQLAlchemyError as error:
            raise LedgerError(
                f"The ledger {self.place} cannot be used: {self.place.scrub(str(error))}."
            ) from error

    def _detail(self, error: Exception) -> str:
        text = str(getattr(error, "orig", None) or getattr(error, "strerror", None) or error)
        lines = text.strip().splitlines()
        return self.place.scrub(lines[0]).rstrip(".") if lines else type(error).__name__

    def _words(self, error: Exception) -> LedgerError:
        detail = self._detail(error)
        low = detail.lower()
        if self.place.path is None:
            return self._server_words(error, detail)
        if "locked" in low or "busy" in low:
            return self._busy()
        if "not a database" in low:
            what, remedy = "is no ledger", "Choose another file."
        elif "decode" in low:
            return self._damaged("it has text that is not UTF-8")
        elif "malformed" in low or "corrupt" in low:
            return self._damaged(detail)
        elif "readonly" in low or "read-only" in low:
            what, remedy = "may only be read", "Ask for the right to write there."
        elif "full" in low:
            what, remedy = "cannot be written: the disk is full", "Make room and try again."
        else:
            what = f"cannot be opened or written ({detail})"
            remedy = "Check the path, your rights and the room on the disk."
        return LedgerError(f"The ledger {self.place} {what}.", remedy=remedy)

    def _damaged(self, detail: str) -> LedgerError:
        return LedgerError(
            f"The ledger {self.place} is damaged: {detail}.",
            remedy="Restore it from a backup: drypoint ledger restore.",
        )

    def _server_words(self, error: Exception, detail: str) -> LedgerError:
        state = getattr(getattr(error, "orig", None), "sqlstate", None)
        if state == "55P03":
            return self._busy()
        if state == "42501":
            return LedgerError(
                f"This user may not do that in the ledger {self.place} ({detail}).",
                remedy="Ask who runs the server for the rights to create or to write its tables.",
            )
        broken = isinstance(error, DBAPIError) and error.connection_invalidated
        if state is None or broken or state[:2] in ("08", "28", "3D", "57"):
            return LedgerError(
                f"The ledger {self.place} cannot be reached: {detail}.",
                remedy="Check name, port, user and password, and whether the server runs. Nothing "
                "was written.",
            )
        return LedgerError(
            f"The server of the ledger {self.place} refused: {detail}.",
            remedy="Nothing was written. Ask who runs the server.",
        )

    def _busy(self) -> LedgerError:
        return LedgerError(
            f"Another program has been writing to the ledger {self.place} for more than "
            f"{self._wait_s:g} s.",
            remedy="Wait and try again; nothing was written.",
        )
