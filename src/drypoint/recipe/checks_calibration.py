"""What must fit together in [calibration], and which tip, frame or bench a records table uses."""

from __future__ import annotations

from drypoint.recipe.calibrating import CalibrationKeys
from drypoint.recipe.locate import Path
from drypoint.recipe.problems import Problem, unknown
from drypoint.recipe.schema import StudyFile


def bench_problems(file: StudyFile) -> list[Problem]:
    """Each records table needs a tip or a bench, and not both."""
    found: list[Problem] = []
    for name in file.benches.keys() & file.tips.keys():
        found.append(
            Problem(
                ("benches", name),
                f"a tip is named “{name}” too.",
                "A bench is a tip in a frame: leave the table of the tip out, or rename one.",
            )
        )
    used = {r.bench for r in (*file.records, *file.tracks)}
    used |= {s.bench for s in file.stress.values()}
    for name in file.benches:
        if file.tips and name not in used:
            found.append(
                Problem(
                    ("benches", name),
                    f"no records table uses the bench “{name}”, and the study has tips too.",
                    f"Write bench = “{name}” under the [[records]] that were made on it, or leave "
                    "the bench out.",
                )
            )
    every = [("records", i, r) for i, r in enumerate(file.records)]
    every += [("tracks", i, t) for i, t in enumerate(file.tracks)]
    for name, i, records in every:
        path: Path = (name, i, "bench")
        if records.bench is not None and records.bench not in file.benches:
            found.append(Problem(path, *unknown(records.bench, "a bench", file.benches)))
    return found


def calibration_problems(file: StudyFile) -> list[Problem]:
    """References and blocks name specimens; a block is no reference; every modulus is known."""
    c = file.calibration
    if c is None:
        return []
    found = _days(c)
    names: set[str] = set()
    for i, r in enumerate(c.references):
        path: Path = ("calibration", "references", i, "specimen")
        specimen = file.specimens.get(r.specimen)
        if specimen is None:
            found.append(Problem(path, *unknown(r.specimen, "a specimen", file.specimens)))
        elif r.specimen in names:
            found.append(Problem(path, f"“{r.specimen}” stands there twice.", "Name it once."))
        names.add(r.specimen)
    for i, b in enumerate(c.blocks):
        path = ("calibration", "blocks", i, "specimen")
        if b.specimen not in file.specimens:
            found.append(Problem(path, *unknown(b.specimen, "a specimen", file.specimens)))
        elif b.specimen in names:
            found.append(
                Problem(
                    path,
                    f"“{b.specimen}” is a reference of the calibration.",
                    "A block verifies only where the calibration did not use it.",
                )
            )
    if c.constant_on is not None and c.constant_on not in names:
        found.append(
            Problem(("calibration", "constant_on"), *unknown(c.constant_on, "a reference", names))
        )
    return found


def _days(c: CalibrationKeys) -> list[Problem]:
    """Days that stand the wrong way round (ISO days compare as text)."""
    found = []
    if c.valid_until is not None and c.valid_until < c.day:
        found.append(
            Problem(
                ("calibration", "valid_until"),
                f"{c.valid_until} lies before the day of the calibration, {c.day}.",
                "Allowed: that day or a later one.",
            )
        )
    for i, b in enumerate(c.blocks):
        if b.issued is not None and b.valid_until is not None and b.valid_until < b.issued:
            found.append(
                Problem(
                    ("calibration", "blocks", i, "valid_until"),
                    f"{b.valid_until} lies before the day of issue, {b.issued}.",
                    "Allowed: that day or a later one.",
                )
            )
    return found
