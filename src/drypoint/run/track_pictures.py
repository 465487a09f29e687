"""Pictures of tracks: read as pixels, and laid along the track by two points."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from drypoint import paths
from drypoint.errors import PathError, RecordError, Where
from drypoint.recipe import Study
from drypoint.recipe.scratching import PictureKeys
from drypoint.records.raw import too_large
from drypoint.run.scratching import TrackResult

#: Longest side kept, in pixels, and most that a file may hold.
SIDE, MOST = 1600, 80_000_000
_MOST_BYTES = 500_000_000


@dataclass(frozen=True)
class TrackPicture:
    """``pixels`` (rows, columns, 3), the scratch running to the right. ``span`` is the distance
    (m) at its left and right edge, ``None`` where no scale is known. ``invented``: the track is."""

    track: str
    file: str
    sha256: str
    about: str
    pixels: NDArray[np.uint8]
    span: tuple[float, float] | None
    invented: bool = False


def track_pictures(
    study: Study, tracks: Sequence[TrackResult]
) -> tuple[tuple[TrackPicture, ...], tuple[str, ...]]:
    """All pictures that can be read, and what is to be said of them and the others."""
    names = {t.name for t in tracks}
    out, notes = [], []
    for keys in study.file.scratch.pictures:
        if keys.track not in names:
            notes.append(f"scratch.pictures names the track “{keys.track}”, which is not there.")
            continue
        try:
            one = _picture(study.folder, keys)
        except (RecordError, PathError) as error:
            notes.append(f"No picture of “{keys.track}”: {error}")
            continue
        if one.span is None:
            notes.append(
                f"The picture of “{keys.track}” has no scale: it is shown beside the track, not "
                "along it. Two points give it one."
            )
        out.append(replace(one, invented=study.invented))
    return tuple(out), tuple(notes)


def _picture(folder: Path, keys: PictureKeys) -> TrackPicture:
    from PIL import Image, UnidentifiedImageError

    shown = keys.file.replace("\\", "/")
    path = folder / shown
    try:
        raw = paths.read_bytes(path, shown, _MOST_BYTES + 1)
    except OSError as error:
        said = paths.unreadable(path, shown, error)
        raise RecordError(said.what, where=said.where, remedy=said.remedy) from error
    if len(raw) > _MOST_BYTES:
        raise too_large(shown, _MOST_BYTES)
    try:
        with Image.open(io.BytesIO(raw), formats=("PNG", "JPEG")) as image:
            if image.width * image.height > MOST:
                raise RecordError(
                    f"The picture has {image.width} x {image.height} pixels, too many.",
                    where=Where(shown),
                    remedy="Make a smaller copy; points count in its pixels.",
                )
            width = image.width
            small = image.convert("RGB")
            small.thumbnail((SIDE, SIDE))
            pixels = np.asarray(small, dtype=np.uint8).copy()
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError,
            Image.DecompressionBombError) as error:  # fmt: skip
        raise RecordError(
            "It is no picture that can be read.", where=Where(shown), remedy="Give a PNG or JPEG."
        ) from error
    span = None
    if keys.points:
        (p, x), (q, y) = keys.points
        scale = (y - x) / (q - p)
        left, right = (x - scale * p) * 1e-6, (x + scale * (width - p)) * 1e-6
        if scale < 0:
            pixels, left, right = np.ascontiguousarray(pixels[:, ::-1]), right, left
        span = (left, right)
    sha256 = hashlib.sha256(raw).hexdigest()
    return TrackPicture(keys.track, shown, sha256, keys.about, pixels, span)
