"""Scratch tracks as a study file asks for them: ``[[tracks]]`` and ``[scratch]``."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from drypoint.recipe.base import (
    Few,
    NonNegative,
    Positive,
    Section,
    Share,
    Words,
    key,
    knob,
)
from drypoint.recipe.sections import Records
from drypoint.scratch import CandidateOptions, FrictionOptions, LevelOptions
from drypoint.scratch.adhesion import MODELS

PassKind = Literal["before", "scratch", "after", "leave out"]


class Tracks(Records):
    """Raw files of scratch tracks. Tip, frame and bench may be left out: friction is then not
    split, and depths are taken as free of the frame's compliance. The segment column, where there
    is one, is that of the passes."""

    passes: tuple[PassKind, ...] = key(
        "Passes of each file in their order, where the words and forces in it do not tell them; "
        "“leave out” for a stretch that is no pass.",
        (),
    )
    marks: dict[Literal["before", "scratch", "after"], Words] = key(
        "What stands in the names of files (or tests) that hold one pass each; what is left of "
        "the name is the track's. Usual words such as pre, scratch, post are known.",
        dict,
    )


class InputKeys(Section):
    """What is uncertain about the readings, shared by all tracks. Scales of normal force and
    depth, and the compliance, are those of the frame."""

    lateral_scale: Positive = key("Multiplies the lateral force.", 1.0)
    u_lateral_scale: NonNegative = key("Its standard uncertainty.", 0.0)
    position_scale: Positive = key("Multiplies the distance.", 1.0)
    u_position_scale: NonNegative = key("Its standard uncertainty.", 0.0)
    normal_zero_mN: float = key("Reading of normal force without contact.", 0.0, unit="mN")
    u_normal_zero_mN: NonNegative = key("Its standard uncertainty.", 0.0, unit="mN")
    lateral_zero_mN: float | None = key(
        "Reading of lateral force without contact; found from the track where left out.",
        None,
        unit="mN",
    )
    u_lateral_zero_mN: NonNegative = key("Its standard uncertainty.", 0.0, unit="mN")
    crosstalk: float = key("Share of the normal force that shows as lateral force.", 0.0)
    u_crosstalk: NonNegative = key("Its standard uncertainty.", 0.0)
    lateral_limit_mN: Positive | None = key(
        "Where the sensor of lateral force ends; recognised from the signal where left out.",
        None,
        unit="mN",
    )
    u_depth_zero_nm: NonNegative = key(
        "How well the zeros of depth of two passes agree.", 0.0, unit="nm"
    )
    u_position_um: NonNegative = key("How well their positions agree.", 0.0, unit="µm")


class WidthKeys(Section):
    """Width of a track as seen on a picture or profile, for the scratch hardness."""

    track: Words = key("Name of the track.")
    widths_um: Annotated[tuple[Positive, ...], Field(min_length=1)] = key(
        "Readings along the track.", unit="µm"
    )
    u_width_um: NonNegative = key(
        "Standard uncertainty of a single width; of several, of where both edges are seen.",
        0.0,
        unit="µm",
    )
    u_scale: NonNegative = key("Relative standard uncertainty of the picture's scale.", 0.0)
    load_mN: Positive | None = key(
        "Load at which it was read; that of the track where it is constant.", None, unit="mN"
    )
    how: Words = key("How it was measured.")


class PictureKeys(Section):
    """A picture of a track, laid along it by two points."""

    track: Words = key("Name of the track.")
    file: Words = key("PNG or JPEG, relative to the study file.")
    points: tuple[tuple[float, float], ...] = key(
        "Two points [x in pixels, distance in µm]; without them the picture is shown beside the "
        "track, not along it.",
        (),
    )
    about: str = key("What the picture shows.", "")


def _model_input(meaning: str, symbol: str) -> str:
    """The meaning of a key, and whose models give no estimate without it."""
    authors = [m.author for m in MODELS.values() if symbol in m.inputs]
    return f"{meaning} Without it, no estimate by {' or '.join(authors)}."


class AdhesionKeys(Section):
    """Estimates of adhesion from a critical load, by author."""

    specimen: Words = key("The coating, one of [specimens]; its thickness and nu are used.")
    event: Words = key("Name of the critical load, one of scratch.events.")
    authors: Annotated[
        tuple[
            Literal["Burnett and Rickerby", "Bull and Rickerby", "Laugier", "Benjamin and Weaver"],
            ...,
        ],
        Field(min_length=1),
    ] = key("Whose models.")
    E_GPa: Positive | None = key(
        _model_input("Young's modulus of the coating.", "E"), None, unit="GPa"
    )
    u_E_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")
    width_um: Positive | None = key(_model_input("Width of the track there.", "d"), None, unit="µm")
    u_width_um: NonNegative = key("Its standard uncertainty.", 0.0, unit="µm")
    section_um2: Positive | None = key(
        _model_input("Cross-section of the track there.", "A_t"), None, unit="µm²"
    )
    u_section_um2: NonNegative = key("Its standard uncertainty.", 0.0, unit="µm²")
    stress_GPa: float | None = key(
        _model_input("Compressive stress in the coating.", "sigma_0"), None, unit="GPa"
    )
    u_stress_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")
    hardness_GPa: Positive | None = key(
        _model_input("Hardness of the substrate.", "H"), None, unit="GPa"
    )
    u_hardness_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")
    k: Share | None = key(_model_input("Constant, 0.2 to 1.", "k"), None)
    u_k: NonNegative = key("Its standard uncertainty.", 0.0)


class ScratchKeys(Section):
    """How scratch tracks are worked up, and what was seen on them."""

    events: dict[str, Words] = key(
        "Names of critical loads, each with what was seen there in your own words: "
        "Lc1 = “first cracks at the edge of the track”.",
        dict,
    )
    zero: Literal["lead", "shared"] = knob(
        LevelOptions,
        "zero",
        "Zero of depth: each pass's from the lightly loaded start of the track, or one for all.",
        source="our own choice: the passes are readings of their own",
    )
    u_tilt_deg: Positive = knob(
        LevelOptions,
        "u_tilt",
        "Standard uncertainty of the tilt where nothing tells it.",
        unit="deg",
        source="our own choice: about half a degree as the half-width of a rectangle",
    )
    stretches: Annotated[int, Field(ge=10, le=2000)] = knob(
        FrictionOptions,
        "bins",
        "Stretches along a track of which friction and depths are given.",
        source="our own choice: one for each hundredth of a load that rises evenly",
    )
    slope_from_mN: Positive | None = knob(
        FrictionOptions,
        "low",
        "Load from which the slope of lateral force is fitted; a twentieth of the largest where "
        "left out.",
        unit="mN",
    )
    slope_to_mN: Positive | None = knob(
        FrictionOptions, "high", "Load up to which; the largest where left out.", unit="mN"
    )
    contact: Literal["load", "residual"] = knob(
        FrictionOptions,
        "contact",
        "Depth to which the contact reaches, for ploughing: under load (upper bound) or residual.",
        source="our own choice: the upper bound of ploughing, elastic recovery left out",
    )
    least_confidence: Share = knob(
        CandidateOptions,
        "least",
        "Confidence from which on a candidate is listed.",
        source="our own choice; what it means: docs/reference/scratch-rates.md",
    )
    first_load_share: Share = knob(
        CandidateOptions,
        "first",
        "Share of the largest load below which no candidate is looked for.",
        source="our own choice: first touch bends all signals",
    )
    most_candidates: Few = knob(
        CandidateOptions,
        "most",
        "Candidates on a track at most.",
        source="our own choice: more than a person looks at on one track",
    )
    load_step_share: Positive = knob(
        CandidateOptions,
        "load_step",
        "Where the load steps by more than this share, a change is no candidate.",
        source="our own choice: a step of the load moves every signal",
    )
    voices: tuple[Words, ...] = knob(
        CandidateOptions,
        "voices",
        "Further channels that speak for candidates, by the names of their columns; lateral force "
        "and depths always do. Others are shown only.",
        source="common practice: acoustic emission is recorded for the cracks of a coating",
    )
    difference_mN: Positive | None = key(
        "Difference of critical loads that shall be shown; the number of further tracks that "
        "would show it is then given.",
        None,
        unit="mN",
    )
    inputs: InputKeys = key("Uncertain inputs.", InputKeys)
    widths: tuple[WidthKeys, ...] = key("Widths of tracks.", ())
    pictures: tuple[PictureKeys, ...] = key("Pictures of tracks.", ())
    adhesion: tuple[AdhesionKeys, ...] = key("Estimates of adhesion.", ())
