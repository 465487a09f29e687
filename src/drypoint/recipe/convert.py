"""From the keys of a study file, in laboratory units, to the types of the rooms below, in SI."""

from __future__ import annotations

from dataclasses import replace
from typing import Any, TypeVar

from drypoint.recipe.base import Section, option_name, to_si, unit_of
from drypoint.recipe.equipment import FrameKeys, OscillatorKeys
from drypoint.recipe.knobs import Choices
from drypoint.recipe.sections import Records, Specimen
from drypoint.records.layout import Column, Layout
from drypoint.reduction.options import (
    AnalysisOptions,
    DriftOptions,
    DynamicOptions,
    FlagLimits,
    Options,
    SegmentOptions,
    ZeroOptions,
)
from drypoint.reduction.surroundings import Declared
from drypoint.tips.tip import Frame

S = TypeVar("S", bound=Section)


def merged(base: S, over: Section | None) -> S:
    """The section ``base`` with every key that ``over`` sets."""
    if over is None:
        return base
    changes: dict[str, Any] = {}
    for name in over.model_fields_set & base.__class__.model_fields.keys():
        ours, theirs = getattr(base, name), getattr(over, name)
        if isinstance(ours, Section) and isinstance(theirs, Section):
            theirs = merged(ours, theirs)
        changes[name] = ours if theirs is None else theirs
    return base.model_copy(update=changes)


def choices_for(study: Choices, specimen: Specimen | None) -> Choices:
    """The study's choices with those of one specimen in their place."""
    common = Choices(
        segments=study.segments,
        corrections=study.corrections,
        analysis=study.analysis,
        flags=study.flags,
        dynamic=study.dynamic,
    )
    return merged(common, specimen)


def options_of(choices: Choices) -> Options:
    """Choices in SI, as the reduction takes them."""
    segments = {**_si(choices.segments), "labels": tuple(choices.segments.labels.items())}
    analysis = _si(choices.analysis)
    if analysis["epsilon"] == "exponent":
        analysis["epsilon"] = None
    return Options(
        segments=SegmentOptions(**segments),
        zero=ZeroOptions(**_si(choices.corrections.zero)),
        drift=DriftOptions(**_si(choices.corrections.drift)),
        analysis=AnalysisOptions(**analysis),
        flags=FlagLimits(**_si(choices.flags)),
        dynamic=DynamicOptions(**_si(choices.dynamic)),
    )


def surroundings_of(specimen: Specimen) -> Declared:
    """What is declared of a specimen and its surface, in SI."""
    return Declared(
        film=to_si(_film_thickness(specimen), "nm"),
        roughness=to_si(specimen.roughness_Ra_nm, "nm"),
        thickness=to_si(specimen.bulk_thickness_um, "µm"),
        material=specimen.material_class,
        edges=to_si(specimen.edges_um, "µm"),
    )


def film_thicknesses(specimen: Specimen) -> list[tuple[float, float | None]]:
    """Thickness of a film and its standard uncertainty where stated, nm; one of each layer."""
    if specimen.thickness_nm is not None:
        return [(specimen.thickness_nm, specimen.u_thickness_nm)]
    return [
        (row.thickness_nm, row.u_thickness_nm)
        for row in specimen.layers
        if row.thickness_nm is not None
    ]


def _film_thickness(specimen: Specimen) -> float | None:
    """Of the film as a whole, nm."""
    return sum(t for t, _ in film_thicknesses(specimen)) or None


def frame_of(name: str, keys: FrameKeys | None) -> Frame:
    """A frame in SI. Without keys it is stiff, and its scales are exact."""
    if keys is None:
        return Frame(name=name, origin="not stated in the recipe")
    values = _si(keys)
    certificate = values.pop("certificate")
    if certificate:
        values["origin"] = f"certificate {certificate}"
    return Frame(name=name, **values)


def with_oscillator(frame: Frame, keys: OscillatorKeys) -> Frame:
    """A frame with the dynamic constants that the keys give."""
    given = {option_name(n, unit_of(i)) for n, i in OscillatorKeys.model_fields.items()
             if n in keys.model_fields_set}  # fmt: skip
    return replace(frame, **{k: v for k, v in _si(keys).items() if k in given})


def layout_of(records: Records) -> Layout:
    """How the readers are to read these files."""
    values = {
        name: getattr(records, name)
        for name in Layout.__dataclass_fields__
        if name != "columns" and name in type(records).model_fields
    }
    columns = {role: Column(**dict(column)) for role, column in records.columns.items()}
    return Layout(**values, columns=columns)


def declared_of(records: Records) -> dict[str, str]:
    """What the recipe declares for these tests, as words that replace those of the files."""
    given = {
        "date": records.date,
        "operator": records.operator,
        "temperature": _with_unit(records.temperature_C, "°C"),
        "humidity": _with_unit(records.humidity_percent, "%"),
    }
    return {name: words for name, words in given.items() if words is not None}


def _with_unit(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:g} {unit}"


def _si(section: Section) -> dict[str, Any]:
    """Fields of a section under their names without unit, in SI."""
    values = {}
    for name, info in type(section).model_fields.items():
        unit = unit_of(info)
        values[option_name(name, unit)] = to_si(getattr(section, name), unit)
    return values
