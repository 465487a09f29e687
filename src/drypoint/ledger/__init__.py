"""The lab's memory: tips, frames, checks, studies and signatures over the years.

Entries are only ever added, each tied to the one before by its hash. The database library is
loaded when a ledger is opened.
"""

from drypoint.ledger.body import Body
from drypoint.ledger.book import Ledger
from drypoint.ledger.chain import Break
from drypoint.ledger.entry import Draft, Entry, Head
from drypoint.ledger.kinds import (
    KINDS,
    BlockBody,
    CalibrationBody,
    CertificateBody,
    FrameBody,
    HealthBody,
    MountingBody,
    RemarkBody,
    SignatureBody,
    StudyBody,
    TipBody,
    Used,
    VerificationBody,
    WithdrawalBody,
)
from drypoint.ledger.place import default_path
from drypoint.ledger.queries import InUse, PastDate, Readings, Signed, SinceGood

__all__ = [
    "KINDS",
    "BlockBody",
    "Body",
    "Break",
    "CalibrationBody",
    "CertificateBody",
    "Draft",
    "Entry",
    "FrameBody",
    "Head",
    "HealthBody",
    "InUse",
    "Ledger",
    "MountingBody",
    "PastDate",
    "Readings",
    "RemarkBody",
    "SignatureBody",
    "Signed",
    "SinceGood",
    "StudyBody",
    "TipBody",
    "Used",
    "VerificationBody",
    "WithdrawalBody",
    "default_path",
]
