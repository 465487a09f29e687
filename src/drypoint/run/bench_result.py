"""What a calibration study gives: tip and frame, verifications, noise, and every finding."""

from __future__ import annotations

from dataclasses import dataclass

from drypoint.calibration import (
    Calibrated,
    Certificate,
    Finding,
    NoiseStudy,
    Verification,
)
from drypoint.recipe import Study
from drypoint.records.batch import Batch
from drypoint.records.layout import SetAside
from drypoint.reduction.reduce import Reduced
from drypoint.run.result import Provenance
from drypoint.tips.tip import Bench


@dataclass(frozen=True)
class CheckedBlock:
    """A block, its tests reduced with the bench just found, and what the comparison says.

    ``invented``: the records are.
    """

    specimen: str
    batch: Batch
    reduced: Reduced
    verification: Verification
    invented: bool = False


@dataclass(frozen=True)
class StatedCertificate:
    """A certificate as the study uses it: the tip or frame that it is of, and its values."""

    of: str
    certificate: Certificate


@dataclass(frozen=True)
class Acceptance:
    """Who accepted a calibration, when (UTC, ISO 8601) and why; hash of the file as written."""

    who: str
    when: str
    why: str
    sha256: str


@dataclass(frozen=True)
class BenchResult:
    """Everything that ``drypoint calibrate`` found.

    ``before`` is the bench as stated (geometry, scales), before the calibration; ``batch`` the
    records of the reference materials; ``blocks`` the verifications; ``noise`` noise and drift on
    these records, ``None`` where no stretch was quiet for long enough. ``findings`` are those of
    the calibration, of the certificates' dates and of the blocks together.
    """

    study: Study
    before: Bench
    batch: Batch
    calibrated: Calibrated
    blocks: tuple[CheckedBlock, ...]
    noise: NoiseStudy | None
    certificates: tuple[StatedCertificate, ...]
    findings: tuple[Finding, ...]
    set_aside: tuple[SetAside, ...]
    excluded: tuple[tuple[str, str], ...]
    notes: tuple[str, ...]
    provenance: Provenance

    @property
    def invented(self) -> bool:
        """Whether the study says that its data are invented."""
        return self.study.invented

    @property
    def verdict(self) -> str:
        """``"pass"``, ``"fail"``, ``"undecided"``, or ``"not verified"`` without a block."""
        verdicts = {b.verification.verdict for b in self.blocks}
        for word in ("fail", "undecided", "pass"):
            if word in verdicts:
                return word
        return "not verified"

    @property
    def obstacles(self) -> tuple[Finding, ...]:
        """What keeps the calibration from being accepted without a stated reason."""
        return tuple(f for f in self.findings if f.serious)
