"""The report of a calibration: area function and frame, what identified them, and the verdict."""

from __future__ import annotations

import weakref
from datetime import date
from pathlib import Path

from drypoint.report.calibration_checks import direct, indirect, noise
from drypoint.report.calibration_found import identified, references, residuals, tip_and_frame
from drypoint.report.calibration_record import bench_cautions, choices, records, sources_of
from drypoint.report.calibration_verdict import (
    ANSWER_NOTE,
    answers,
    findings,
    front_pairs,
    notices,
    verdict,
)
from drypoint.report.calibration_words import keys_of
from drypoint.report.cautions import INVENTED, STATEMENT
from drypoint.report.folder import folder_of
from drypoint.report.html import render_html
from drypoint.report.model import Content
from drypoint.report.pdf import render_pdf
from drypoint.run.bench_result import Acceptance, BenchResult
from drypoint.store.atomic import atomic_write


def gather_calibration(
    result: BenchResult, *, accepted: Acceptance | None = None, issued: str = ""
) -> Content:
    """Everything that the report of a calibration says, with its figures.

    Parameters
    ----------
    result : BenchResult
    accepted : Acceptance, optional
        Who accepted the calibration and why; without it the report says that nobody has.
    issued : str
        Date of issue as it is to be printed; left out where empty. The clock is never asked.

    Returns
    -------
    Content
        The last one is kept as long as its result lives: page and PDF are drawn once.
    """
    kept = _LAST.get("content")
    if kept is not None and kept[0]() is result and kept[1:3] == (accepted, issued):
        return kept[3]
    content = _gather(result, accepted, issued)
    _LAST["content"] = (weakref.ref(result), accepted, issued, content)
    return content


_LAST: dict[str, tuple[weakref.ref[BenchResult], Acceptance | None, str, Content]] = {}


def _gather(result: BenchResult, accepted: Acceptance | None, issued: str) -> Content:
    about, keys = result.study.file.study, keys_of(result)
    sections = (
        verdict(result, accepted),
        findings(result),
        identified(result),
        tip_and_frame(result),
        references(result),
        residuals(result),
        noise(result),
        direct(result),
        indirect(result),
        records(result),
        choices(result),
        sources_of(result),
        bench_cautions(),
    )
    day = date.fromisoformat(keys.day)
    return Content(
        title=f"Calibration {keys.name}",
        report_number=about.report_number,
        question=about.question or "May the bench be used?",
        invented=INVENTED if about.invented else "",
        front=front_pairs(result, accepted, issued),
        answers=answers(result),
        answer_note=ANSWER_NOTE,
        statement=STATEMENT,
        sections=sections,
        version=result.provenance.version,
        day=(day.year, day.month, day.day),
        kind="Report of a calibration of tip and frame",
        notices=notices(result),
    )


def write_calibration_html(
    result: BenchResult,
    path: Path | str,
    *,
    accepted: Acceptance | None = None,
    issued: str = "",
) -> Path:
    """Write the report of a calibration as one HTML file that works offline.

    Parameters are those of :func:`gather_calibration`; the folder of ``path`` is made where it is
    missing, and the earlier file stays until the new one is whole.

    Raises
    ------
    ReportError
        When the report cannot be made.
    StoreError
        When the file cannot be written.
    """
    target = folder_of(path)
    page = render_html(gather_calibration(result, accepted=accepted, issued=issued))
    atomic_write(target, page.encode("utf-8"))
    return target


def write_calibration_pdf(
    result: BenchResult,
    path: Path | str,
    *,
    accepted: Acceptance | None = None,
    issued: str = "",
) -> Path:
    """Write the report of a calibration as PDF; otherwise as :func:`write_calibration_html`."""
    target = folder_of(path)
    atomic_write(target, render_pdf(gather_calibration(result, accepted=accepted, issued=issued)))
    return target
