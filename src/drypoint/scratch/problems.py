"""What the scratch room refuses, and what it says about a track that is not whole."""

from __future__ import annotations

from dataclasses import dataclass

from drypoint.errors import DrypointError


class ScratchError(DrypointError):
    """A track, or a question about it, is impossible."""


#: Code -> what it means for the results. A problem never stops what can still be computed.
CODES: dict[str, str] = {
    "no before": "No pass before the scratch: depths are not freed of topography.",
    "no after": "No pass after the scratch: no residual depth and no recovery.",
    "no scratch": "No scratch pass: only the surface is known.",
    "no depth": "Depth was not recorded.",
    "no lateral force": "Lateral force was not recorded: no friction.",
    "length": "A pass covers less of the track than the scratch does.",
    "direction": "A pass runs against the scratch.",
    "off track": "A pass shares no stretch with the scratch.",
    "saturated": "Lateral force stands at its limit over a stretch.",
    "lifted": "The tip left the surface during the scratch.",
    "not a number": "Some samples are not numbers.",
    "went back": "The position does not move steadily along the track.",
    "lateral zero": "The zero of lateral force is not known well.",
    "tilt": "The tilt of the surface could not be found.",
}


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with a track: a key of :data:`CODES`, a sentence, and where.

    ``kind`` is the pass's, empty for the track; ``start`` and ``stop`` (m along the track) bound
    the stretch, NaN where the whole pass is meant.
    """

    code: str
    sentence: str
    kind: str = ""
    start: float = float("nan")
    stop: float = float("nan")

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ScratchError(f"“{self.code}” is no problem that is known.")
