"""Scratch tracks: names that must exist, and keys that must fit."""

from __future__ import annotations

from drypoint.recipe.locate import Path
from drypoint.recipe.parts import Document, table_list, tables, valid
from drypoint.recipe.problems import Problem, show, unknown
from drypoint.recipe.scratching import AdhesionKeys, PictureKeys, ScratchKeys

_ENDINGS = (".png", ".jpg", ".jpeg")


def scratch_checks(document: Document, specimens: Document) -> list[Problem]:
    """Faults of [[tracks]] and [scratch]."""
    table = tables(document, "scratch")
    scratched = table_list(document, "tracks")
    if not scratched:
        return []
    found = _marks(scratched)
    keys = valid(ScratchKeys, table)
    if keys is None:
        return found
    low, high = keys.slope_from_mN, keys.slope_to_mN
    if low is not None and high is not None and low >= high:
        path: Path = ("scratch", "slope_to_mN")
        found.append(Problem(path, f"{show(high)} is given.", f"Allowed: above {low:g}."))
    seen: dict[str, int] = {}
    for i, width in enumerate(keys.widths):
        if seen.setdefault(width.track, i) != i:
            path = ("scratch", "widths", i, "track")
            found.append(
                Problem(path, f"“{width.track}” stands there twice.", "Put its widths together.")
            )
    for i, picture in enumerate(keys.pictures):
        found += _picture(("scratch", "pictures", i), picture)
    for i, asked in enumerate(keys.adhesion):
        found += _adhesion(("scratch", "adhesion", i), asked, keys, specimens)
    return found


def _marks(scratched: list[Document]) -> list[Problem]:
    found = []
    for i, table in enumerate(scratched):
        marks = tables(table, "marks")
        values = list(marks.values())
        if marks and "scratch" not in marks:
            found.append(
                Problem(
                    ("tracks", i, "marks"),
                    "the mark of the scratch is missing.",
                    "Say what stands in the names of the files that hold the scratch.",
                )
            )
        if len({str(v) for v in values}) < len(values):
            found.append(
                Problem(("tracks", i, "marks"), "two marks are the same.", "Give each its own.")
            )
    return found


def _picture(path: Path, picture: PictureKeys) -> list[Problem]:
    found = []
    if not picture.file.lower().endswith(_ENDINGS):
        found.append(
            Problem((*path, "file"), f"{show(picture.file)} is given.", "Allowed: PNG or JPEG.")
        )
    points = picture.points
    if points and (
        len(points) != 2 or points[0][0] == points[1][0] or points[0][1] == points[1][1]
    ):
        found.append(
            Problem(
                (*path, "points"),
                "these are not two points that give a scale.",
                "Allowed: two pairs [x in pixels, distance in µm], apart in both.",
            )
        )
    return found


def _adhesion(
    path: Path, asked: AdhesionKeys, keys: ScratchKeys, specimens: Document
) -> list[Problem]:
    found = []
    if asked.specimen not in specimens:
        what = unknown(asked.specimen, "a specimen of this study", specimens)
        found.append(Problem((*path, "specimen"), *what))
    if asked.event not in keys.events:
        what = unknown(asked.event, "a critical load of scratch.events", keys.events)
        found.append(Problem((*path, "event"), *what))
    return found
