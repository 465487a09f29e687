"""Signing keys of persons, and names that cannot be mistaken for one another.

A key (Ed25519, RFC 8032) is optional. The private key lies in the user's folder under a passphrase;
the public key travels in every signature that it made. Whose it is, the ledger says.
"""

from drypoint.keys.files import (
    KeyFile,
    change_passphrase,
    end_key,
    find_key,
    keys_here,
    new_key,
    open_key,
    own_public,
)
from drypoint.keys.names import check_name, name_key, skeleton
from drypoint.keys.proof import SigningKey, fingerprint, verifies

__all__ = [
    "KeyFile",
    "SigningKey",
    "change_passphrase",
    "check_name",
    "end_key",
    "find_key",
    "fingerprint",
    "keys_here",
    "name_key",
    "new_key",
    "open_key",
    "own_public",
    "skeleton",
    "verifies",
]
