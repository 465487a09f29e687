"""What a running workbench was told: where the studies lie, who may come in, what may be sent."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass, field
from pathlib import Path

from drypoint.records.saved import home

#: Names by which this machine is reached from itself.
LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
MB = 1_000_000


@dataclass(frozen=True)
class Password:
    """A password as it is kept: salted and slow to try (scrypt), never as it was typed."""

    salt: bytes
    digest: bytes

    @classmethod
    def of(cls, text: str) -> Password:
        """Keep a password."""
        salt = secrets.token_bytes(16)
        return cls(salt, _scrypt(text, salt))

    def fits(self, text: str) -> bool:
        """Whether this is the password."""
        return hmac.compare_digest(self.digest, _scrypt(text, self.salt))


def _scrypt(text: str, salt: bytes) -> bytes:
    return hashlib.scrypt(text.encode("utf-8"), salt=salt, n=2**14, r=8, p=1)


@dataclass(frozen=True)
class Settings:
    """Settings of one workbench.

    Parameters
    ----------
    root : Path
        Folder of the studies. Nothing outside it is read or written through the pages.
    first : str
        Key of the study to open first; empty for the list of studies.
    port : int
    names : tuple of str
        Names by which it may be reached; requests under other names are refused.
    token : str
        In the printed opening address, which is valid once.
    secret : bytes
        Signs the cookies.
    password : Password, optional
        Asked for where the workbench is open to other machines.
    proxies : tuple of str
        Addresses of reverse proxies whose word on scheme and client is taken.
    upload_bytes, upload_files : int
        Largest file that may be dropped, and most files of a study folder.
    reading_bytes, reading_seconds, readable_bytes : int, float, int
        Memory and time in which one raw file is read for a page, and the largest that is.
    """

    root: Path
    first: str = ""
    port: int = 8017
    names: tuple[str, ...] = LOOPBACK
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    password: Password | None = None
    proxies: tuple[str, ...] = ()
    upload_bytes: int = 500 * MB
    upload_files: int = 20_000
    reading_bytes: int = 2_000 * MB
    reading_seconds: float = 60.0
    readable_bytes: int = 500 * MB

    @property
    def hosts(self) -> frozenset[str]:
        """Values of the header Host that are answered."""
        # Behind a proxy the port is that of the proxy: a default one, or stated with the name.
        plain = set(self.names) if self.port == 80 or self.proxies else set()
        return frozenset({f"{n}:{self.port}" for n in self.names} | plain)

    def cookie_name(self, secure: bool, kind: str = "") -> str:
        """Name of a cookie (cookies do not tell ports apart).

        ``secure``: the browser speaks TLS. It then takes the cookie only with ``Secure``, without
        ``Domain``, and from this very host (prefix ``__Host-``).
        """
        return ("__Host-" if secure else "") + "drypoint_" + kind + str(self.port)

    @property
    def pass_value(self) -> str:
        """What the cookie holds for whoever may come in."""
        what = self.password.digest if self.password is not None else b"token"
        text = b"|".join([str(self.root).encode(), str(self.port).encode(), what])
        return hmac.new(self.secret, text, hashlib.sha256).hexdigest()


def kept_secret() -> bytes:
    """The user's own key for cookies, so that an open page outlives a restart of the workbench.

    It is readable to the user alone. Where it cannot be kept, a new one serves until the end.
    """
    import os

    path = home() / "workbench.key"
    try:
        data = path.read_bytes()
        if len(data) == 32:
            return data
    except OSError:
        pass
    new = secrets.token_bytes(32)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        fd = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(fd, "wb") as file:
            file.write(new)
    except OSError:
        pass
    return new
