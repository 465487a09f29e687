"""The tables, and how an older ledger becomes one of today.

Three tables: entries (the truth), links (an index of them, made from their bodies), and a few
facts about the ledger itself. The database refuses to change or remove an entry.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable

from sqlalchemy import (
    BigInteger,
    Column,
    Connection,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    Table,
    Text,
    inspect,
    select,
    update,
)
from sqlalchemy.schema import CreateIndex, CreateTable

from drypoint.errors import LedgerError
from drypoint.ledger.place import Place

_NUMBER = BigInteger().with_variant(Integer(), "sqlite")
_META = MetaData()

FACTS = Table(
    "drypoint_ledger",
    _META,
    Column("fact", Text, primary_key=True),
    Column("value", Text, nullable=False),
)

ENTRIES = Table(
    "drypoint_entries",
    _META,
    Column("id", _NUMBER, primary_key=True, autoincrement=False),
    Column("kind", Text, nullable=False),
    Column("form", Integer, nullable=False),
    Column("name", Text, nullable=False),
    Column("when_utc", Text, nullable=False, key="when"),
    Column("who", Text, nullable=False),
    Column("why", Text, nullable=False),
    Column("corrects", _NUMBER, ForeignKey("drypoint_entries.id"), unique=True),
    Column("draft", Text, nullable=False, unique=True, key="key"),
    Column("body", Text, nullable=False),
    Column("body_sha256", Text, nullable=False),
    Column("previous", Text, nullable=False),
    Column("hash", Text, nullable=False),
)

LINKS = Table(
    "drypoint_links",
    _META,
    Column("entry", _NUMBER, ForeignKey("drypoint_entries.id"), primary_key=True),
    Column("role", Text, primary_key=True),
    Column("name", Text, primary_key=True),
)

INDEXES = (
    Index("drypoint_entries_name", ENTRIES.c.kind, ENTRIES.c.name),
    Index("drypoint_links_name", LINKS.c.role, LINKS.c.name),
)

_REFUSAL = "entries of a ledger are never changed or removed"


def _first(connection: Connection) -> None:
    """Schema 1."""
    for made in (FACTS, ENTRIES, LINKS):
        connection.execute(CreateTable(made))
    for index in INDEXES:
        connection.execute(CreateIndex(index))
    for table in (ENTRIES.name, LINKS.name):
        for statement in _guards(table, connection.dialect.name):
            connection.exec_driver_sql(statement)
    connection.execute(FACTS.insert(), {"fact": "schema", "value": "0"})
    connection.execute(FACTS.insert(), {"fact": "identity", "value": str(uuid.uuid4())})


def _guards(table: str, dialect: str) -> list[str]:
    """What makes a database refuse to change or remove the rows of a table."""
    if dialect == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{what.lower()} BEFORE {what} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{_REFUSAL}'); END"
            for what in ("UPDATE", "DELETE")
        ]
    return [
        "CREATE OR REPLACE FUNCTION drypoint_refuse() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN RAISE EXCEPTION '{_REFUSAL}'; END $$",
        f"CREATE TRIGGER {table}_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION drypoint_refuse()",
    ]


def missing_guards(connection: Connection) -> list[str]:
    """Triggers and indexes of the newest schema that a database lacks, or that were replaced."""
    names = {index.name for index in INDEXES}
    if connection.dialect.name == "sqlite":
        due = {s.split()[2]: s for t in (ENTRIES.name, LINKS.name) for s in _guards(t, "sqlite")}
        rows = connection.exec_driver_sql("SELECT name, sql FROM sqlite_master").all()
        here = {str(name): str(sql) for name, sql in rows}
        wrong = [f"trigger {n}" for n, sql in due.items() if here.get(n) != sql]
        return wrong + [f"index {n}" for n in sorted(map(str, names)) if n not in here]
    triggers = connection.exec_driver_sql(
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
    ).scalars()
    enabled = set(map(str, triggers))
    out = [f"trigger {t}_kept" for t in (ENTRIES.name, LINKS.name) if f"{t}_kept" not in enabled]
    indexes = connection.exec_driver_sql("SELECT indexname FROM pg_indexes").scalars()
    have = set(map(str, indexes))
    return out + [f"index {n}" for n in sorted(map(str, names)) if n not in have]


#: Step n makes schema n of schema n - 1. A step that has been released is never changed.
STEPS: dict[int, Callable[[Connection], None]] = {1: _first}


def newest() -> int:
    """The schema that this version writes."""
    return max(STEPS)


def schema_of(connection: Connection, place: Place) -> int:
    """The schema of a database, 0 where it holds no ledger.

    Raises
    ------
    LedgerError
        When it holds something else, or a ledger of a newer Drypoint.
    """
    look = inspect(connection)
    if not look.has_table(FACTS.name):
        if connection.dialect.name == "sqlite" and look.get_table_names():
            raise LedgerError(
                f"{place} is a database of something else, not a ledger.",
                remedy="Choose another file.",
            )
        return 0
    query = select(FACTS.c.value).where(FACTS.c.fact == "schema")
    said = connection.execute(query).scalar_one_or_none()
    if said is None or not str(said).isdecimal():
        raise LedgerError(
            f"The ledger {place} is damaged: it does not say which schema it has.",
            remedy="Restore it from a backup: drypoint ledger restore.",
        )
    found = int(str(said))
    if found > newest():
        raise LedgerError(
            f"The ledger {place} has schema {found}; this version knows up to {newest()}.",
            remedy="Use the newer Drypoint that wrote it; the ledger is as it was.",
        )
    return found


def bring_up(connection: Connection, place: Place) -> None:
    """Create the tables, or bring those of an older version up, inside the transaction."""
    for step in range(schema_of(connection, place) + 1, newest() + 1):
        STEPS[step](connection)
        here = FACTS.c.fact == "schema"
        connection.execute(update(FACTS).where(here).values(value=str(step)))
