"""From the keys of scratch tracks to files, layouts, tips, inputs and options in SI."""

from __future__ import annotations

from dataclasses import replace

from drypoint.errors import RecipeError, Where
from drypoint.recipe.base import to_si
from drypoint.recipe.convert import declared_of, layout_of
from drypoint.recipe.study import Study
from drypoint.records.layout import Layout
from drypoint.scratch import (
    CandidateOptions,
    FrictionOptions,
    Inputs,
    Known,
    LevelOptions,
)
from drypoint.tips.tip import Bench, Frame, Tip


def track_files(study: Study, i: int) -> tuple[str, ...]:
    """Files of the tracks table ``i``, sorted, as the study names them.

    Raises
    ------
    RecipeError
        When a pattern finds no file, or one that another table has too.
    """
    owner: dict[str, str] = {}
    for k in range(len(study.file.records)):
        owner.update(dict.fromkeys(study.record_files(k), f"records[{k + 1}]"))
    pictures = {p.file.replace("\\", "/") for p in study.file.scratch.pictures}
    mine: tuple[str, ...] = ()
    for k, table in enumerate(study.file.tracks[: i + 1]):
        names: set[str] = set()
        for pattern in table.files:
            matches, odd = study.find_all(pattern)
            if not matches and not odd:
                raise RecipeError(
                    f"“{pattern}” finds no file in {study.folder}.",
                    where=Where(str(study.path), key=f"tracks[{k + 1}].files"),
                    remedy="Patterns are relative to the study file; * stands for any text, "
                    "** for any folders.",
                )
            names.update(matches)
        mine = tuple(sorted(names - pictures))
        for name in mine:
            first = owner.setdefault(name, f"tracks[{k + 1}]")
            if first != f"tracks[{k + 1}]":
                raise RecipeError(
                    f"{name} belongs to {first} too.",
                    where=Where(str(study.path), key=f"tracks[{k + 1}].files"),
                    remedy="Make the patterns narrower: a file is read once.",
                )
    return mine


def track_layout(study: Study, i: int) -> Layout:
    """How the files of the tracks table ``i`` are to be read."""
    return replace(layout_of(study.file.tracks[i]), track=True)


def track_declared(study: Study, i: int) -> dict[str, str]:
    """What the tracks table ``i`` says in place of the headers of its files."""
    return declared_of(study.file.tracks[i])


def track_bench(study: Study, i: int) -> tuple[Tip | None, Frame]:
    """Tip (``None`` where none is known) and frame of the tracks table ``i``."""
    table, file = study.file.tracks[i], study.file
    name = table.bench
    if name is None and table.tip is None and not file.tips and len(file.benches) == 1:
        name = next(iter(file.benches))
    if name is not None:
        bench = study.calibrated(name)
        return bench.tip, bench.frame
    if table.tip is None and not file.tips:
        return None, Frame(origin="not stated in the recipe")
    whole: Bench = study.bench(table.tip, table.frame)
    return whole.tip, whole.frame


def inputs_of(study: Study, frame: Frame) -> Inputs:
    """Uncertain inputs in SI: those of [scratch.inputs], and of the frame."""
    k = study.file.scratch.inputs

    def mN(value: float, u: float) -> Known:
        return Known(to_si(value, "mN"), to_si(u, "mN"))

    return Inputs(
        normal_scale=Known(frame.force_scale, frame.u_force_scale),
        lateral_scale=Known(k.lateral_scale, k.u_lateral_scale),
        depth_scale=Known(frame.depth_scale, frame.u_depth_scale),
        position_scale=Known(k.position_scale, k.u_position_scale),
        normal_zero=mN(k.normal_zero_mN, k.u_normal_zero_mN),
        lateral_zero=None
        if k.lateral_zero_mN is None
        else mN(k.lateral_zero_mN, k.u_lateral_zero_mN),
        crosstalk=Known(k.crosstalk, k.u_crosstalk),
        compliance=Known(
            frame.compliance + frame.mount_compliance,
            (frame.u_compliance**2 + frame.u_mount_compliance**2) ** 0.5,
        ),
        lateral_limit=to_si(k.lateral_limit_mN, "mN"),
        u_depth_zero=to_si(k.u_depth_zero_nm, "nm"),
        u_position=to_si(k.u_position_um, "µm"),
    )


def scratch_options(study: Study) -> tuple[LevelOptions, FrictionOptions, CandidateOptions]:
    """Options of levelling, friction and candidates, in SI."""
    k = study.file.scratch
    return (
        LevelOptions(zero=k.zero, u_tilt=to_si(k.u_tilt_deg, "deg")),
        FrictionOptions(
            bins=k.stretches,
            low=to_si(k.slope_from_mN, "mN"),
            high=to_si(k.slope_to_mN, "mN"),
            contact=k.contact,
        ),
        CandidateOptions(
            least=k.least_confidence,
            level=study.file.output.level_of_confidence,
            first=k.first_load_share,
            most=k.most_candidates,
            load_step=k.load_step_share,
            voices=k.voices,
        ),
    )
