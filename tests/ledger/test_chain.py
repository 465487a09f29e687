"""What was changed behind the ledger's back shows; a ledger moves whole from place to place."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from ledger_cases import WHO, WHY, bench, calibration, health, put
from own_postgres import Server

from drypoint.errors import LedgerError
from drypoint.ledger import KINDS, Draft, Head, Ledger, RemarkBody, TipBody
from drypoint.ledger.entry import body_text, sha256

VERSIONS = Path(__file__).parent / "versions"
Raw = Callable[..., None]
SHORT_LIVED = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None


def filled(ledger: Ledger) -> Ledger:
    """Seven entries, the last a correction of the fifth."""
    bench(ledger)
    put(ledger, calibration())
    ledger.accept(ledger.sign(5), "B. Person", "approval")
    ledger.accept(ledger.correct(5, calibration(valid_until="2027-01-01")), WHO, WHY)
    assert ledger.verify() == () == ledger.verify(ledger.head())
    return ledger


TAMPERING = [
    ("UPDATE drypoint_entries SET body = '{}' WHERE id = 2", 2, "content was changed"),
    ("UPDATE drypoint_entries SET who = 'X' WHERE id = 3", 3, "person, reason or hash"),
    ("UPDATE drypoint_entries SET why = 'X' WHERE id = 3", 3, "person, reason or hash"),
    ("UPDATE drypoint_entries SET when_utc = '2020' WHERE id = 3", 3, "name, time"),
    ("UPDATE drypoint_entries SET name = 'X' WHERE id = 3", 3, "kind, name"),
    ("UPDATE drypoint_entries SET corrects = 4 WHERE id = 7", 7, "reason or hash"),
    ("UPDATE drypoint_entries SET hash = previous WHERE id = 3", 4, "not follow from entry 3"),
    ("DELETE FROM drypoint_links WHERE entry = 2; DELETE FROM drypoint_entries WHERE id = 2",
     3, r"before it is missing \(entry 2\)"),
    ("UPDATE drypoint_links SET name = 'B2' WHERE entry = 5 AND role = 'tip'", 5, "its links"),
    ("INSERT INTO drypoint_links VALUES (1, 'tip', 'X')", 1, "its links"),
    ("UPDATE drypoint_ledger SET value = 'x' WHERE fact = 'identity'", 1, "beginning of this"),
]  # fmt: skip


def test_tampering_shows(server: Server, memory: Path, raw: Raw) -> None:
    """Every column in a file, and some on a server."""
    base = filled(Ledger.open(memory / "base.sqlite")).place.path
    assert base is not None
    for n, (statements, entry, words) in enumerate(TAMPERING):
        file = shutil.copy(base, memory / f"{n}.sqlite")
        ledgers = [Ledger.open(file)] + ([filled(Ledger.open(server.new()))] if n % 4 == 0 else [])
        for ledger in ledgers:
            raw(ledger, *statements.split("; "))
            found = [str(b) for b in ledger.verify() if b.id == entry]
            assert re.search(words, " ".join(found)), (statements, ledger.verify())


def _seen(ledger: Ledger, head: Head) -> list[str]:
    """What is seen besides the triggers that a test has dropped."""
    return [str(b) for b in ledger.verify(head) if "database lacks" not in b.what]


def test_a_clever_change_shows_in_what_was_kept(in_file: Ledger, raw: Raw) -> None:
    """Who makes all hashes anew, or cuts the end off, is betrayed by an earlier state."""
    ledger = filled(in_file)
    head = ledger.head()
    body = TipBody(name="B1", shape="cone")
    raw(
        ledger,
        "DELETE FROM drypoint_links WHERE entry = 7",
        "DELETE FROM drypoint_entries WHERE id = 7",
    )
    # All that is left to see here: the test has dropped the triggers.
    assert all("database lacks" in b.what for b in ledger.verify())
    assert _seen(ledger, head) == ["Entry 6: entries 7 to 7 were cut off."]
    ledger.accept(Draft(RemarkBody(about="B1", text="?")), WHO, WHY)
    (found,) = _seen(ledger, head)
    assert found.startswith("Entry 7") and "not the entry that stood here" in found
    assert ledger.verify(Head("other", 1, "")) != ()
    # A last entry that does not even agree with itself is not built upon.
    text = body_text(body).replace("'", "''")
    raw(ledger, f"UPDATE drypoint_entries SET body_sha256 = '{sha256(text)}' WHERE id = 7")
    with pytest.raises(LedgerError, match="last entry of the ledger, 7, was changed"):
        ledger.accept(Draft(RemarkBody(about="B1", text="?")), WHO, WHY)


def test_a_false_signature_shows(in_file: Ledger, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where the rest of the chain is right."""
    bench(in_file)
    draft = in_file.sign(1)
    forged = draft.body.model_copy(update={"sha256": "ab" * 32})
    monkeypatch.setattr("drypoint.ledger.book.check", lambda *_: None)
    in_file.accept(Draft(forged), WHO, WHY)
    assert [b.what for b in in_file.verify()] == ["the signed entry 1 is not as it was signed."]


