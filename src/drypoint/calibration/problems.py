"""What a calibration refuses, and what it warns of, each with what to measure next."""

from __future__ import annotations

from dataclasses import dataclass

from drypoint.errors import DrypointError


class CalibrationError(DrypointError):
    """A calibration or verification cannot be made from what was given."""


@dataclass(frozen=True)
class Finding:
    """A remark on a calibration: a short code, a plain sentence with its numbers, and what to do.

    ``serious`` marks what should keep the calibration from being accepted. ``rows`` are the
    reference tests it speaks of, where it speaks of some.
    """

    code: str
    sentence: str
    next_step: str
    serious: bool = False
    rows: tuple[int, ...] = ()

    def __str__(self) -> str:
        return f"{self.sentence} {self.next_step}".strip()
