"""A study as an entry of the ledger, and a tip's control chart from the ledger's readings."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from drypoint.calibration import Health, Point, tip_health
from drypoint.notices import of_invented
from drypoint.run.bench_dates import day_of
from drypoint.run.result import StudyResult
from drypoint.store.manifest import NAME, file_sha256
from drypoint.store.results import read_results

if TYPE_CHECKING:
    from drypoint.ledger import Ledger, SinceGood, StudyBody


def study_body(result: StudyResult, on: str) -> StudyBody:
    """The entry of a study that was run and whose results are on the disk.

    Parameters
    ----------
    result : StudyResult
    on : str
        When it was run (UTC).

    Raises
    ------
    StoreError
        When the results on the disk are missing, damaged, or of another recipe.
    """
    from drypoint.ledger import StudyBody, Used

    results = read_results(result.study.results)
    used = {}
    for g in result.groups:
        loaded = next(
            (b for b in result.study.benches.values() if b.exchanged.bench == g.bench), None
        )
        key = (g.tip, g.frame, loaded.sha256 if loaded is not None else None)
        used[key] = Used(tip=key[0], frame=key[1], calibration=key[2])
    days = sorted(d.isoformat() for t in result.batch.tests if (d := day_of(t)) is not None)
    p = result.provenance
    return StudyBody(
        name=result.study.name, recipe_sha256=p.recipe_hash,
        decisions_sha256=p.decisions_hash or None,
        results_sha256=file_sha256(results.folder / NAME), used=tuple(used.values()),
        version=p.version, on=on, measured_from=days[0] if days else None,
        measured_to=days[-1] if days else None,
    )  # fmt: skip


def health_of(ledger: Ledger, tip: str, *, depth: float | None = None) -> tuple[Health, SinceGood]:
    """Control charts of a tip's area from the ledger, and the studies to look at.

    ``depth`` is the contact depth (m) of the readings, where there are several. The studies are
    those since the last verification that passed before the tip was last surely unchanged.

    Raises
    ------
    LedgerError, CalibrationError
        When there are no readings, or too few.
    """
    r = ledger.health(tip, depth=depth)
    points = [
        Point(d, float(a), float(u)) for d, a, u in zip(r.days, r.area, r.u_area, strict=True)
    ]
    health = tip_health(points, what=f"area at {r.depth * 1e9:.4g} nm")
    invented = any(of_invented(e.why) for e in r.entries)
    since = ledger.studies_since_good(tip, before=health.doubtful_since)
    return replace(health, invented=invented), since
