"""Scratch tracks: levelling, friction, critical loads, replicates, hardness, adhesion. Pure.

``track``: passes and what is known. ``level``: true depths and forces, with what is wrong in
words (``problems``). ``candidates`` for critical loads (``series``, ``contrasts``, ``search``,
``locate``, ``confidence`` serve it). ``friction`` and ``ploughing``, ``wear``: of one track.
``replicates`` and ``coatings``: of many. ``hardness``, ``adhesion``: from width and critical load.
``bins``, ``examine``, ``surface``,
``lateral`` serve these.
"""

from drypoint.scratch.adhesion import MODELS, Estimate, adhesion
from drypoint.scratch.candidates import Candidate, CandidateOptions, Voice, candidates
from drypoint.scratch.coatings import CoatingComparison, compare_coatings, tracks_needed
from drypoint.scratch.friction import Friction, FrictionOptions, Slope, friction
from drypoint.scratch.hardness import ScratchHardness, scratch_hardness
from drypoint.scratch.lateral import CrossTalk, find_crosstalk
from drypoint.scratch.level import Levelled, LevelOptions, level
from drypoint.scratch.ploughing import ploughing
from drypoint.scratch.problems import CODES, Problem, ScratchError
from drypoint.scratch.replicates import Fitted, Loads, Replicates, replicates
from drypoint.scratch.shares import fitted_share, seen_share
from drypoint.scratch.surface import Line
from drypoint.scratch.track import KINDS, Declared, Inputs, Known, Pass, Track
from drypoint.scratch.wear import Wear, wear

__all__ = [
    "CODES",
    "KINDS",
    "MODELS",
    "Candidate",
    "CandidateOptions",
    "CoatingComparison",
    "CrossTalk",
    "Declared",
    "Estimate",
    "Fitted",
    "Friction",
    "FrictionOptions",
    "Inputs",
    "Known",
    "LevelOptions",
    "Levelled",
    "Line",
    "Loads",
    "Pass",
    "Problem",
    "Replicates",
    "ScratchError",
    "ScratchHardness",
    "Slope",
    "Track",
    "Voice",
    "Wear",
    "adhesion",
    "candidates",
    "compare_coatings",
    "find_crosstalk",
    "fitted_share",
    "friction",
    "level",
    "ploughing",
    "replicates",
    "scratch_hardness",
    "seen_share",
    "tracks_needed",
    "wear",
]
