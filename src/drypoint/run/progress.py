"""Progress and cancel: what a long piece of work tells whoever watches it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from drypoint.errors import DrypointError


@dataclass(frozen=True)
class Step:
    """Where the work stands: ``done`` of ``total`` in ``stage``, with a few words."""

    stage: str
    done: int
    total: int
    words: str = ""


class Cancelled(DrypointError):  # noqa: N818
    """The user stopped the work; nothing was written."""


Observer = Callable[[Step], None]
Stop = Callable[[], bool]


@dataclass(frozen=True)
class Watch:
    """Somebody who watches (``observe``) and may stop the work (``stop``)."""

    observe: Observer | None = None
    stop: Stop | None = None

    def at(self, stage: str, done: int, total: int, words: str = "") -> None:
        """Report a step; raises :class:`Cancelled` when asked to stop."""
        if self.stop is not None and self.stop():
            raise Cancelled("The work was stopped on request; earlier results are unchanged.")
        if self.observe is not None:
            self.observe(Step(stage, done, total, words))