def test_the_database_itself_refuses(ledger: Ledger) -> None:
    """Without taking its guards away, nothing can be changed by accident."""
    from sqlalchemy import create_engine
    from sqlalchemy.exc import DBAPIError

    filled(ledger)
    path = ledger.place.path
    engine = create_engine(f"sqlite:///{path}" if path else ledger.place.url)
    for table in ("drypoint_entries", "drypoint_links"):
        for statement in (f"DELETE FROM {table}", f"UPDATE {table} SET name = 'x'"):
            with (
                pytest.raises(DBAPIError, match="never changed or removed"),
                engine.begin() as connection,
            ):
                connection.exec_driver_sql(statement)
    engine.dispose()
    assert ledger.verify() == ()


def test_unreadable_content(in_file: Ledger, raw: Raw) -> None:
    """Plain words, and the way to more of them."""
    filled(in_file)
    raw(in_file, "UPDATE drypoint_entries SET body = '{' WHERE id = 2")
    with pytest.raises(LedgerError, match=r"entry 2 \(tip “B2”\) cannot be read.*ledger check"):
        in_file.entry(2)
    raw(in_file, "UPDATE drypoint_entries SET form = 9 WHERE id = 3")
    with pytest.raises(LedgerError, match=r"Entry 3 \(frame, form 9\) was written by a newer"):
        in_file.entries(after=2)


# ---- export and import --------------------------------------------------------------------------


def test_from_file_to_server_and_back(in_file: Ledger, server: Server, memory: Path) -> None:
    """To the bit; each may be added to, and the other follows."""
    filled(in_file)
    put(in_file, RemarkBody(about="B1", text="\u2028 “µm” \x1b \r\n 'a' \\ \U0001f52c e\u0301"))
    first, second, third = (memory / f"{n}.jsonl" for n in range(3))
    head = in_file.export_to(first)
    other = Ledger.open(server.new())
    assert other.import_from(first) == 8
    assert other.head() == head == in_file.head() and other.verify() == ()
    assert other.entries() == in_file.entries()
    other.export_to(second)
    assert first.read_bytes() == second.read_bytes()
    put(other, health("2026-03-01", 1e-12))
    other.export_to(third)
    assert in_file.import_from(third) == 1 and in_file.import_from(third) == 0
    assert in_file.import_from(first) == 0
    assert in_file.head() == other.head() and in_file.verify() == ()
    put(other, health("2026-04-01", 1e-12))
    put(in_file, health("2026-04-02", 1e-12))
    other.export_to(third)
    with pytest.raises(LedgerError, match="part at entry 10: both were added to"):
        in_file.import_from(third)
    assert len(in_file.entries()) == 10
    stranger = Ledger.open(memory / "stranger.sqlite")
    put(stranger, TipBody(name="B1", shape="cone"))
    with pytest.raises(LedgerError, match="of another ledger"):
        stranger.import_from(first)
    assert sorted(p.name for p in memory.iterdir() if "jsonl" in p.name) == [
        "0.jsonl", "1.jsonl", "2.jsonl",
    ]  # fmt: skip


BAD_LINES: list[tuple[Callable[[list[str]], list[str]], str]] = [
    (lambda rows: [], "line 1: The line is not a JSON object"),
    (lambda rows: ["{}", *rows[1:]], "line 1: It is no export"),
    (lambda rows: [rows[0].replace('ledger": 1', 'ledger": 2'), *rows[1:]], "of a newer Drypoint"),
    (lambda rows: rows[:-1], "not whole: it holds 6 of 7"),
    (lambda rows: [*rows[:-1], rows[-1][:50]], "line 8: The line is not a JSON object"),
    (lambda rows: [*rows[:3], *rows[4:]], r"line 4: Entry 4: what came before it is missing"),
    (lambda rows: [*rows[:3], rows[3].replace("B. P", "C. P").replace("A. P", "C. P"), *rows[4:]],
     "line 4: Entry 3: its kind, name, time"),
    (lambda rows: [*rows[:2], rows[2].replace("Berkovich", "cone"), *rows[3:]], "content was"),
    (lambda rows: [*rows[:2], rows[2].replace('"id": 2', '"id": "2"'), *rows[3:]], "is no entry"),
    (lambda rows: [*rows[:2], rows[2].replace('"id": 2', '"id": 2, "x": 1'), *rows[3:]],
     "line 3: The line is no entry"),
    (lambda rows: [rows[0].replace("a", "b"), *rows[1:]], "Allowed|no export|not follow|not whole"),
]  # fmt: skip


