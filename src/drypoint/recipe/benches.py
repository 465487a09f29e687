"""Calibrated benches that a study uses: files that `drypoint calibrate` wrote."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from drypoint import paths
from drypoint.calibration import Certificate, Exchanged, from_mapping
from drypoint.errors import DrypointError, PathError, Where
from drypoint.recipe.base import to_si
from drypoint.recipe.calibrating import CERTIFICATE_UNITS, BenchKeys, CertificateKeys
from drypoint.recipe.convert import choices_for
from drypoint.recipe.equipment import FrameKeys, TipKeys
from drypoint.recipe.knobs import Analysis
from drypoint.recipe.locate import key_lines
from drypoint.recipe.problems import Problem, StudyError, show
from drypoint.recipe.schema import StudyFile
from drypoint.recipe.text import parse, read_file, text_of
from drypoint.tips.geometry import PYRAMIDS


@dataclass(frozen=True)
class LoadedBench:
    """A calibration file as read: its path as the study names it, its hash, what it holds."""

    name: str
    file: str
    sha256: str
    text: str
    exchanged: Exchanged


def load_benches(
    keys: Mapping[str, BenchKeys], folder: Path
) -> tuple[dict[str, LoadedBench], list[Problem], list[StudyError]]:
    """Read the calibration files; faults of the study's keys, and of the files themselves."""
    found: dict[str, LoadedBench] = {}
    problems: list[Problem] = []
    faults: list[StudyError] = []
    for name, bench in keys.items():
        shown = bench.file.replace("\\", "/")
        path = folder / shown
        try:
            there = paths.is_file(path, shown)
        except PathError as error:
            problems.append(Problem(("benches", name, "file"), error.what, error.remedy))
            continue
        if not there:
            problems.append(
                Problem(
                    ("benches", name, "file"),
                    f"there is no calibration file “{shown}”.",
                    "Paths are relative to the study file. A calibration is made with “drypoint "
                    "calibrate” and written when it is accepted.",
                )
            )
            continue
        try:
            raw = read_file(path)
            text = text_of(raw, path)
            table = parse(text, path)
        except DrypointError as error:
            faults.append(StudyError(error.what, where=error.where, remedy=error.remedy))
            continue
        try:
            exchanged = from_mapping(table)
        except DrypointError as error:
            key = error.where.key
            line = None
            if key is not None:
                line = next((v for k, v in key_lines(text).items() if k and k[-1] == key), None)
            where = Where(str(path), line=line, key=key)
            faults.append(StudyError(error.what, where=where, remedy=error.remedy))
            continue
        sha256 = hashlib.sha256(raw).hexdigest()
        found[name] = LoadedBench(name, shown, sha256, text, exchanged)
    return found, problems, faults


def bench_name(file: StudyFile, i: int) -> str | None:
    """The calibrated bench of the records table ``i``; ``None`` where it names tip and frame."""
    records = file.records[i]
    if records.bench is not None:
        return records.bench
    if records.tip is None and not file.tips and len(file.benches) == 1:
        return next(iter(file.benches))
    return None


def rule_problems(file: StudyFile, benches: Mapping[str, LoadedBench]) -> list[Problem]:
    """A calibrated bench holds only under the rule under which it was found."""
    found = []
    for i, records in enumerate(file.records):
        name = bench_name(file, i)
        bench = benches.get(name) if name is not None else None
        specimen = file.specimens.get(records.specimen)
        if bench is None or specimen is None:
            continue
        analysis = choices_for(file, specimen).analysis
        for key, then, now in bench_clashes(bench, analysis):
            found.append(
                Problem(
                    ("benches", bench.name, "file"),
                    f"the bench was found with {key} = {then}, and specimen "
                    f"“{records.specimen}” (records {i + 1}) is analysed with {now}.",
                    f"Set {key} = {then} under [analysis], or calibrate again under the rule of "
                    "this study.",
                )
            )
    return found


