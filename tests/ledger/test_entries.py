"""Entries, drafts and corrections: what goes in, what is refused, what holds afterwards."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from ledger_cases import HASH, WHO, WHY, bench, calibration, put, study, verification

from drypoint.errors import LedgerError
from drypoint.ledger import (
    CalibrationBody,
    CertificateBody,
    FrameBody,
    HealthBody,
    Ledger,
    MountingBody,
    RemarkBody,
    SignatureBody,
    StudyBody,
    TipBody,
    VerificationBody,
)
from drypoint.ledger.fields import may_follow, moment_of

STUDY = study("s", "2026-01-01").model_dump()


def test_nothing_is_written_until_accepted(in_file: Ledger) -> None:
    """A draft leaves no trace; an accepted one says who, when and why, and enters once."""
    in_file._clock = lambda: datetime(2026, 3, 1, 13, 0, 0, 9, timezone(timedelta(hours=1)))
    draft = in_file.propose(TipBody(name="B1", shape="modified Berkovich"))
    assert (draft.kind, draft.name) == ("tip", "B1")
    assert in_file.entries() == () and in_file.head().id == 0
    entry = in_file.accept(draft, WHO, "new tip")
    assert (entry.id, entry.when, entry.who, entry.why) == (
        1, "2026-03-01T12:00:00Z", WHO, "new tip",
    )  # fmt: skip
    assert in_file.named(TipBody, "B1") == entry == in_file.entry(1)
    assert in_file.accept(draft, WHO, "new tip") == entry
    with pytest.raises(LedgerError, match="in the ledger already: entry 1"):
        in_file.accept(draft, "Somebody Else", "new tip")
    assert len(in_file.entries()) == 1


@pytest.mark.parametrize("who, why", [("", "x"), (" ", "x"), ("A", ""), ("A\nB", "x"), ("A", "\0")])
def test_every_entry_says_who_and_why(in_file: Ledger, who: str, why: str) -> None:
    draft = in_file.propose(TipBody(name="B1", shape="cone"))
    with pytest.raises(LedgerError, match="It is not clear wh"):
        in_file.accept(draft, who, why)
    assert in_file.entries() == ()


def test_all_or_none(ledger: Ledger) -> None:
    """A later draft may need an earlier one; a wrong one takes all others back."""
    good = [TipBody(name="B1", shape="cone"), FrameBody(name="F"), calibration()]
    with pytest.raises(LedgerError, match="No tip “B9”"):
        put(ledger, *good, calibration(2, tip="B9"))
    assert ledger.entries() == ()
    assert [e.id for e in put(ledger, *good)] == [1, 2, 3]


def test_a_correction_is_a_new_entry(ledger: Ledger) -> None:
    """It takes the place of the old one, which stays; only the last of a line can be corrected."""
    bench(ledger)
    ledger.accept(ledger.propose(calibration()), WHO, WHY)
    better = calibration(valid_until="2027-01-10")
    new = ledger.accept(ledger.correct(5, better), "B. Person", "date was left out")
    assert (new.id, new.corrects) == (6, 5)
    assert ledger.current(CalibrationBody) == (new,)
    assert [e.id for e in ledger.versions(5)] == [5, 6] == [e.id for e in ledger.versions(6)]
    assert ledger.entry(5).body == calibration()
    with pytest.raises(LedgerError, match="already corrected, by entry 6"):
        ledger.correct(5, better)
    with pytest.raises(LedgerError, match="a tip cannot take its place"):
        ledger.correct(6, TipBody(name="B3", shape="cone"))
    with pytest.raises(LedgerError, match="cannot become “B3”"):
        ledger.correct(1, TipBody(name="B3", shape="cone"))
    with pytest.raises(LedgerError, match="has no entry 77; its last is 6"):
        ledger.correct(77, better)


def test_two_correct_the_same(ledger: Ledger) -> None:
    """The slower one is told when it accepts."""
    bench(ledger)
    one = ledger.correct(1, TipBody(name="B1", shape="Berkovich", note="one"))
    two = ledger.correct(1, TipBody(name="B1", shape="Berkovich", note="two"))
    ledger.accept(two, "B. Person", WHY)
    with pytest.raises(LedgerError, match=r"already corrected, by entry 5 \(B\. Person"):
        ledger.accept(one, WHO, WHY)
    assert ledger.named(TipBody, "B1").body.note == "two"


def test_withdrawn_and_brought_back(in_file: Ledger) -> None:
    """A withdrawn thing is there no more, and nothing new may name it."""
    bench(in_file)
    gone = in_file.accept(in_file.withdraw(1), WHO, "typed twice")
    assert [e.name for e in in_file.current(TipBody)] == ["B2"]
    with pytest.raises(LedgerError, match=r"No tip “B1”.*Is “B2” meant"):
        in_file.propose(calibration())
    with pytest.raises(LedgerError, match="is a withdrawal already"):
        in_file.withdraw(gone.id)
    with pytest.raises(LedgerError, match="a frame cannot take its place"):
        in_file.correct(gone.id, FrameBody(name="B1"))
    back = in_file.accept(in_file.correct(gone.id, TipBody(name="B1", shape="cone")), WHO, WHY)
    assert in_file.named(TipBody, "B1") == back
    assert [e.kind for e in in_file.versions(1)] == ["tip", "withdrawal", "tip"]


def test_names_stand_for_one_thing(in_file: Ledger) -> None:
    """Also when the same name is written with other code points."""
    bench(in_file)
    in_file.accept(in_file.propose(TipBody(name="Bö", shape="cone")), WHO, WHY)
    with pytest.raises(LedgerError, match="There is a tip “Bö” already: entry 5"):
        in_file.propose(TipBody(name="Bo\u0308", shape="cone"))
    in_file.propose(FrameBody(name="B1"))  # a frame may be called like a tip
    in_file.accept(in_file.propose(calibration()), WHO, WHY)
    with pytest.raises(LedgerError, match="in the ledger already: entry 6"):
        in_file.propose(calibration(on="2026-02-02"))


def test_what_an_entry_needs(in_file: Ledger) -> None:
    """Things must be entered before they are named; a study may name what the lab never entered."""
    bench(in_file)
    put(in_file, calibration())
    found = in_file.current(CalibrationBody)[0].body
    good = {"how": "direct", "on": "2026-02-01", "verdict": "pass", "frame": "F"}
    in_file.propose(VerificationBody(**good, calibration=found.sha256))
    in_file.propose(study("any", "2026-02-01", tip="ideal", frame="none"))
    for body, words in [
        (VerificationBody(**good, calibration=HASH), "No calibration with the SHA-256 abab"),
        (MountingBody(frame="G", tip="B1", on="2026-01-01"), "No frame “G”.*the mounting names"),
        (HealthBody(tip="X", on="2026-01-01", depth_m=1.0, area_m2=1.0), "the health reading nam"),
        (RemarkBody(about="B1", entry=99, text="?"), "no entry 99"),
        (SignatureBody(entry=1, sha256=HASH, subject="B1"), "not of entry 1 as it stands"),
        (CertificateBody(of="block", item="steel", quantity="H_IT", value=1.0, U=0.1,
                         issued="2026-01-01"), "No block “steel”"),
    ]:  # fmt: skip
        with pytest.raises(LedgerError, match=words):
            in_file.propose(body)


@pytest.mark.parametrize(
    "make, words",
    [
        (lambda: TipBody(name="", shape="cone"), "key name: A tip cannot be entered: it is empty"),
        (lambda: TipBody(name=" B", shape="cone"), "without blanks at its ends"),
        (lambda: TipBody(name="B\tC", shape="cone"), "tabs or line breaks"),
        (lambda: TipBody(name="B", shape=3), "valid string"),  # type: ignore[arg-type]
        (lambda: TipBody(name="B"), "key shape: .*the key is missing"),  # type: ignore[call-arg]
        (lambda: TipBody(name="B", shape="cone", radius=1), "no such key.*shape, serial"),  # type: ignore[call-arg]
        (lambda: TipBody(name="B", shape="\ud800"), "no file can hold"),
        (lambda: TipBody(name="B", shape="a\0b"), "character NUL"),
        (lambda: calibration(on="2026-02-30"), "a date such as"),
        (lambda: calibration(on="2026-02-03T12:00:00"), "a time in UTC such as"),
        (lambda: calibration(on=datetime(2026, 1, 1)), "the time has no zone"),  # type: ignore[arg-type]
        (lambda: calibration(valid_until="2026-01-09"), "dates in order"),
        (lambda: calibration(sha256=HASH), "does not have this SHA-256"),
        (lambda: CalibrationBody(tip="B", frame="F", on="2026-01-01", text="x"), "is no TOML"),  # type: ignore[call-arg]
        (lambda: verification("2026-01-01", "good"), "is given: input should be .pass"),
        (lambda: VerificationBody(how="indirect", on="2026-01-01", verdict="pass", tip="B"),
         "allowed: tip, frame and block"),
        (lambda: VerificationBody(how="direct", on="2026-01-01", verdict="pass"), "not what was"),
        (lambda: HealthBody(tip="B", on="2026-01-01", depth_m=0.0, area_m2=1.0), "greater than 0"),
        (lambda: HealthBody(tip="B", on="2026-01-01", depth_m=1.0, area_m2=float("nan")), "finite"),
        (lambda: HealthBody(tip="B", on="2026-01-01", depth_m=1.0, area_m2=True), "valid number"),
        (lambda: study("s", "2026-01-01", measured_from="2026-01-01"), "only one end"),
        (lambda: StudyBody(**STUDY | {"used": ()}), "which tip was used"),
        (lambda: StudyBody(**STUDY | {"recipe_sha256": "AB" * 32}), "64 characters"),
    ],
)  # fmt: skip
def test_what_no_entry_may_say(make, words: str) -> None:  # type: ignore[no-untyped-def]
    """The key, what is wrong, and what is allowed."""
    with pytest.raises((LedgerError, TypeError), match=f"(?i){words}"):
        make()


def test_signatures(in_file: Ledger) -> None:
    """Who signed what; a signature stays with the entry as it was, and cannot be altered."""
    bench(in_file)
    put(in_file, calibration(), study("glass", "2026-01-12"))
    in_file.accept(in_file.sign(5, remark="looked at residuals"), "B. Person", "approval")
    results = SignatureBody(sha256=HASH, subject="results of glass", meaning="released")
    in_file.accept(in_file.propose(results), "C. Person", "release")
    both = in_file.signatures()
    assert [(s.signature.who, s.entry.id if s.entry else None, s.holds) for s in both] == [
        ("B. Person", 5, True),
        ("C. Person", None, True),
    ]
    assert in_file.signatures(who="B. Person") == both[:1] == in_file.signatures(entry=5)
    assert in_file.signatures(sha256=HASH) == both[1:]
    stale = in_file.sign(5)
    in_file.accept(in_file.correct(5, calibration(valid_until="2027-01-01")), WHO, WHY)
    assert [s.holds for s in in_file.signatures(entry=9)] == [False]
    with pytest.raises(LedgerError, match="holds no more: entry 9"):
        in_file.accept(stale, WHO, WHY)
    with pytest.raises(LedgerError, match="signature cannot be corrected"):
        in_file.correct(7, results)
    with pytest.raises(LedgerError, match=r"only B\. Person can take that back"):
        in_file.accept(in_file.withdraw(7), WHO, WHY)
    in_file.accept(in_file.withdraw(7), "B. Person", "wrong file")
    assert [s.signature.who for s in in_file.signatures()] == ["C. Person"]


def test_history(ledger: Ledger) -> None:
    """All about a thing: itself, what names it, and what was said and signed about any of that."""
    bench(ledger)
    put(ledger, calibration(), calibration(2, tip="B2"), study("s", "2026-01-12"))
    ledger.accept(ledger.sign(5), "B. Person", "approval")
    put(ledger, RemarkBody(about="B1", text="fell down"), RemarkBody(about="x", text="other"))
    ledger.accept(ledger.correct(5, calibration(3)), WHO, WHY)
    assert [e.id for e in ledger.history("B1")] == [1, 5, 7, 8, 9, 11]
    assert [e.id for e in ledger.history("B2")] == [2, 6]
    assert [e.id for e in ledger.history(calibration(2).sha256)] == [6]  # type: ignore[attr-defined]
    assert ledger.history("nobody") == ()


def test_moments() -> None:
    """Dates, times with a zone; a date next to a time may mean that day in any zone."""
    assert moment_of(date(2026, 1, 31)) == "2026-01-31"
    assert moment_of(datetime(2026, 1, 31, 12, tzinfo=UTC)) == "2026-01-31T12:00:00Z"
    assert may_follow("2026-01-31", "2026-01-31")
    assert not may_follow("2026-01-30", "2026-01-31")
    assert not may_follow("2026-01-31T11:59:59Z", "2026-01-31T12:00:00Z")
    assert may_follow("2026-01-30T11:00:00Z", "2026-01-31")  # the 31st in the far east
    assert not may_follow("2026-01-30T09:00:00Z", "2026-01-31")
    assert may_follow("2026-01-30", "2026-01-31T11:00:00Z")  # still the 30th in the far west
    assert not may_follow("2026-01-30", "2026-01-31T13:00:00Z")
    with pytest.raises(ValueError, match="allowed: a date"):
        moment_of("yesterday")