@pytest.mark.parametrize("change, words", BAD_LINES)
def test_damaged_export(
    tmp_path: Path, memory: Path, change: Callable[[list[str]], list[str]], words: str
) -> None:
    """Nothing of it is taken in, and the line is named."""
    good = tmp_path / "good.jsonl"
    filled(Ledger.open(memory / "a.sqlite")).export_to(good)
    bad = tmp_path / "bad.jsonl"
    rows = good.read_text(encoding="utf-8").rstrip("\n").split("\n")
    bad.write_text("".join(f"{r}\n" for r in change(rows)), encoding="utf-8")
    other = Ledger.open(memory / "b.sqlite")
    with pytest.raises(LedgerError, match=words):
        other.import_from(bad)
    assert other.entries() == ()


def test_no_export(in_file: Ledger, tmp_path: Path) -> None:
    with pytest.raises(LedgerError, match="cannot be read: No such file"):
        in_file.import_from(tmp_path / "none")
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(LedgerError, match="no export"):
        in_file.import_from(tmp_path / "binary")
    with pytest.raises(LedgerError, match="cannot be written"):
        in_file.export_to(tmp_path / "none" / "x.jsonl")


TEXTS = st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), min_size=1, max_size=20
).filter(str.strip)
NUMBERS = st.floats(min_value=0, exclude_min=True, allow_infinity=False, allow_nan=False)
BODIES = st.one_of(
    st.builds(RemarkBody, about=st.just("B1"), text=TEXTS),
    st.builds(
        KINDS["health"], tip=st.just("B1"), on=st.dates().map(str), depth_m=NUMBERS,
        area_m2=NUMBERS, u_area_m2=NUMBERS, tests=st.integers(1, 2**40), material=TEXTS,
    ),
    st.builds(
        KINDS["certificate"], of=st.just("tip"), item=st.just("B1"), quantity=TEXTS, U=NUMBERS,
        value=st.floats(allow_infinity=False, allow_nan=False), issued=st.dates().map(str),
    ),
)  # fmt: skip


@settings(max_examples=20, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(st.tuples(BODIES, st.sampled_from(["new", "correct", "withdraw"])), max_size=6))
def test_any_ledger_goes_round(steps: list[tuple[Any, str]]) -> None:
    """Whatever is entered, corrected and withdrawn: the chain holds and the copy is the same."""
    with tempfile.TemporaryDirectory(dir=SHORT_LIVED) as folder:
        ledger = Ledger.open(Path(folder) / "a.sqlite")
        drafts: list[Draft[Any]] = [Draft(TipBody(name="B1", shape="cone"))]
        for n, (body, step) in enumerate(steps, start=1):
            before = drafts[-1]
            if step == "new" or n == 1 or before.kind == "withdrawal":
                drafts.append(Draft(body))
            elif step == "withdraw":
                drafts.append(Draft(KINDS["withdrawal"](of="x"), n))
            else:
                drafts.append(Draft(before.body, n))
        entries = ledger.accept_all(drafts, WHO, WHY)
        assert [e.body for e in entries] == [d.body for d in drafts]
        assert ledger.entries() == entries and ledger.verify() == ()
        ledger.export_to(Path(folder) / "a.jsonl")
        copy = Ledger.open(Path(folder) / "b.sqlite")
        copy.import_from(Path(folder) / "a.jsonl")
        copy.export_to(Path(folder) / "b.jsonl")
        assert copy.entries() == entries and copy.verify() == ()
        one, other = (Path(folder) / f"{n}.jsonl" for n in "ab")
        assert one.read_bytes() == other.read_bytes()


# ---- versions ever written ----------------------------------------------------------------------


@pytest.mark.parametrize("path", sorted(VERSIONS.glob("*.jsonl")), ids=lambda p: p.name)
def test_old_export(path: Path, in_file: Ledger, tmp_path: Path) -> None:
    """Every kind of entry that was ever written is read, and goes out as it came."""
    count = in_file.import_from(path)
    assert in_file.verify() == () and {e.kind for e in in_file.entries()} <= set(KINDS)
    in_file.export_to(tmp_path / "again")
    assert (tmp_path / "again").read_bytes() == path.read_bytes()
    assert count == json.loads(path.read_text(encoding="utf-8").splitlines()[0])["entries"]


@pytest.mark.parametrize("path", sorted(VERSIONS.glob("*.sql")), ids=lambda p: p.name)
def test_old_database(path: Path, tmp_path: Path) -> None:
    """A file of an earlier version is brought up when it is opened."""
    with sqlite3.connect(tmp_path / "old.sqlite") as connection:
        connection.executescript(path.read_text(encoding="utf-8"))
    connection.close()
    ledger = Ledger.open(tmp_path / "old.sqlite")
    assert ledger.verify() == ()
    ledger.export_to(tmp_path / "now")
    assert (tmp_path / "now").read_bytes() == path.with_suffix(".jsonl").read_bytes()
    put(ledger, RemarkBody(about="x", text="goes on"))
