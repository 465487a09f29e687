"""All figures of a report as files of their own."""

from __future__ import annotations

import re
from pathlib import Path

from drypoint.report.content import gather
from drypoint.report.drawn import svg_of
from drypoint.report.folder import folder_of
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
    words = []
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
