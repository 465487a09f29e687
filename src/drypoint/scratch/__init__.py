"""Scratch tracks: levelling, friction, critical loads, replicates, hardness, adhesion. Pure.

``track``: passes and what is known. ``problems``: what is wrong with a track, in words.
"""

from drypoint.scratch.problems import CODES, Problem, ScratchError
from drypoint.scratch.track import KINDS, Declared, Inputs, Known, Pass, Track

__all__ = [
    "CODES",
    "KINDS",
    "Declared",
    "Inputs",
    "Known",
    "Pass",
    "Problem",
    "ScratchError",
    "Track",
]
