"""What may stand in the ledger: one class for each kind of entry, with what it must hold.

All quantities are SI. A date is written 2026-01-31, a time in UTC 2026-01-31T12:00:00Z.
"""

from __future__ import annotations

from typing import ClassVar, Literal

from drypoint.ledger.body import Body, Link, Named, Part, WithText, in_order, links_to
from drypoint.ledger.fields import (
    Count,
    Day,
    Hex,
    Moment,
    Name,
    NotNegative,
    Number,
    Positive,
    Text,
    Words,
)


class TipBody(Named):
    """An indenter. ``shape`` as in a study file; its area stands in calibrations."""

    kind: ClassVar[str] = "tip"
    shape: Words
    serial: Text = ""
    maker: Text = ""
    note: Text = ""


class FrameBody(Named):
    """An instrument: its load frame and what measures force and depth."""

    kind: ClassVar[str] = "frame"
    serial: Text = ""
    maker: Text = ""
    note: Text = ""


class BlockBody(Named):
    """A reference block. Its certified values are certificates of it."""

    kind: ClassVar[str] = "block"
    material: Words
    serial: Text = ""
    note: Text = ""


class CertificateBody(Body):
    """One certified value of a frame, tip or block, SI, with expanded uncertainty ``U`` = k u.

    ``quantity`` is for example ``force scale``, ``angle`` or ``H_IT``; ``document_sha256`` the
    hash of the paper as a file.
    """

    kind: ClassVar[str] = "certificate"
    of: Literal["frame", "tip", "block"]
    item: Name
    quantity: Words
    value: Number
    U: NotNegative
    k: Positive = 2.0
    issued: Day
    valid_until: Day | None = None
    laboratory: Text = ""
    number: Text = ""
    document_sha256: Hex | None = None

    def fit(self) -> None:
        """``ValueError`` where values do not go together."""
        in_order(self.issued, self.valid_until)

    @property
    def label(self) -> str:
        """Number, or thing and quantity where it has none."""
        return self.number or f"{self.item}: {self.quantity}"

    @property
    def links(self) -> tuple[Link, ...]:
        """What was certified."""
        return ((self.of, self.item),)

    @property
    def needs(self) -> tuple[Link, ...]:
        """The same."""
        return self.links


class CalibrationBody(WithText):
    """A tip found in a frame: ``text`` is the calibration's exchange file, whole.

    ``materials`` are the references it was found on; ``version`` that of Drypoint.
    """

    kind: ClassVar[str] = "calibration"
    tip: Name
    frame: Name
    on: Moment
    valid_until: Day | None = None
    materials: tuple[Words, ...] = ()
    version: Text = ""

    def fit(self) -> None:
        """``ValueError`` where values do not go together."""
        super().fit()
        in_order(self.on, self.valid_until)

    @property
    def label(self) -> str:
        """Tip and frame."""
        return f"{self.tip} in {self.frame}"

    @property
    def links(self) -> tuple[Link, ...]:
        """Tip, frame and the calibration's own hash."""
        return links_to(tip=self.tip, frame=self.frame, calibration=self.sha256)

    @property
    def needs(self) -> tuple[Link, ...]:
        """Tip and frame."""
        return links_to(tip=self.tip, frame=self.frame)


class VerificationBody(WithText):
    """A verification: direct (of force, depth, a tip's geometry) or indirect (on a block).

    ``calibration`` is the SHA-256 of the calibration that was verified. ``verdict`` is that of
    :mod:`drypoint.calibration`: only a ``pass`` is a good verification.
    """

    kind: ClassVar[str] = "verification"
    how: Literal["direct", "indirect"]
    on: Moment
    verdict: Literal["pass", "fail", "undecided"]
    tip: Name | None = None
    frame: Name | None = None
    block: Name | None = None
    calibration: Hex | None = None
    valid_until: Day | None = None
    text: Text = ""

    def fit(self) -> None:
        """``ValueError`` where values do not go together."""
        super().fit()
        if self.how == "indirect" and None in (self.tip, self.frame, self.block):
            raise ValueError(
                "an indirect verification is of a tip in a frame; allowed: tip, frame and block"
            )
        if self.tip is None and self.frame is None:
            raise ValueError("it says not what was verified; allowed: tip, frame or both")
        in_order(self.on, self.valid_until)

    @property
    def label(self) -> str:
        """Tip and frame."""
        return " in ".join(name for name in (self.tip, self.frame) if name is not None)

    @property
    def links(self) -> tuple[Link, ...]:
        """Tip, frame, block and calibration."""
        return links_to(
            tip=self.tip, frame=self.frame, block=self.block, calibration=self.calibration
        )

    @property
    def needs(self) -> tuple[Link, ...]:
        """All of them."""
        return self.links


