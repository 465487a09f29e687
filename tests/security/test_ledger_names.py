"""Names of persons in every kind of ledger entry, through the command line. Invented data.

Mixed scripts and look-alikes as in UTS 39 of Unicode; equal names as in NFKC and case folding.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from attacked import drypoint

ALICE = "Alice Example"
#: The first letter is Cyrillic; digits and letters that look alike; ligature; wholly Cyrillic.
MIXED = "\u0410lice Example"
ALIKE = ["A1ice Example", "AIice Example", "Alice Exarnple"]
SAME = ["alice  example", "\uff21lice Example", "ALICE EXAMPLE"]


@pytest.fixture
def book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A ledger with one remark by a person."""
    place = tmp_path / "ledger.sqlite"
    monkeypatch.setenv("DRYPOINT_LEDGER", str(place))
    from drypoint.ledger import Ledger, RemarkBody

    ledger = Ledger.open(place)
    ledger.accept(ledger.propose(RemarkBody(about="B1", text="first")), ALICE, "remark")
    return place


def entries(place: Path) -> list[dict[str, object]]:
    """All entries as an export holds them."""
    out = place.with_name("out.jsonl")
    assert drypoint("ledger", "export", out, "--ledger", place).code == 0
    lines = [json.loads(x) for x in out.read_text(encoding="utf-8").splitlines()]
    return [x for x in lines if "who" in x]


@pytest.mark.parametrize("name", [MIXED, *ALIKE])
def test_remark_signature_and_study_entry(book: Path, study: Path, name: str) -> None:
    before = entries(book)
    for words in (
        ("ledger", "remark", "1", "text", "--who", name),
        ("ledger", "sign", "1", "--who", name),
        ("ledger", "add-study", study, "--who", name, "--why", "kept"),
    ):
        said = drypoint(*words)
        assert said.code == 2 and "invalid name" in said.text, (words, said.text)
    assert entries(book) == before


@pytest.mark.parametrize("name", SAME)
def test_the_same_person_otherwise_written_is_no_obstacle(book: Path, name: str) -> None:
    said = drypoint("ledger", "remark", "1", "text", "--who", name)
    assert said.code == 0, said.text


@pytest.mark.parametrize("name", ["Алиса Пример", "山田 太郎", "Ἀλίκη", "O'Hara-Żółć"])
def test_any_one_script_is_allowed(book: Path, name: str) -> None:
    assert drypoint("ledger", "remark", "1", "text", "--who", name).code == 0


def test_calibration_and_verification(book: Path, tmp_path: Path) -> None:
    assert drypoint("demo", tmp_path / "demo", "--seed", 5).code == 0
    bench = tmp_path / "demo" / "bench" / "bench.toml"
    before = entries(book)
    files = {p.name for p in (tmp_path / "demo").rglob("*.toml")}
    for name, more in ((MIXED, ("--no-ledger",)), (MIXED, ()), (ALIKE[0], ())):
        said = drypoint("calibrate", bench, "--accept", "--who", name, "--why", "x", *more)
        assert said.code == 2 and "invalid name" in said.text, said.text
        assert {p.name for p in (tmp_path / "demo").rglob("*.toml")} <= files | {"proposal.toml"}
    assert entries(book) == before


def test_ledgers_with_such_names_open_and_export_and_are_noted(
    book: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from drypoint.ledger import Ledger, RemarkBody
    from drypoint.ledger import book as module

    with monkeypatch.context() as earlier:  # what an earlier version wrote
        earlier.setattr(module, "check_persons", lambda *_: None)
        ledger = Ledger.open(book)
        for name in (MIXED, ALIKE[0]):
            ledger.accept(ledger.propose(RemarkBody(about="B1", text="old")), name, "remark")
    for words in (("list",), ("check",), ("show", "2"), ("history", "B1")):
        said = drypoint("ledger", *words)
        assert said.code == 0, said.text
    assert {e["who"] for e in entries(book)} == {ALICE, MIXED, ALIKE[0]}
    backup = tmp_path / "backup.jsonl"
    assert drypoint("ledger", "backup", backup).code == 0
    for words in (("import", backup), ("restore", backup)):
        said = drypoint("ledger", *words, "--ledger", tmp_path / f"{words[0]}.sqlite")
        assert said.code == 0 and said.text.count("Note: invalid name") == 2, said.text
    assert drypoint("ledger", "remark", "1", "text", "--who", ALICE).code == 0
    assert drypoint("ledger", "remark", "1", "text", "--who", MIXED).code == 2
