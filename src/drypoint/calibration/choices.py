"""What a person chooses for a calibration: the form of the area, and what identifies the rest."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from drypoint.calibration.problems import CalibrationError

FORMS = ("series", "blunted", "table", "ideal")
SELECTIONS = ("AICc", "cross-validation")


@dataclass(frozen=True)
class Form:
    """Form of the area function.

    ``kind``: ``"series"`` (C0 h^2 + C1 h + C2 h^(1/2) ..., [oliver1992]), ``"blunted"`` (radius
    of the end and face angle), ``"table"`` (monotone cubic in logarithms, [fritsch1984]) or
    ``"ideal"`` (the plain shape: a sphere's radius, a sphero-cone's radius and half angle, a
    pyramid's or cone's angle).
    ``terms`` is the number of coefficients or knots; ``None`` lets ``select`` choose among 1 (a
    table: 3) to ``most``: ``"AICc"`` [hurvich1989] or ``"cross-validation"`` (whole tests left
    out in ``folds`` groups).
    """

    kind: str = "series"
    terms: int | None = None
    select: str = "AICc"
    most: int = 6
    folds: int = 5

    def __post_init__(self) -> None:
        if self.kind not in FORMS or self.select not in SELECTIONS:
            raise CalibrationError(
                f"An area function of the form “{self.kind}”, chosen by “{self.select}”, cannot "
                "be calibrated.",
                remedy=f"Forms: {', '.join(FORMS)}; choice by {' or '.join(SELECTIONS)}.",
            )
        low = 1 if self.kind == "series" else 2
        for n in (self.terms, self.most):
            if n is not None and self.kind in ("series", "table") and not low <= n <= 9:
                raise CalibrationError(
                    f"A {self.kind} cannot have {n} terms here.",
                    remedy="A series has 1 to 9 coefficients, a table 2 to 9 knots.",
                )


#: A series whose number of terms is chosen.
SERIES = Form()


@dataclass(frozen=True)
class FixedLeading:
    """The leading term is known: C0 of A = C0 h^2 + ... with its standard uncertainty.

    From the certificate of the tip's angle: see :func:`leading_from_angle`.
    """

    value: float
    u: float = 0.0


@dataclass(frozen=True)
class KnownCompliance:
    """The frame compliance is known, m/N, with its standard uncertainty."""

    value: float
    u: float = 0.0
    origin: str = "certificate"


@dataclass(frozen=True)
class ConstantHardness:
    """Hardness F/A of each material is one number over a range of contact depths (m).

    ``material`` limits it to one of them by name.
    """

    h_min: float = 0.0
    h_max: float = np.inf
    material: str | None = None


@dataclass(frozen=True)
class ForceOverStiffnessSquared:
    """F/S^2 of each material is one number over a range of forces (N) [joslin1990].

    Where the modulus is one number, this and a constant hardness are the same statement, since
    F/S^2 = pi H / (4 beta^2 E_r^2); they differ in how the range is stated.
    """

    F_min: float = 0.0
    F_max: float = np.inf
    material: str | None = None


@dataclass(frozen=True)
class SecondMaterial:
    """Two or more materials of different modulus identify frame and tip between them."""


Constraint = (
    FixedLeading | KnownCompliance | ConstantHardness | ForceOverStiffnessSquared | SecondMaterial
)


def words(c: Constraint) -> str:
    """What a constraint states, as a sentence's end for the report."""
    if isinstance(c, FixedLeading):
        return f"a leading term fixed at C0 = {c.value:.4f} (u = {c.u:.2g})"
    if isinstance(c, KnownCompliance):
        return (
            f"a frame compliance of {c.value * 1e6:.4g} nm/mN (u = {c.u * 1e6:.2g} nm/mN) "
            f"from a {c.origin}"
        )
    if isinstance(c, ConstantHardness):
        where = (
            "at all depths"
            if np.isinf(c.h_max) and c.h_min == 0
            else (f"for contact depths from {c.h_min * 1e9:.4g} nm to {c.h_max * 1e9:.4g} nm")
        )
        return f"a constant hardness {where}" + (f" of {c.material}" if c.material else "")
    if isinstance(c, ForceOverStiffnessSquared):
        where = (
            "at all forces"
            if np.isinf(c.F_max) and c.F_min == 0
            else (f"for forces from {c.F_min * 1e3:.4g} mN to {c.F_max * 1e3:.4g} mN")
        )
        return f"a constant F/S² {where}" + (f" of {c.material}" if c.material else "")
    return "a second material of another modulus"
