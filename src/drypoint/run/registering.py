"""Accept a calibration: the file that studies use, and the entries of the ledger. All or nothing
in the ledger; nothing is written anywhere before."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from drypoint import paths
from drypoint.calibration import CalibrationError, to_mapping
from drypoint.calibration.exchange import FORMAT
from drypoint.calibration.result import area_jacobian
from drypoint.errors import PathError, Where
from drypoint.keys import check_name
from drypoint.notices import INVENTED_FILE, with_origin
from drypoint.parsing import toml_document
from drypoint.recipe import dumps
from drypoint.run.bench_result import Acceptance, BenchResult, CheckedBlock
from drypoint.run.result import Provenance
from drypoint.store.atomic import atomic_write
from drypoint.version import __version__

if TYPE_CHECKING:
    from drypoint.ledger import Body, Ledger


@dataclass(frozen=True)
class Accepted:
    """Where the calibration was written, who accepted it, and how many entries the ledger took."""

    path: Path
    acceptance: Acceptance
    entries: int


def calibration_text(
    result: BenchResult, *, who: str = "", when: str = "", why: str = "", despite: str = ""
) -> str:
    """The calibration as an open TOML file. Without ``who`` it is a proposal."""
    keys = result.study.file.calibration
    assert keys is not None
    p = result.provenance
    provenance = {
        "name": keys.name,
        "state": "accepted" if who else "proposed; not for use in studies",
        "accepted_by": who,
        "accepted_on": when,
        "why": why,
        "accepted_despite": despite,
        "day": keys.day,
        "valid_until": keys.valid_until or "",
        "study": result.study.name,
        "invented": "yes" if result.invented else "",
        "recipe_sha256": p.recipe_hash,
        "decisions_sha256": p.decisions_hash,
        "inputs_sha256": p.inputs_hash,
        "program": f"Drypoint {p.version}",
    }
    table = to_mapping(result.calibrated.calibration, {k: v for k, v in provenance.items() if v})
    table["verification"] = {
        "verdict": result.verdict,
        "blocks": [verified_values(b) for b in result.blocks],
    }
    table["fit"]["findings"] = [str(f) for f in result.findings]
    head = f"# {INVENTED_FILE}\n" if result.invented else ""
    head += (
        "# A tip and a frame that were found together, written by Drypoint. Units stand in the\n"
    )
    head += "# names of keys; the page “Calibration” of the documentation has each key.\n"
    return head + dumps(table)


def verified_values(b: CheckedBlock) -> dict[str, Any]:
    """A verification on a block as plain values, in the units of their names."""
    v = b.verification
    return {
        "block": b.specimen,
        "quantity": v.block.quantity,
        "certified_GPa": v.block.value / 1e9,
        "U_certified_GPa": v.block.U / 1e9,
        "tests": v.n,
        "mean_GPa": v.mean / 1e9,
        "error_percent": 100 * v.relative_error,
        "U_error_percent": 100 * v.U_error / v.block.value,
        "E_n": v.E_n,
        "variation_percent": 100 * v.variation,
        "verdict": v.verdict,
        "rule": v.rule,
    }


def accept_calibration(
    result: BenchResult,
    *,
    who: str,
    why: str = "looked at and accepted",
    despite: str = "",
    when: str = "",
    ledger: Ledger | None = None,
) -> Accepted:
    """Write the calibration where its recipe says, and enter it in the ledger.

    Parameters
    ----------
    result : BenchResult
    who, why : str
        Who accepts it, and why; both stand in the file and in the ledger.
    despite : str
        The reason for accepting it in spite of serious findings.
    when : str
        Time of acceptance in UTC (2026-01-31T12:00:00Z); the present where empty.
    ledger : Ledger, optional
        None: only the file is written.

    Raises
    ------
    CalibrationError
        When serious findings stand against it and no reason is given, or nobody accepts it.
    LedgerError, StoreError
        When ledger or file cannot be written.
    """
    when = check_acceptance(result, who=who, despite=despite, when=when)
    path = _target(result)
    text = calibration_text(result, who=who, when=when, why=why, despite=despite)
    path.parent.mkdir(parents=True, exist_ok=True)
    ready = path.with_name(f".{path.name}.accepted")
    atomic_write(ready, text.encode("utf-8"))
    entries = 0
    try:
        if ledger is not None:
            reason = f"{why}; {despite}" if despite else why
            entries = _enter(result, text, ledger, who, reason)
    except BaseException:
        ready.unlink(missing_ok=True)
        raise
    ready.replace(path)
    said = f"{why}; in spite of serious findings: {despite}" if despite else why
    sha256 = hashlib.sha256(text.encode("utf-8")).hexdigest()
    return Accepted(path, Acceptance(who, when, said, sha256), entries)


def check_acceptance(result: BenchResult, *, who: str, despite: str = "", when: str = "") -> str:
    """May this calibration be accepted? Return the time of acceptance (UTC).

    Raises
    ------
    CalibrationError
        When nobody accepts it, the time is none, serious findings stand without a reason, it was
        accepted before, or its file would take the place of something else.
    """
    if not who.strip():
        raise CalibrationError("Nobody accepts the calibration.", remedy="Say who: --who NAME.")
    check_name(who)
    if result.obstacles and not despite.strip():
        listed = " ".join(f"({i}) {f}" for i, f in enumerate(result.obstacles, start=1))
        raise CalibrationError(
            f"The calibration is not accepted: {listed}",
            where=Where(str(result.study.path)),
            remedy="Mend the cause and calibrate again, or accept it with a reason: "
            "--despite REASON.",
        )
    _target(result)
    if not when:
        return datetime.now(UTC).strftime(_TIME)
    try:
        datetime.strptime(when, _TIME)
    except ValueError as error:
        raise CalibrationError(
            f"“{when}” is no time.", remedy="Write it in UTC as 2026-01-31T12:00:00Z."
        ) from error
    return when


_TIME = "%Y-%m-%dT%H:%M:%SZ"


def _target(result: BenchResult) -> Path:
    """The file of the calibration; refused where it would take the place of anything else."""
    study = result.study
    keys = study.file.calibration
    assert keys is not None
    path = study.folder / keys.file.replace("\\", "/")
    where = Where(str(study.path), key="calibration.file")
    raw = {(study.folder / f).resolve() for f in result.provenance.inputs}
    here = path.resolve()
    taken = (
        here in raw
        or here in (study.path.resolve(), study.decisions.resolve())
        or study.results.resolve() in here.parents
        or path.is_dir()
    )
    if not taken and path.exists():
        taken = _table_of(path) is None
        said = accepted_as(path, identity_of(result.provenance))
        if said is not None:
            raise CalibrationError(
                f"This calibration is accepted already, by {said['accepted_by']} on "
                f"{said.get('accepted_on', 'a day not stated')}.",
                where=Where(str(path)),
                remedy="Nothing was written. To add a remark or a signature, use the ledger.",
            )
    if taken:
        raise CalibrationError(
            f"The calibration cannot be written to “{keys.file}”: something else is there, or "
            "belongs there.",
            where=where,
            remedy="Name a file of its own, for example calibration.toml; nothing was written.",
        )
    return path


def identity_of(p: Provenance) -> tuple[str, ...]:
    """What a calibration was made from: recipe, decisions, raw files, program."""
    return p.recipe_hash, p.decisions_hash, p.inputs_hash, f"Drypoint {p.version}"


def accepted_as(path: Path, identity: Sequence[str]) -> Mapping[str, str] | None:
    """What a calibration file says of its acceptance, where it holds the very calibration that
    ``identity`` stands for and somebody accepted it; ``None`` otherwise."""
    said: Mapping[str, str] = (_table_of(path) or {}).get("provenance", {})
    keep = ("recipe_sha256", "decisions_sha256", "inputs_sha256", "program")
    same = [said.get(k, "") for k in keep] == list(identity)
    return said if same and said.get("accepted_by") else None


def acceptance_of(result: BenchResult) -> Acceptance | None:
    """Who accepted this very calibration, wherever that was done; ``None`` if nobody did."""
    keys = result.study.file.calibration
    assert keys is not None
    path = result.study.folder / keys.file.replace("\\", "/")
    said = accepted_as(path, identity_of(result.provenance))
    if said is None:
        return None
    why, despite = said.get("why", ""), said.get("accepted_despite", "")
    return Acceptance(
        said["accepted_by"],
        said.get("accepted_on", ""),
        f"{why}; in spite of serious findings: {despite}" if despite else why,
        hashlib.sha256(path.read_bytes()).hexdigest(),
    )


def _table_of(path: Path) -> dict[str, Any] | None:
    """The tables of a calibration file; ``None`` where it is none."""
    try:
        table = toml_document(paths.read_bytes(path).decode("utf-8"))
    except (OSError, ValueError, PathError):
        return None
    return table if table.get("format") == FORMAT else None


def _enter(result: BenchResult, text: str, ledger: Ledger, who: str, why: str) -> int:
    from drypoint.ledger import Draft

    before = ledger.head().id
    known = {(e.kind, e.name) for e in ledger.entries()}
    things = [b for b in _things(result) if (b.kind, b.label) not in known]
    papers = [b for b in _papers(result) if not _certified(ledger, b)]
    why = with_origin(why, result.invented)
    drafts = [Draft(b) for b in (*things, *papers, *_outcome(result, text))]
    ledger.accept_all(drafts, who, why)
    return ledger.head().id - before


def _things(result: BenchResult) -> list[Body]:
    """Tip, frame and blocks."""
    from drypoint.ledger import BlockBody, FrameBody, TipBody

    tip, frame = result.before.tip, result.before.frame
    stated = result.study.file.tips.get(tip.name)
    out: list[Body] = [
        TipBody(name=tip.name, shape=tip.geometry.shape, serial=stated.serial if stated else ""),
        FrameBody(name=frame.name),
    ]
    for name in dict.fromkeys(b.specimen for b in result.blocks):
        words = result.study.specimen(name).description or name
        out.append(BlockBody(name=name, material=words))
    return out


def _papers(result: BenchResult) -> list[Body]:
    """Certificates of tip, frame and blocks, SI."""
    from drypoint.ledger import CertificateBody

    out: list[Body] = []
    for s in result.certificates:
        c = s.certificate
        of = "tip" if c.kind in ("angle", "radius") else "frame"
        until = c.valid_until.isoformat() if c.valid_until else None
        out.append(
            CertificateBody(
                of=of,
                item=s.of,
                quantity=c.kind,
                value=c.value,
                U=c.U,
                k=c.k,
                issued=c.issued.isoformat(),
                valid_until=until,
                laboratory=c.laboratory,
                number=c.number,
            )
        )
    for b in result.blocks:
        block = b.verification.block
        if block.issued is None:
            continue
        until = block.valid_until.isoformat() if block.valid_until else None
        out.append(
            CertificateBody(
                of="block",
                item=block.name,
                quantity=block.quantity,
                value=block.value,
                U=block.U,
                k=block.k,
                issued=block.issued.isoformat(),
                valid_until=until,
                number=block.number,
            )
        )
    return out


def _certified(ledger: Ledger, body: Body) -> bool:
    """Whether this very certificate is in the ledger already."""
    from drypoint.ledger import CertificateBody

    return any(e.body == body for e in ledger.current(CertificateBody))


def _outcome(result: BenchResult, text: str) -> list[Body]:
    """The calibration, its verifications, and the tip's area for its control chart."""
    from drypoint.ledger import CalibrationBody, HealthBody, VerificationBody

    keys = result.study.file.calibration
    assert keys is not None
    c = result.calibrated.calibration
    tip, frame = result.before.tip.name, result.before.frame.name
    calibration = CalibrationBody(
        tip=tip, frame=frame, on=keys.day, valid_until=keys.valid_until, text=text,
        materials=tuple(r.name for r in c.tests.materials), version=__version__,
    )  # type: ignore[call-arg]  # fmt: skip
    out: list[Body] = [calibration]
    for b in result.blocks:
        out.append(
            VerificationBody(
                how="indirect",
                on=keys.day,
                verdict=b.verification.verdict,
                tip=tip,
                frame=frame,
                block=b.specimen,
                calibration=calibration.sha256,
                valid_until=keys.valid_until,
                text=dumps(verified_values(b)),
            )  # type: ignore[call-arg]
        )
    if keys.health_h_c_nm is not None:
        h = keys.health_h_c_nm * 1e-9
        A, _ = c.area(h)
        out.append(
            HealthBody(
                tip=tip,
                frame=frame,
                on=keys.day,
                depth_m=h,
                area_m2=float(A[0]),
                u_area_m2=_own_u(result, h),
                tests=len(np.unique(c.tests.test)),
                material=", ".join(r.name for r in c.tests.materials),
            )
        )
    return out


def _own_u(result: BenchResult, h: float) -> float:
    """Standard uncertainty of the area from these tests alone: what varies from check to check."""
    c = result.calibrated.calibration
    full = replace(c.full, cov=c.statistical)
    J = area_jacobian(c.tip, full, np.array([h]))[0]
    return float(np.sqrt(max(J @ c.statistical @ J, 0.0)))
