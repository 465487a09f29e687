"""A report as files: page, PDF, figures."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from drypoint import paths
from drypoint.notices import INVENTED_FILE
from drypoint.report.content import gather
from drypoint.report.drawn import svg_of
from drypoint.report.folder import folder_of
from drypoint.report.html import html_bytes
from drypoint.report.pdf import render_pdf
from drypoint.report.signed import study_in
from drypoint.run.belongs import check_owner
from drypoint.run.progress import Watch
from drypoint.run.result import StudyResult
from drypoint.run.signing import standing_of
from drypoint.store.atomic import atomic_write
from drypoint.store.manifest import file_sha256


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


def _pdf(result: StudyResult, place: Path, page: bytes | None) -> bytes:
    """The PDF; of a version that was signed, the very file that was signed.

    The typesetter orders some lists inside a PDF anew each time, so that a second one of the same
    report would not be the same to the byte.
    """
    standing = standing_of(result)
    for s in reversed(standing.mine):
        signed_page, kept = (result.study.folder / s.file(n) for n in ("report.html", "report.pdf"))
        whole = kept.is_file() and file_sha256(kept) == s.files[s.file(kept.name)]
        if not whole or not signed_page.is_file():
            continue
        now = page if page is not None else html_bytes(result, standing)
        if signed_page.read_bytes() == now:
            return kept.read_bytes()
    return render_pdf(gather(result))


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
    if figures:
        paths.inside(place, "figures", what="folder of the figures")
    check_owner(result.study, study_in(place / "report.html"), place, "report", "report_folder")
    page = html_bytes(result) if html else None
    made: dict[str, bytes] = {"report.html": page} if page is not None else {}

    def typeset() -> None:
        # Nothing is written before the typesetter is done: it is what can fail.
        if pdf:
            made["report.pdf"] = _pdf(result, place, page)

    def write() -> None:
        for name, data in made.items():
            atomic_write(folder_of(place / name), data)

    steps: list[tuple[bool, str, Callable[[], object]]] = [
        (pdf, "PDF", typeset),
        (html or pdf, "page", write),
        (figures, "figures", lambda: write_figures(result, place / "figures")),
    ]
    wanted = [(name, work) for on, name, work in steps if on]
    for i, (name, work) in enumerate(wanted):
        watch.at("writing", i, len(wanted), name)
        work()
    watch.at("writing", len(wanted), len(wanted))
    return place
