"""Questions to a ledger that holds a year of an invented bench."""

from __future__ import annotations

import numpy as np
import pytest
from ledger_cases import WHO, WHY, bench, calibration, health, put, study, verification

from drypoint.errors import LedgerError
from drypoint.ledger import CertificateBody, Ledger, MountingBody, TipBody


def names(entries: object) -> list[str]:
    return [e.name for e in entries]  # type: ignore[attr-defined]


def test_tip_in_use(in_file: Ledger) -> None:
    """By the last mounting, calibration or verification, whichever order they were entered in."""
    bench(in_file)
    put(
        in_file,
        MountingBody(frame="F", tip="B2", on="2026-03-01T09:00:00Z"),
        MountingBody(frame="F", tip="B1", on="2026-01-05"),
        calibration(on="2026-06-01"),
        MountingBody(frame="F", tip=None, on="2026-08-01"),
    )
    found = {
        at: None if (u := in_file.tip_in_use("F", at)) is None else u.tip
        for at in (
            "2026-01-05", "2026-02-28", "2026-03-01T08:59:59Z", "2026-03-01T09:00:00Z",
            "2026-03-01", "2026-06-01", "2026-08-01",
        )
    }  # fmt: skip
    assert list(found.values()) == ["B1", "B1", "B1", "B2", "B2", "B1", None]
    assert in_file.tip_in_use("F", "2026-01-04") is None
    last = in_file.tip_in_use("F", "2026-12-31")
    assert last is not None and last.by.id == 8  # known to be empty, which is not: not known
    in_file.accept(in_file.withdraw(8), WHO, WHY)
    again = in_file.tip_in_use("F", "2026-12-31")
    assert again is not None and again.tip == "B1"


def test_calibration_in_force_and_past_date(in_file: Ledger) -> None:
    """Only the newest of each thing is asked for its date; corrections count."""
    bench(in_file)
    certificate = {"of": "frame", "item": "F", "quantity": "force scale", "value": 1.0, "U": 0.01}
    put(
        in_file,
        calibration(1, on="2025-01-10", valid_until="2026-01-10"),
        calibration(2, on="2026-01-09", valid_until="2027-01-09"),
        calibration(3, on="2026-02-01", tip="B2"),
        CertificateBody(**certificate, issued="2025-01-01", valid_until="2026-01-01"),
    )
    force = in_file.calibration_in_force
    assert force("B1", "F", "2025-01-09") is None
    assert [getattr(force("B1", "F", d), "id", 0) for d in ("2025-01-10", "2026-01-09")] == [5, 6]
    assert [(p.entry.id, p.days) for p in in_file.past_date("2026-01-01")] == []
    assert [(p.entry.id, p.days) for p in in_file.past_date("2026-01-05")] == [(8, 4)]
    assert [(p.entry.id, p.days) for p in in_file.past_date("2027-01-11")] == [(6, 2), (8, 375)]
    later = in_file.correct(
        8, CertificateBody(**certificate, issued="2025-01-01", valid_until="2027-02-01")
    )
    in_file.accept(later, WHO, "misread")
    assert [(p.entry.id, p.days) for p in in_file.past_date("2027-01-11")] == [(6, 2)]


def test_studies_since_the_last_good_verification(ledger: Ledger) -> None:
    """Good is what passed, indirectly; studies count by their last measurement."""
    bench(ledger)
    put(
        ledger,
        study("before", "2026-01-05"),
        study("run late", "2026-05-01", measured_from="2026-01-02", measured_to="2026-01-06"),
        study("same day", "2026-02-01"),
        study("across", "2026-02-20", measured_from="2026-01-28", measured_to="2026-02-03"),
        study("after", "2026-03-01"),
        study("other tip", "2026-03-02", tip="B2"),
        study("other frame", "2026-03-03", frame="G"),
        study("typed twice", "2026-03-04"),
    )
    ledger.accept(ledger.withdraw(12), WHO, WHY)
    every = ledger.studies_since_good("B1")
    assert every.good is None and every.bad == ()
    assert names(every.studies) == [
        "before", "same day", "across", "after", "other frame", "run late",
    ]  # fmt: skip
    put(
        ledger,
        verification("2026-02-01"),
        verification("2026-03-10", "fail"),
        verification("2026-03-11", "undecided"),
        verification("2026-03-12", tip="B2"),
    )
    since = ledger.studies_since_good("B1", frame="F")
    assert since.good is not None and since.good.body.on == "2026-02-01"
    assert [v.body.on for v in since.bad] == ["2026-03-10", "2026-03-11"]
    assert names(since.studies) == ["same day", "across", "after"]
    assert names(ledger.studies_since_good("B1").studies)[-1] == "other frame"
    back = ledger.studies_since_good("B1", before="2026-02-01")
    assert back.good is None and len(back.studies) == 6
    # A verification that was entered with the wrong verdict.
    ledger.accept(ledger.correct(since.good.id, verification("2026-02-01", "fail")), WHO, WHY)
    assert ledger.studies_since_good("B1").good is None


