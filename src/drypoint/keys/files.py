"""The private keys in the user's folder: made, opened, given another passphrase, ended."""

from __future__ import annotations

import base64
import json
import os
import re
import secrets
import sys
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from drypoint.errors import SignerError, Where
from drypoint.keys.names import check_name, name_key
from drypoint.keys.proof import SigningKey, fingerprint
from drypoint.parsing import json_value
from drypoint.records.saved import home

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

#: Shortest passphrase (NIST SP 800-63B asks for at least 8; common practice for keys is 12).
SHORTEST = 12
_ENDS = ("lost", "replaced", "revoked")
_FORM = 1


@dataclass(frozen=True)
class KeyFile:
    """A key in the user's folder. ``ended`` is empty while it may sign, else ``lost``,
    ``replaced`` or ``revoked``; ``ended_on`` is the time (UTC)."""

    path: Path
    who: str
    public: str
    made: str
    ended: str = ""
    ended_on: str = ""

    @property
    def fingerprint(self) -> str:
        """The public key in sixteen characters."""
        return fingerprint(self.public)


def keys_folder() -> Path:
    """Where private keys lie."""
    return home() / "keys"


def keys_here() -> tuple[KeyFile, ...]:
    """All keys in the user's folder, by name and time; ended ones too.

    Raises
    ------
    SignerError
        When a file is damaged.
    """
    folder = keys_folder()
    found = [_read(p) for p in sorted(folder.glob("*.json"))] if folder.is_dir() else []
    return tuple(sorted(found, key=lambda k: (name_key(k.who), k.made)))


def find_key(who: str) -> KeyFile:
    """The key of a person that may sign.

    Raises
    ------
    SignerError
        When there is none.
    """
    mine = [k for k in keys_here() if name_key(k.who) == name_key(who) and not k.ended]
    if not mine:
        raise SignerError(
            f"No key of “{who}” is in {keys_folder()}.",
            remedy="Make one: drypoint key new --who NAME. Or sign without a key.",
        )
    return mine[-1]


def own_public(public: str) -> KeyFile | None:
    """The key file of a public key; ``None`` where it is not in the user's folder."""
    return next((k for k in keys_here() if k.public == public), None)


def new_key(who: str, passphrase: str) -> KeyFile:
    """Make a key for a person. The file is readable by its owner alone.

    Raises
    ------
    SignerError
        When the person has one that may sign, the passphrase is too short, or the name mixes
        scripts or looks like that of another key.
    """
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    here = keys_here()
    who = " ".join(who.split())
    if not who or not who.isprintable() or len(who) > 200:
        raise SignerError(f"invalid name: got “{who}”; expected up to 200 characters, not empty.")
    check_name(who, [k.who for k in here])
    if any(name_key(k.who) == name_key(who) and not k.ended for k in here):
        raise SignerError(
            f"{who} has a key already.", remedy="To take another one: drypoint key replace."
        )
    private = Ed25519PrivateKey.generate()
    made = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    stem = re.sub(r"[^a-z0-9]+", "-", name_key(who)).strip("-") or "key"
    path = keys_folder() / f"{stem}-{secrets.token_hex(4)}.json"
    key = KeyFile(path, who, _public(private), made)
    _write(key, _sealed(private, passphrase))
    return key


def open_key(key: KeyFile, passphrase: str) -> SigningKey:
    """Open a private key.

    Raises
    ------
    SignerError
        When the passphrase is wrong, the file is damaged, or the key has ended.
    """
    if key.ended:
        raise SignerError(
            f"The key {key.fingerprint} of {key.who} was {key.ended} on {key.ended_on[:10]}; it "
            "signs no more.",
            where=Where(str(key.path)),
        )
    return SigningKey(key.who, key.public, _opened(key, passphrase))


def change_passphrase(key: KeyFile, old: str, new: str) -> None:
    """Put a private key under another passphrase.

    Raises
    ------
    SignerError
        When the old one is wrong or the new one too short; the file is then as it was.
    """
    _write(key, _sealed(_opened(key, old), new))


