"""A report as files: page, PDF, figures."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from drypoint.notices import INVENTED_FILE
from drypoint.report.content import gather
from drypoint.report.drawn import svg_of
from drypoint.report.folder import folder_of
from drypoint.report.html import write_html
from drypoint.report.pdf import write_pdf
from drypoint.report.signed import study_in
from drypoint.run.belongs import check_owner
from drypoint.run.progress import Watch
from drypoint.run.result import StudyResult
from drypoint.store.atomic import atomic_write


def write_figures(result: StudyResult, folder: Path | str, *, png: bool = True) -> tuple[Path, ...]:
    """Write every figure of the report as SVG (and PNG), with its words in ``figures.txt``.

    Parameters
    ----------
    result : StudyResult
    folder : Path or str
        Made where it is missing; other files in it are left alone.
    png : bool
        Whether each figure is written as PNG too.

    Returns
    -------
    tuple of Path
        The files written.
    """
    place = Path(folder)
    written = []
    words = [f"{INVENTED_FILE}\n"] if result.invented else []
    for picture in gather(result).pictures:
        stem = re.sub(r"[^A-Za-z0-9._-]+", "_", picture.name)
        target = folder_of(place / f"{stem}.svg")
        atomic_write(target, svg_of(picture).encode("utf-8"))
        written.append(target)
        if png:
            image = place / f"{stem}.png"
            atomic_write(image, picture.png())
            written.append(image)
        words.append(f"{stem}\n  {picture.caption}\n  {picture.alt}\n")
    text = folder_of(place / "figures.txt")
    atomic_write(text, "\n".join(words).encode("utf-8"))
    return (*written, text)


def write_report(
    result: StudyResult,
    folder: Path | str | None = None,
    *,
    html: bool = True,
    pdf: bool = True,
    figures: bool = True,
    watch: Watch | None = None,
) -> Path:
    """Write ``report.html``, ``report.pdf`` and the folder ``figures``.

    Parameters
    ----------
    result : StudyResult
    folder : Path or str, optional
        By default the one that the recipe names.
    html, pdf, figures : bool
        What is wanted.
    watch : Watch, optional
        Sees progress and may stop the work.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    ReportError, StoreError
        When it cannot be made or written, or the folder holds the report of another study.
    """
    watch = watch or Watch()
    place = Path(folder) if folder is not None else result.study.reports
    check_owner(result.study, study_in(place / "report.html"), place, "report", "report_folder")
    steps: list[tuple[bool, str, Callable[[], object]]] = [
        (html, "page", lambda: write_html(result, place / "report.html")),
        (pdf, "PDF", lambda: write_pdf(result, place / "report.pdf")),
        (figures, "figures", lambda: write_figures(result, place / "figures")),
    ]
    wanted = [(name, work) for on, name, work in steps if on]
    for i, (name, work) in enumerate(wanted):
        watch.at("writing", i, len(wanted), name)
        work()
    watch.at("writing", len(wanted), len(wanted))
    return place
