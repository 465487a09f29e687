"""Certificates, calibrations that a study uses, and the calibration that a study makes."""

from __future__ import annotations

from datetime import date
from typing import Annotated, ClassVar, Literal

from pydantic import AfterValidator, Field

from drypoint.calibration.choices import Form
from drypoint.calibration.indirect import Limits
from drypoint.recipe.base import (
    Allowed,
    Few,
    NonNegative,
    Poisson,
    Positive,
    Range,
    Section,
    Terms,
    Words,
    key,
    knob,
)
from drypoint.recipe.context import MODULUS_LEFT_OPEN, ONE_MATERIAL
from drypoint.recipe.equipment import OscillatorKeys
from drypoint.recipe.rules import Given, Needed


def _day(text: str) -> str:
    try:
        date.fromisoformat(text)
    except ValueError:
        raise ValueError(f"“{text}” is given; allowed: {_DAY.words}") from None
    return text


_DAY = Allowed("a day as 2026-01-31")
Day = Annotated[str, AfterValidator(_day), _DAY]


def _modulus_remedy(given: Given) -> str:
    return (
        "Give E_GPa and u_E_GPa, or name a packaged reference material under "
        f"[specimens.{given.value('specimen')}]."
    )


CertificateKind = Literal["force scale", "depth scale", "frame compliance", "angle", "radius"]
#: Kind of certificate -> unit of its value in a study file.
CERTIFICATE_UNITS = {
    "force scale": "",
    "depth scale": "",
    "frame compliance": "nm/mN",
    "angle": "deg",
    "radius": "nm",
}


class CertificateKeys(Section):
    """One certified value of a tip or frame of this study, used in place of the tip's or frame's
    own key. It goes into the budget of every result."""

    of: Words = key("Name of the tip or frame; “frame” for [frame].")
    kind: CertificateKind = key("What was certified.")
    value: float = key(
        "The value: a plain factor for a scale (true over indicated), nm/mN for the compliance, "
        "degrees for an angle, nm for a radius."
    )
    U: NonNegative = key("Expanded uncertainty as printed, in the unit of the value.")
    k: Positive = key("Its coverage factor.", 2.0, source="common practice: k = 2")
    issued: Day = key("Day of issue.")
    valid_until: Day | None = key("Last day of validity; tests made later are remarked upon.", None)
    laboratory: str = key("Who certified.", "")
    number: str = key("Number of the certificate.", "")


class BenchKeys(OscillatorKeys):
    """A tip and a frame that were found together, as `drypoint calibrate --accept` wrote them."""

    file: Words = key("Calibration file, relative to the study file.")


class ReferenceKeys(Section):
    """A specimen that is a reference material. Its Poisson's ratio is the specimen's."""

    specimen: Words = key("Name of the specimen.")
    E_GPa: Positive | None = key(
        "Young's modulus; by default that of the specimen's packaged reference material.",
        None,
        unit="GPa",
    )
    u_E_GPa: NonNegative | None = key("Its standard uncertainty.", None, unit="GPa")
    nu: Poisson | None = key("Poisson's ratio, if another than the specimen's.", None)
    u_nu: NonNegative | None = key("Its standard uncertainty.", None)
    certificate: str = key("Certificate of the reference.", "")

    key_rules: ClassVar = (Needed(("E_GPa",), MODULUS_LEFT_OPEN, _modulus_remedy),)


class BlockKeys(Section):
    """A certified reference block that verifies the calibration, and was not used for it."""

    specimen: Words = key("Name of the specimen.")
    quantity: Literal["H_IT", "E_IT", "E_r", "HM"] = key("What is certified.")
    value_GPa: Positive = key("Certified value.", unit="GPa")
    U_GPa: NonNegative = key("Its expanded uncertainty.", unit="GPa")
    k: Positive = key("Its coverage factor.", 2.0, source="common practice: k = 2")
    number: str = key("Number of the certificate.", "")
    issued: Day | None = key("Day of issue.", None)
    valid_until: Day | None = key("Last day of validity.", None)
    limit_error_percent: Positive = key(
        "Largest error, relative to the certified value.",
        100 * Limits.error,
        unit="%",
        source="common practice of the trade; the standard's own table goes first",
    )
    limit_repeatability_percent: Positive = key(
        "Largest coefficient of variation.",
        100 * Limits.repeatability,
        unit="%",
        source="common practice of the trade; the standard's own table goes first",
    )
    fewest: Few = key("Fewest tests.", Limits.fewest, source="common practice of the trade")


class CalibrationKeys(Section):
    """The calibration that this study makes with `drypoint calibrate`: tip and frame from
    reference materials, verified on blocks."""

    name: Words = key("Name of the calibration.")
    day: Day = key("Day of the calibration.")
    valid_until: Day | None = key("Last day on which it may be used.", None)
    file: Words = key(
        "Where an accepted calibration is written, relative to the study file.",
        "calibration.toml",
    )
    references: Annotated[tuple[ReferenceKeys, ...], Field(min_length=1)] = key(
        "Specimens that are reference materials."
    )
    form: Literal["series", "blunted", "table", "ideal"] = knob(
        Form, "kind", "Form of the area function.", source="Oliver and Pharr 1992"
    )
    terms: Terms | None = knob(
        Form, "terms", "Number of coefficients or knots; chosen from the data where left out."
    )
    select: Literal["AICc", "cross-validation"] = knob(
        Form, "select", "What chooses the number of terms.", source="Hurvich and Tsai 1989"
    )
    most_terms: Terms = key(
        "Largest number of terms that is tried.",
        Form.most,
        source="our own choice: more are hardly told apart by one calibration",
    )
    identified_by: tuple[
        Literal[
            "second material",
            "known compliance",
            "leading term",
            "constant hardness",
            "constant F/S²",
        ],
        ...,
    ] = key(
        "What tells frame and tip apart: the frame's stated compliance, the tip's certified angle, "
        "a hardness that does not change over a range, F/S² that does not, or a second reference "
        "material.",
        (),
    )
    h_range_nm: Range | None = key(
        "Contact depths over which the hardness is constant; all where left out.", None, unit="nm"
    )
    F_range_mN: Range | None = key(
        "Forces over which F/S² is constant; all where left out.", None, unit="mN"
    )
    constant_on: Words | None = key(
        "The one reference specimen whose hardness or F/S² is constant; all where left out.", None
    )
    cycles: bool = key("Take every unloading of a test, not only the largest.", True)
    health_h_c_nm: Positive | None = key(
        "Contact depth at which the area is kept in the ledger, for the tip's control chart.",
        None,
        unit="nm",
    )
    blocks: tuple[BlockKeys, ...] = key("Certified blocks that verify the calibration.", ())

    key_rules: ClassVar = (
        Needed(
            ("identified_by",),
            ONE_MATERIAL,
            "Allowed, in a list: “constant hardness”, “constant F/S²”, “leading term”, “known "
            "compliance”; or a second reference material.",
            "nothing says what tells frame and tip apart, and tests on one material never do.",
        ),
    )