def test_studies_to_the_minute(in_file: Ledger) -> None:
    bench(in_file)
    put(
        in_file,
        verification("2026-02-01T12:00:00Z"),
        study("morning", "2026-02-01T09:00:00Z"),
        study("afternoon", "2026-02-01T15:00:00Z"),
        study("that day", "2026-02-01"),
        study("next day in the far east", "2026-01-31"),
    )
    found = names(in_file.studies_since_good("B1").studies)
    assert sorted(found) == ["afternoon", "that day"]


def test_health_for_a_control_chart(in_file: Ledger) -> None:
    """Readings in order of time at one depth; they go on the chart as they are."""
    from drypoint.calibration.health import Point, tip_health

    bench(in_file)
    rng = np.random.default_rng(1)
    area = 1e-12 * (1 + 0.002 * rng.standard_normal(12))
    area[8:] *= 1.06
    days = [f"2026-{m:02d}-03" for m in range(1, 13)]
    order = rng.permutation(12)
    put(in_file, *(health(days[i], float(area[i])) for i in order), health(days[0], 1.0, tip="B2"))
    found = in_file.health("B1")
    assert [d.isoformat() for d in found.days] == days and len(found) == 12
    assert np.array_equal(found.area, area) and np.all(found.u_area == 1e-15)
    points = [
        Point(d, a * 1e18, u * 1e18)
        for d, a, u in zip(found.days, found.area, found.u_area, strict=True)
    ]
    chart = tip_health(points)
    assert chart.state == "changed" and chart.between is not None
    assert [d.isoformat() for d in chart.between] == ["2026-08-03", "2026-09-03"]
    assert len(in_file.health("B1", since="2026-09-03")) == 4
    put(in_file, health("2026-12-05", 4e-12, depth=500e-9))
    with pytest.raises(LedgerError, match="several depths: 200 nm, 500 nm"):
        in_file.health("B1")
    assert len(in_file.health("B1", depth=5e-7)) == 1
    with pytest.raises(LedgerError, match=r"no reading of tip “B1” at 300 nm.*200 nm, 500 nm"):
        in_file.health("B1", depth=300e-9)
    with pytest.raises(LedgerError, match="no reading of tip “B7”"):
        in_file.health("B7")


def test_blocks(in_file: Ledger) -> None:
    """A block is good while one of its certificates is."""
    bench(in_file)
    assert [(b.name, good) for b, good in in_file.blocks("2026-01-01")] == [("glass", False)]
    put(
        in_file,
        CertificateBody(
            of="block", item="glass", quantity="E_IT", value=72e9, U=1e9, issued="2026-01-01",
            valid_until="2028-01-01",
        ),
    )  # fmt: skip
    assert [good for d in ("2025-12-31", "2026-01-01", "2028-01-01", "2028-01-02")
            for _, good in in_file.blocks(d)] == [False, True, True, False]  # fmt: skip


def test_choosing(in_file: Ledger) -> None:
    bench(in_file)
    assert names(in_file.current(TipBody)) == ["B1", "B2"]
    assert names(in_file.current(TipBody, tip="B2")) == ["B2"]
    with pytest.raises(LedgerError, match="No tip “F”"):
        in_file.named(TipBody, "F")
    assert [e.id for e in in_file.entries(after=2)] == [3, 4]
