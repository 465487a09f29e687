"""Ledgers changed behind Drypoint's back, backups, and paths that would destroy them."""

from __future__ import annotations

import random
import shutil
import sqlite3
from pathlib import Path

import pytest
from attacked import drypoint

ME = "A. Example (invented)"


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    """A ledger with a few entries, checkpointed into one file."""
    path = tmp_path / "ledger.sqlite"
    for n in range(4):
        said = drypoint("ledger", "remark", f"thing {n}", "µ text", "--who", ME, "--ledger", path)
        assert said.code == 0, said.text
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()
    return path


def _state(path: Path) -> str:
    said = drypoint("ledger", "check", "--ledger", path)
    assert said.code == 0, said.text
    return said.out.partition("State: ")[2].strip()


@pytest.mark.parametrize("end", ["", "-wal", "link", "hard link"])
def test_an_export_never_takes_the_place_of_the_ledger(ledger: Path, end: str) -> None:
    before = ledger.read_bytes()
    target = ledger.with_name(ledger.name + end) if end.startswith("-") else ledger
    if end == "link":
        target = ledger.with_name("link")
        target.symlink_to(ledger)
    elif end == "hard link":
        target = ledger.with_name("hard")
        target.hardlink_to(ledger)
    for command in ("export", "backup"):
        said = drypoint("ledger", command, target, "--ledger", ledger)
        assert said.code != 0 and "ledger itself" in said.text
    assert ledger.read_bytes() == before and _state(ledger).startswith("4:")


def test_backup_and_restore(ledger: Path, tmp_path: Path) -> None:
    state, copy = _state(ledger), tmp_path / "backup.jsonl"
    said = drypoint("ledger", "backup", copy, "--ledger", ledger)
    assert said.code == 0 and state in said.text and "compared" in said.text
    said = drypoint("ledger", "restore", copy, "--ledger", ledger)
    assert said.code != 0 and "--aside" in said.text and _state(ledger) == state
    ledger.write_bytes(b"not a database at all" * 100)
    said = drypoint("ledger", "restore", copy, "--aside", "--ledger", ledger)
    assert said.code == 0 and _state(ledger) == state
    (kept,) = tmp_path.glob("ledger.sqlite.before-restore-*")
    assert kept.read_bytes().startswith(b"not a database")


@pytest.mark.parametrize("damage", ["cut", "changed", "empty", "not text"])
def test_a_damaged_backup_changes_nothing(ledger: Path, tmp_path: Path, damage: str) -> None:
    copy = tmp_path / "backup.jsonl"
    assert drypoint("ledger", "backup", copy, "--ledger", ledger).code == 0
    data = copy.read_bytes()
    copy.write_bytes(
        {"cut": data[: len(data) // 2], "changed": data.replace(b"text", b"tExt", 1),
         "empty": b"", "not text": b"\xff\xfe" + data}[damage]
    )  # fmt: skip
    before = ledger.read_bytes()
    said = drypoint("ledger", "restore", copy, "--aside", "--ledger", ledger)
    assert said.code != 0
    assert ledger.read_bytes() == before and not list(tmp_path.glob("*.before-restore-*"))


@pytest.mark.parametrize("kind", ["trigger", "index"])
def test_what_guards_a_ledger_is_missed(ledger: Path, kind: str) -> None:
    connection = sqlite3.connect(ledger)
    query = "SELECT name FROM sqlite_master WHERE type = ? AND name LIKE 'drypoint%'"
    names = [row[0] for row in connection.execute(query, (kind,))]
    connection.execute(f"DROP {kind} {names[0]}")
    if kind == "trigger":  # one of the same name that does nothing
        connection.execute(
            f"CREATE TRIGGER {names[0]} BEFORE UPDATE ON drypoint_entries BEGIN SELECT 1; END"
        )
    connection.commit()
    connection.close()
    said = drypoint("ledger", "check", "--ledger", ledger)
    assert said.code == 1 and names[0] in said.text


_VALUES = [b"\xff\xfe", "", None, -1, 10**18, 1.5, "x" * 10, "[" * 5000, "{}", "[1]", "9" * 6000]
_COLUMNS = ["id", "kind", "form", "name", "when_utc", "who", "why", "corrects", "draft", "body",
            "body_sha256", "previous", "hash"]  # fmt: skip


def test_a_ledger_changed_by_hand_gives_plain_words(ledger: Path, tmp_path: Path) -> None:
    """Any value in any column, and flipped bytes: an exit code and words, never a traceback."""
    found = 0
    damaged = tmp_path / "damaged.sqlite"

    def look() -> None:
        for words in (("check",), ("list", "--all"), ("show", "3"), ("history", "thing 2")):
            drypoint("ledger", *words, "--ledger", damaged)

    for column in _COLUMNS:
        for value in _VALUES:
            for left in tmp_path.glob("damaged.sqlite*"):
                left.unlink()
            shutil.copyfile(ledger, damaged)
            connection = sqlite3.connect(damaged)
            connection.execute("DROP TRIGGER drypoint_entries_no_update")
            cast = "CAST(? AS TEXT)" if isinstance(value, bytes) else "?"
            try:
                connection.execute(
                    f"UPDATE drypoint_entries SET {column} = {cast} WHERE id = 3", (value,)
                )
                connection.commit()
            except sqlite3.Error:
                continue
            finally:
                connection.close()
            found += 1
            look()
            assert drypoint("ledger", "check", "--ledger", damaged).code != 0
    assert found > 100
    rng, data = random.Random(1), ledger.read_bytes()
    for _ in range(30):
        for left in tmp_path.glob("damaged.sqlite*"):
            left.unlink()
        flipped = bytearray(data)
        for _ in range(rng.choice((1, 5, 40))):
            flipped[rng.randrange(100, len(flipped))] = rng.randrange(256)
        damaged.write_bytes(flipped)
        look()