def bench_clashes(bench: LoadedBench, analysis: Analysis) -> list[tuple[str, str, str]]:
    """Keys in which the rule of a bench and an analysis differ: (key, then, now)."""
    rule = dict(bench.exchanged.bench.tip.area.found_with)
    eps = analysis.epsilon
    here = {
        "beta": repr(float(analysis.beta)),
        "epsilon": eps if isinstance(eps, str) else repr(eps),
        "radial_correction": "true" if analysis.radial_correction else "false",
    }
    return [(k, rule[k], now) for k, now in here.items() if k in rule and rule[k] != now]


def certified_tip(keys: TipKeys, certificates: Sequence[CertificateKeys]) -> TipKeys:
    """The keys of a tip with certified angle and radius in their place."""
    changes: dict[str, Any] = {}
    for c in certificates:
        if c.kind == "radius":
            changes |= {"radius_nm": c.value, "u_radius_nm": c.U / c.k}
        else:
            pyramid = keys.shape in PYRAMIDS
            changes["face_angle_deg" if pyramid else "half_angle_deg"] = c.value
            changes["u_angle_deg"] = c.U / c.k
    if changes:
        changes["certificate"] = "; ".join(_words(c) for c in certificates)
    return keys.model_copy(update=changes)


def certified_frame(
    keys: FrameKeys | None, certificates: Sequence[CertificateKeys]
) -> FrameKeys | None:
    """The keys of a frame with certified scales and compliance in their place."""
    if not certificates:
        return keys
    names = {
        "force scale": "force_scale",
        "depth scale": "depth_scale",
        "frame compliance": "compliance_nm_per_mN",
    }
    changes: dict[str, Any] = {}
    for c in certificates:
        changes[names[c.kind]] = c.value
        changes[f"u_{names[c.kind]}"] = c.U / c.k
    said = [f"{_words(c)} ({c.kind})" for c in certificates]
    own = keys.certificate if keys is not None else ""
    changes["certificate"] = "; ".join([*said, *([own] if own else [])])
    return (keys or FrameKeys()).model_copy(update=changes)


def _words(c: CertificateKeys) -> str:
    by = f" by {c.laboratory}" if c.laboratory else ""
    return f"{c.number or 'without number'}{by}, {c.issued}"


def certificate(c: CertificateKeys) -> Certificate:
    """One certificate in SI."""
    unit = CERTIFICATE_UNITS[c.kind]
    until = None if c.valid_until is None else date.fromisoformat(c.valid_until)
    return Certificate(
        c.kind, to_si(c.value, unit), to_si(c.U, unit), date.fromisoformat(c.issued), c.k, until,
        c.laboratory, c.number,
    )  # fmt: skip


def certificate_problems(file: StudyFile) -> list[Problem]:
    """Certificates that name nothing, fit nothing, or state the same twice."""
    frames = {*file.frames, *(["frame"] if file.frame is not None or not file.frames else [])}
    seen: dict[tuple[str, str], int] = {}
    found = []
    for i, c in enumerate(file.certificates):
        path = ("certificates", i, "of")
        of_tip = c.kind in ("angle", "radius")
        known = sorted(file.tips) if of_tip else sorted(frames)
        if c.of not in known:
            what = "tip" if of_tip else "frame"
            if c.of in file.benches:
                reason = "The bench was calibrated as it was: enter the certificate in the study "
                reason += "that calibrates it, and calibrate again."
            else:
                reason = f"Allowed: {', '.join(known) or 'none; the study has no ' + what}."
            found.append(
                Problem(path, f"{show(c.of)} is no {what} of this study ({c.kind}).", reason)
            )
            continue
        first = seen.setdefault((c.of, c.kind), i)
        if first != i:
            found.append(
                Problem(
                    ("certificates", i, "kind"),
                    f"the {c.kind} of “{c.of}” is certified twice (entry {first + 1} too).",
                    "Keep the certificate that is valid.",
                )
            )
        try:
            certificate(c)
        except DrypointError as error:
            found.append(Problem(("certificates", i), error.what, error.remedy))
    return found
