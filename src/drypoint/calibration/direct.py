"""Direct verification: certificates of force, depth, compliance and geometry, carried into use.

A certificate gives a value with an expanded uncertainty U = k u [gum2008]. Scales are what the
instrument's numbers must be multiplied by (true over indicated) [iso14577-2-2015].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from drypoint.calibration.problems import CalibrationError, Finding
from drypoint.tips.geometry import Geometry
from drypoint.tips.tip import Frame

#: Kind of certificate -> SI unit of its value and of U.
KINDS = {
    "force scale": "",
    "depth scale": "",
    "frame compliance": "m/N",
    "angle": "rad",
    "radius": "m",
}


@dataclass(frozen=True)
class Certificate:
    """One certified value, SI (see :data:`KINDS`), with expanded uncertainty ``U`` and ``k``."""

    kind: str
    value: float
    U: float
    issued: date
    k: float = 2.0
    valid_until: date | None = None
    laboratory: str = ""
    number: str = ""

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise CalibrationError(
                f"“{self.kind}” is no kind of certificate.",
                remedy="Use one of: " + ", ".join(KINDS) + ".",
            )
        if not (self.U >= 0 and self.k > 0):
            raise CalibrationError(
                f"The certificate {self.number or self.kind} has no sensible uncertainty "
                f"(U = {self.U:g}, k = {self.k:g}).",
                remedy="Give the expanded uncertainty and its coverage factor as printed.",
            )
        if self.kind != "frame compliance" and not self.value > 0:
            raise CalibrationError(
                f"The certified {self.kind} is not above zero.", remedy="Check the value."
            )
        if self.valid_until is not None and self.valid_until < self.issued:
            raise CalibrationError(
                f"The certificate {self.number or self.kind} ends before it was issued.",
                remedy="Check its dates.",
            )

    @property
    def u(self) -> float:
        """Standard uncertainty, U / k."""
        return self.U / self.k

    @property
    def origin(self) -> str:
        """Where the value comes from, for the budget."""
        by = f" by {self.laboratory}" if self.laboratory else ""
        return f"certificate {self.number or 'without number'}{by}, {self.issued.isoformat()}"


def past_date(c: Certificate, day: date) -> Finding | None:
    """A finding where the certificate is past its date on ``day``, or not yet issued."""
    if day < c.issued:
        return Finding(
            "dates out of order",
            f"The certificate of the {c.kind} was issued on {c.issued.isoformat()}, after the day "
            f"on which it is used, {day.isoformat()}.",
            "Check both dates, or use the certificate that was valid then.",
            serious=True,
        )
    if c.valid_until is not None and day > c.valid_until:
        late = (day - c.valid_until).days
        return Finding(
            "past its date",
            f"The certificate of the {c.kind} ({c.number or 'without number'}) ended on "
            f"{c.valid_until.isoformat()}, {late} day{'s' if late != 1 else ''} before.",
            "Have it calibrated again; until then widen its uncertainty and say so.",
            serious=True,
        )
    return None


def apply(
    certificates: Sequence[Certificate],
    frame: Frame,
    geometry: Geometry,
    day: date,
    *,
    refuse_past_date: bool = True,
) -> tuple[Frame, Geometry, tuple[Finding, ...]]:
    """Frame and geometry with the certified values and uncertainties.

    Raises
    ------
    CalibrationError
        When two certificates state the same, or one is past its date on ``day`` and
        ``refuse_past_date`` is set; else that is among the findings.
    """
    kinds = [c.kind for c in certificates]
    double = next((k for k in kinds if kinds.count(k) > 1), None)
    if double is not None:
        raise CalibrationError(
            f"Two certificates state the {double}.", remedy="Keep the one that is valid."
        )
    found = []
    for c in certificates:
        finding = past_date(c, day)
        if finding is not None:
            if refuse_past_date:
                raise CalibrationError(finding.sentence, remedy=finding.next_step)
            found.append(finding)
        if c.kind == "force scale":
            frame = replace(frame, force_scale=c.value, u_force_scale=c.u)
        elif c.kind == "depth scale":
            frame = replace(frame, depth_scale=c.value, u_depth_scale=c.u)
        elif c.kind == "frame compliance":
            frame = replace(frame, compliance=c.value, u_compliance=c.u)
        elif c.kind == "angle":
            geometry = replace(geometry, angle=c.value, u_angle=c.u)
        else:
            geometry = replace(geometry, radius=c.value, u_radius=c.u)
    on_frame = [c for c in certificates if c.kind not in ("angle", "radius")]
    if on_frame:
        frame = replace(frame, origin="; ".join(dict.fromkeys(c.origin for c in on_frame)))
    return frame, geometry, tuple(found)
