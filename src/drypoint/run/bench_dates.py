"""Were calibrations and certificates in force when the tests were made? Remarks, never silence."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from drypoint.recipe import Study
from drypoint.recipe.benches import certificate
from drypoint.records.batch import TestInfo
from drypoint.run.joining import Reading


def day_of(info: TestInfo) -> date | None:
    """The day of a test as its file or the recipe says; ``None`` where it is not a plain one."""
    text = info.declared.get("date", "")[:10]
    try:
        return date.fromisoformat(text)
    except ValueError:
        return None


def date_notes(study: Study, parts: tuple[Reading, ...]) -> list[str]:
    """Sentences on what was past its date, or not yet made, on the days of the tests."""
    days: dict[int, list[date]] = {}
    undated: dict[int, int] = {}
    for p in parts:
        for t in p.batch.tests:
            day = day_of(t)
            if day is None:
                undated[p.table] = undated.get(p.table, 0) + 1
            else:
                days.setdefault(p.table, []).append(day)
    notes = [*_benches(study, days, undated), *_certificates(study, days)]
    if study.file.calibration is not None:
        notes.append(
            "This study describes a calibration, and was run as any other study, with the tip and "
            "frame that it states. To calibrate: drypoint calibrate."
        )
    return notes


def _benches(study: Study, days: dict[int, list[date]], undated: dict[int, int]) -> Iterator[str]:
    tables = range(len(study.file.records))
    for name, bench in study.benches.items():
        mine = [i for i in tables if study.loaded_bench_of(i) is bench]
        said = bench.exchanged.provenance
        if not said.get("accepted_by"):
            yield (
                f"The calibration of bench {name} ({bench.file}) is a proposal that nobody has "
                "accepted: drypoint calibrate … --accept --who NAME."
            )
        if said.get("accepted_despite"):
            yield (
                f"The calibration of bench {name} was accepted in spite of serious findings: "
                f"{said['accepted_despite']}."
            )
        until = said.get("valid_until", "")
        late = [d for i in mine for d in days.get(i, []) if until and d > date.fromisoformat(until)]
        if late:
            yield (
                f"{len(late)} tests on bench {name} were made after its calibration ended "
                f"({until}), the last on {max(late).isoformat()}. Calibrate again, or verify it on "
                "a block."
            )
        made = said.get("day", "")
        early = [d for i in mine for d in days.get(i, []) if made and d < date.fromisoformat(made)]
        if early:
            yield (
                f"{len(early)} tests on bench {name} were made before the day of its calibration "
                f"({made}), the first on {min(early).isoformat()}. Check that the tip was the same."
            )
        missing = sum(undated.get(i, 0) for i in mine)
        if until and missing:
            yield (
                f"{missing} tests on bench {name} have no day that can be read; whether its "
                f"calibration (until {until}) was in force is not known."
            )


def _certificates(study: Study, days: dict[int, list[date]]) -> Iterator[str]:
    for keys in study.file.certificates:
        c = certificate(keys)
        used = [
            d
            for i in days
            if study.loaded_bench_of(i) is None
            and keys.of in (study.bench_of(i).tip.name, study.bench_of(i).frame.name)
            for d in days[i]
        ]
        late = [d for d in used if c.valid_until is not None and d > c.valid_until]
        early = [d for d in used if d < c.issued]
        which = f"The certificate of the {c.kind} of {keys.of} ({c.number or 'without number'})"
        if late and c.valid_until is not None:
            yield (
                f"{which} ended on {c.valid_until.isoformat()}; {len(late)} tests are later, the "
                f"last of {max(late).isoformat()}."
            )
        if early:
            yield (
                f"{which} was issued on {c.issued.isoformat()}; {len(early)} tests are earlier, "
                f"the first of {min(early).isoformat()}."
            )
