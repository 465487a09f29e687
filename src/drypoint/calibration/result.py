"""What a calibration returns: tip and frame with one covariance, and the grounds for both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from drypoint.calibration.choices import Form
from drypoint.calibration.problems import Finding
from drypoint.calibration.rows import ReferenceTests
from drypoint.calibration.weights import Scatter
from drypoint.tips.area import area
from drypoint.tips.tip import Bench, Frame, Tip
from drypoint.uncertainty.joint import Joint

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Candidate:
    """One number of terms that was tried: its criterion (lower is better) and compliance, m/N.

    ``weight`` is its Akaike weight among the candidates, exp(-difference/2) normed.
    """

    terms: int
    criterion: float
    weight: float
    C_f: float
    u_C_f: float
    held: int


@dataclass(frozen=True)
class Direction:
    """A combination of inputs and how well something determines it.

    ``u`` is its standard uncertainty where every input is counted in its own size (the contact
    compliance at the largest force; the area). ``parts`` are (input, share).
    """

    u: float
    parts: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Identification:
    """What identifies what.

    ``by`` says in words which constraint identifies frame and tip; ``directions`` are what the
    tests alone, under the chosen form, determine, worst first; ``condition`` is the condition
    number of the weighted, scaled Jacobian of the whole fit; ``sentences`` say plainly what the
    data cannot determine.
    """

    by: tuple[str, ...]
    directions: tuple[Direction, ...]
    condition: float
    sentences: tuple[str, ...]


@dataclass(frozen=True)
class Rows:
    """Each reference test seen from the solution, arrays (n,), SI.

    ``residual`` is measured less predicted contact compliance; ``standardised`` divides it by its
    standard uncertainty (scatter included); ``area_seen`` is the area that each row alone implies.
    """

    h_c: Floats
    contact_compliance: Floats
    predicted: Floats
    residual: Floats
    standardised: Floats
    area_seen: Floats
    hardness: Floats
    force_over_stiffness_squared: Floats


@dataclass(frozen=True)
class Calibration:
    """A tip and a frame found together.

    ``full`` is the joint distribution of all unknowns and given inputs, ``statistical`` the part of
    its covariance (same order) that comes from these tests; ``linked`` holds the inputs that a
    reduction knows, for :class:`~drypoint.tips.tip.Bench`. ``rule`` is the tip's ``found_with``.
    """

    tip: Tip
    frame: Frame
    linked: Joint
    full: Joint
    statistical: Floats
    form: Form
    candidates: tuple[Candidate, ...]
    identification: Identification
    scatter: Scatter
    chi_squared: float
    dof: int
    held: int
    tests: ReferenceTests
    rows: Rows
    findings: tuple[Finding, ...]

    @property
    def bench(self) -> Bench:
        """Tip and frame with their joint distribution, ready for the reduction."""
        return Bench(self.tip, self.frame, self.linked)

    @property
    def rule(self) -> dict[str, str]:
        """Under which beta, epsilon, window and reference the tip was found."""
        return dict(self.tip.area.found_with)

    @property
    def acceptable(self) -> bool:
        """False when a finding is serious."""
        return not any(f.serious for f in self.findings)

    def area(self, h_c: ArrayLike) -> tuple[Floats, Floats]:
        """Area (m^2) at contact depths and its standard uncertainty, all sources together."""
        h = np.atleast_1d(np.asarray(h_c, dtype=np.float64))
        jac = area_jacobian(self.tip, self.linked, h)
        var = np.einsum("ij,jk,ik->i", jac, self.linked.cov, jac)
        return np.asarray(area(self.tip, {}, h)), np.sqrt(np.clip(var, 0.0, None))

    def with_findings(self, *more: Finding) -> Calibration:
        """The same with further findings."""
        return replace(self, findings=(*self.findings, *more))


def area_jacobian(tip: Tip, joint: Joint, h: Floats) -> Floats:
    """dA/d(inputs of ``joint``) at depths h, shape (n, k), by the complex step."""
    out = np.zeros((h.size, len(joint.names)))
    best = joint.as_dict()
    for j, name in enumerate(joint.names):
        if name in tip.area.parameters.names:
            step = 1e-30 * (abs(best[name]) or 1.0)
            moved = {n: np.asarray(complex(best[n])) for n in tip.area.parameters.names}
            moved[name] = moved[name] + 1j * step
            out[:, j] = np.imag(area(tip, moved, h.astype(complex))) / step
    return out
