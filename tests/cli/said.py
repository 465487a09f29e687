"""What a command said, and the type of the fixtures that call it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Said:
    """Exit code and words of one command."""

    code: int
    out: str
    err: str

    @property
    def text(self) -> str:
        return self.out + self.err


Cli = Callable[..., Said]
