"""Where a report goes."""

from __future__ import annotations

from pathlib import Path

from drypoint.errors import ReportError


def folder_of(path: Path | str) -> Path:
    """A path whose folder is there.

    Raises
    ------
    ReportError
        When the folder cannot be made.
    """
    target = Path(path)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise ReportError(
            f"The folder of the report cannot be made: {error.strerror or error}.",
            remedy="Choose another folder.",
        ) from error
    return target