class MountingBody(Body):
    """A tip was put into a frame; without ``tip`` the frame was left empty."""

    kind: ClassVar[str] = "mounting"
    frame: Name
    tip: Name | None
    on: Moment

    @property
    def label(self) -> str:
        """The frame."""
        return self.frame

    @property
    def links(self) -> tuple[Link, ...]:
        """Tip and frame."""
        return links_to(tip=self.tip, frame=self.frame)

    @property
    def needs(self) -> tuple[Link, ...]:
        """The same."""
        return self.links


class Used(Part):
    """A tip in a frame as a study used them, with the SHA-256 of the calibration, if any."""

    tip: Name
    frame: Name
    calibration: Hex | None = None


class StudyBody(Body):
    """A study that was run: hashes of recipe, decisions and list of results, and what it used.

    ``on`` is when it was run; ``measured_from`` and ``measured_to`` when its tests were made,
    where that is known.
    """

    kind: ClassVar[str] = "study"
    name: Name
    recipe_sha256: Hex
    decisions_sha256: Hex | None = None
    results_sha256: Hex
    used: tuple[Used, ...]
    version: Words
    on: Moment
    measured_from: Moment | None = None
    measured_to: Moment | None = None

    def fit(self) -> None:
        """``ValueError`` where values do not go together."""
        if not self.used:
            raise ValueError("it says not which tip was used; allowed: at least one")
        if (self.measured_from is None) != (self.measured_to is None):
            raise ValueError("only one end of the measuring is given; allowed: both or none")
        in_order(self.measured_from, self.measured_to)

    @property
    def label(self) -> str:
        """Its name."""
        return self.name

    @property
    def links(self) -> tuple[Link, ...]:
        """Recipe, results, and each tip, frame and calibration."""
        out = [("recipe", self.recipe_sha256), ("results", self.results_sha256)]
        for u in self.used:
            out += links_to(tip=u.tip, frame=u.frame, calibration=u.calibration)
        return tuple(dict.fromkeys(out))


class HealthBody(Body):
    """The tip's area at a chosen contact depth, as one check found it.

    ``u_area_m2`` is the standard uncertainty of what varies from check to check; ``tests`` how
    many tests the check had.
    """

    kind: ClassVar[str] = "health"
    tip: Name
    frame: Name | None = None
    on: Moment
    depth_m: Positive
    area_m2: Positive
    u_area_m2: NotNegative = 0.0
    tests: Count = 1
    material: Text = ""

    @property
    def label(self) -> str:
        """The tip."""
        return self.tip

    @property
    def links(self) -> tuple[Link, ...]:
        """Tip and frame."""
        return links_to(tip=self.tip, frame=self.frame)

    @property
    def needs(self) -> tuple[Link, ...]:
        """The same."""
        return self.links


class SignatureBody(Body):
    """Somebody signs an entry (by number and hash), or anything that has a SHA-256.

    Who signs, and when, stands in the entry itself.
    """

    kind: ClassVar[str] = "signature"
    entry: Count | None = None
    sha256: Hex
    subject: Words
    meaning: Words = "approved"
    remark: Text = ""

    @property
    def label(self) -> str:
        """What was signed."""
        return self.subject

    @property
    def links(self) -> tuple[Link, ...]:
        """The entry and the hash."""
        entry = None if self.entry is None else str(self.entry)
        return links_to(entry=entry, signed=self.sha256)


class RemarkBody(Body):
    """A remark on an entry, or on anything with a name."""

    kind: ClassVar[str] = "remark"
    about: Name
    entry: Count | None = None
    text: Words

    @property
    def label(self) -> str:
        """What it is about."""
        return self.about

    @property
    def links(self) -> tuple[Link, ...]:
        """The entry."""
        return links_to(entry=None if self.entry is None else str(self.entry))


class WithdrawalBody(Body):
    """The entry that it names was made in error and holds no more."""

    kind: ClassVar[str] = "withdrawal"
    of: Words

    @property
    def label(self) -> str:
        """What is withdrawn."""
        return self.of


class KeyBody(Body):
    """The public signing key of a person (Ed25519, base64). Signatures carry it themselves; this
    entry says whose it is."""

    kind: ClassVar[str] = "key"
    person: Name
    public: Words
    fingerprint: Words

    @property
    def label(self) -> str:
        """The key in sixteen characters."""
        return self.fingerprint


class KeyEndBody(Body):
    """A key that signs no more from this entry on: what was entered before stays."""

    kind: ClassVar[str] = "key end"
    fingerprint: Words
    how: Literal["lost", "replaced", "revoked"]

    @property
    def label(self) -> str:
        """The key that has ended."""
        return self.fingerprint


#: Every kind of entry by its name.
KINDS: dict[str, type[Body]] = {
    c.kind: c
    for c in (
        TipBody, FrameBody, BlockBody, CertificateBody, CalibrationBody, VerificationBody,
        MountingBody, StudyBody, HealthBody, SignatureBody, RemarkBody, WithdrawalBody,
        KeyBody, KeyEndBody,
    )
}  # fmt: skip
