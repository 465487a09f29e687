"""Sign bytes with a person's key, and verify it (Ed25519, RFC 8032)."""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

#: Set before what is signed, so that a signature for one purpose serves no other.
_PURPOSE = b"drypoint signature 2\0"


@dataclass(frozen=True)
class SigningKey:
    """An opened private key. ``public`` is the public key in base64; ``who`` its owner's name."""

    who: str
    public: str
    _private: Ed25519PrivateKey = field(repr=False)

    def sign(self, data: bytes) -> str:
        """The signature of some bytes, in base64."""
        return base64.b64encode(self._private.sign(_PURPOSE + data)).decode("ascii")


def verifies(public: str, data: bytes, proof: str) -> bool:
    """Whether a signature of some bytes was made with the private key of ``public``."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        key = Ed25519PublicKey.from_public_bytes(base64.b64decode(public, validate=True))
        key.verify(base64.b64decode(proof, validate=True), _PURPOSE + data)
    except (InvalidSignature, ValueError):
        return False
    return True


def fingerprint(public: str) -> str:
    """A public key in sixteen characters, as persons compare it."""
    digest = hashlib.sha256(public.encode("ascii", "replace")).hexdigest()[:16]
    return "-".join(digest[i : i + 4] for i in range(0, 16, 4))