def end_key(key: KeyFile, how: str) -> KeyFile:
    """Mark a key as lost, replaced or revoked; the private part is removed from the file.

    Raises
    ------
    SignerError
        When it has ended already.
    """
    if how not in _ENDS:
        raise SignerError(f"invalid end of a key: got “{how}”; expected {', '.join(_ENDS)}.")
    if key.ended:
        raise SignerError(f"The key {key.fingerprint} was {key.ended} already, on {key.ended_on}.")
    on = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    ended = KeyFile(key.path, key.who, key.public, key.made, how, on)
    _write(ended, "")
    return ended


def _public(private: Ed25519PrivateKey) -> str:
    from cryptography.hazmat.primitives import serialization as s

    raw = private.public_key().public_bytes(s.Encoding.Raw, s.PublicFormat.Raw)
    return base64.b64encode(raw).decode("ascii")


def _sealed(private: Ed25519PrivateKey, passphrase: str) -> str:
    """A private key as PEM (PKCS 8) under a passphrase."""
    from cryptography.hazmat.primitives import serialization as s

    if len(passphrase) < SHORTEST:
        raise SignerError(
            f"invalid passphrase: got {len(passphrase)} characters; expected at least {SHORTEST}.",
            remedy="Take a sentence that only you know.",
        )
    wrapped = s.BestAvailableEncryption(passphrase.encode("utf-8"))
    return private.private_bytes(s.Encoding.PEM, s.PrivateFormat.PKCS8, wrapped).decode("ascii")


def _opened(key: KeyFile, passphrase: str) -> Ed25519PrivateKey:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    text = _values(key.path).get("private", "")
    try:
        private = load_pem_private_key(text.encode("ascii"), passphrase.encode("utf-8"))
    except (ValueError, TypeError) as error:
        raise SignerError(
            f"The passphrase of the key {key.fingerprint} is wrong, or its file is damaged; "
            "nothing was written.",
            where=Where(str(key.path)),
            remedy="Try again. A passphrase cannot be recovered: if it is forgotten, use drypoint "
            "key lost, and make a new key.",
        ) from error
    if not isinstance(private, Ed25519PrivateKey) or _public(private) != key.public:
        raise SignerError(
            "The private key is not that of the public one.", where=Where(str(key.path))
        )
    return private


def _values(path: Path) -> dict[str, str]:
    try:
        values = json_value(path.read_text(encoding="utf-8"))
        if values["form"] != _FORM:
            raise ValueError(f"form {values['form']}")
        return {str(k): str(v) for k, v in values.items()}
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise SignerError(
            "The key file cannot be read.",
            where=Where(str(path)),
            remedy="Put it back from a copy, or move it away.",
        ) from error


def _read(path: Path) -> KeyFile:
    v = _values(path)
    try:
        return KeyFile(path, v["who"], v["public"], v["made"], v["ended"], v["ended_on"])
    except KeyError as error:
        raise SignerError("The key file is incomplete.", where=Where(str(path))) from error


def _write(key: KeyFile, private: str) -> None:
    """Write a key's file whole or not at all, readable by its owner alone from the first byte."""
    values = {
        "form": _FORM, "who": key.who, "public": key.public, "made": key.made,
        "ended": key.ended, "ended_on": key.ended_on, "private": private,
    }  # fmt: skip
    text = json.dumps(values, ensure_ascii=False, indent=1) + "\n"
    folder = key.path.parent
    partial = folder / f".{key.path.name}.{secrets.token_hex(4)}.tmp"
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if sys.platform != "win32":
            folder.chmod(0o700)
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL
        with os.fdopen(os.open(partial, flags, 0o600), "wb") as file:
            file.write(text.encode("utf-8"))
            file.flush()
            os.fsync(file.fileno())
        partial.replace(key.path)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise SignerError(
            f"The key cannot be written: {error.strerror or error}.", where=Where(str(key.path))
        ) from error
