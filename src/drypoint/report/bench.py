"""Instrument, indenter, area function and frame, as they were used."""

from __future__ import annotations

import numpy as np

from drypoint.figures.area import area_function, contact_depths
from drypoint.figures.labels import input_words, number
from drypoint.recipe.equipment import TipKeys
from drypoint.records.batch import Batch
from drypoint.report.cited import calibration_cited
from drypoint.report.inputs import input_in_units
from drypoint.report.model import Block, Column, Drawing, Facts, Heading, Section, Table
from drypoint.report.specimens import NOT_STATED
from drypoint.report.words import between, declared_span, typeset
from drypoint.run.result import Group, StudyResult
from drypoint.tips.tip import Frame, Tip
from drypoint.uncertainty.rounding import round_pair

AREA_WORDS = {
    "ideal": "the ideal shape",
    "series": "series A_p = C0 h_c² + C1 h_c + C2 h_c^(1/2) + ..., depth in nm, area in nm²",
    "blunted": "pyramid or cone with a rounded end (sphere that runs into the faces)",
    "table": "table of areas at fixed depths, monotone interpolation",
}
_FOUND = {
    "beta": "beta",
    "epsilon": "epsilon",
    "radial_correction": "radial correction",
    "depth_at_F_max": "depth at F_max",
    "window": "fit window",
    "reference": "reference material",
    "E_r_GPa": "its reduced modulus in GPa",
    "u_E_r_GPa": "with standard uncertainty in GPa",
}


def bench(result: StudyResult) -> Section:
    """Instrument, indenters and frames."""
    blocks: list[Block] = [Heading("Instrument"), Facts(instrument(result.batch))]
    tips: dict[str, Group] = {}
    frames: dict[str, Group] = {}
    for g in result.groups:
        tips.setdefault(g.tip, g)
        frames.setdefault(g.frame, g)
    blocks += [b for loaded in result.study.benches.values() for b in calibration_cited(loaded)]
    for name, g in tips.items():
        blocks += [
            Heading(f"Indenter {name} and its area function"),
            Facts(_tip(result, g.bench.tip, name)),
            area_parameters(g.bench.tip),
        ]
        if len(contact_depths(result, name)):
            blocks.append(Drawing((area_function(result, name),)))
    for name, g in frames.items():
        blocks += [Heading(f"Frame {name}".replace("Frame frame", "Load frame")),
                   Facts(_frame(result, g.bench.frame, g.bench.linked is not None))]  # fmt: skip
    return Section("bench", "Instrument, indenter and frame", tuple(blocks))


def instrument(batch: Batch) -> tuple[tuple[str, str], ...]:
    """What the files say of the instrument."""
    declared = [t.declared for t in batch.tests]
    return (
        ("Instrument", declared_span(d.get("instrument") for d in declared)),
        ("Indenter as the files name it", declared_span(d.get("indenter") for d in declared)),
    )


def value_with_u(value: float, u: float, unit: str) -> str:
    """A value with its standard uncertainty in words."""
    if not u:
        return f"{typeset(f'{value:.6g}')}{unit} (no uncertainty stated; taken as exact)"
    left, right = round_pair(value, u)
    return f"{typeset(left)}{unit}, standard uncertainty {right}{unit}"


def _tip(result: StudyResult, tip: Tip, name: str) -> tuple[tuple[str, str], ...]:
    keys = result.study.file.tips.get(name)
    g, area = tip.geometry, tip.area
    pairs = [("Shape", g.shape)]
    if g.angle is not None:
        of = "Face angle" if g.sides else "Half angle"
        words = value_with_u(float(np.degrees(g.angle)), float(np.degrees(g.u_angle)), "°")
        if keys is None:  # a calibrated bench: what counts is what was found
            words = f"{np.degrees(g.angle):.6g}° as stated; the calibration found what follows"
        pairs.append((of, words))
    if g.radius is not None:
        pairs.append(("Radius", value_with_u(g.radius * 1e9, g.u_radius * 1e9, " nm")))
    pairs += [
        ("Modulus of the indenter E_i", value_with_u(tip.E_i / 1e9, tip.u_E_i / 1e9, " GPa")),
        ("Poisson's ratio of the indenter", value_with_u(tip.nu_i, tip.u_nu_i, "")),
        *_stated(keys),
        ("Area function", AREA_WORDS[area.kind]),
        ("Range of contact depths", area_range(tip)),
        ("Contact depths of the tests", between(contact_depths(result, name) * 1e9) + " nm"),
        ("Covariance", _covariance(tip)),
        ("From", "; ".join(dict.fromkeys(o for o in area.parameters.origin if o)) or NOT_STATED),
        ("Found under", found_words(area.found_with)),
    ]
    return tuple(pairs)


def _stated(keys: TipKeys | None) -> list[tuple[str, str]]:
    """What a recipe says of a tip beyond its numbers; a calibrated bench says it in its file."""
    if keys is None:
        return []
    return [
        ("Certificate", keys.certificate or NOT_STATED),
        ("Serial number", keys.serial or NOT_STATED),
    ]


def area_range(tip: Tip) -> str:
    """Contact depths for which the area function was found."""
    low, high = tip.area.h_min * 1e9, tip.area.h_max * 1e9
    if not np.isfinite(high):
        return "no upper end stated" + (f", from {number(low)} nm" if low > 0 else "")
    return f"{number(low)} to {number(high)} nm"


def _covariance(tip: Tip) -> str:
    p = tip.area.parameters
    if not len(p.names) or not np.any(p.sd > 0):
        return "none; the parameters count as exact"
    off = p.cov - np.diag(np.diag(p.cov))
    if np.any(off != 0):
        return "stated, with correlation between the parameters"
    return "standard uncertainties only; the parameters count as independent"


def found_words(found: tuple[tuple[str, str], ...]) -> str:
    """The rule under which an area function was found."""
    if not found:
        return "not stated (declared or ideal shape)"
    return "; ".join(f"{_FOUND.get(k, k)}: {v}" for k, v in found)


def area_parameters(tip: Tip) -> Table:
    """The parameters of an area function with their standard uncertainties."""
    p = tip.area.parameters
    rows = []
    for i, name in enumerate(p.names):
        value, unit = input_in_units(name, float(p.mean[i]))
        u, _ = input_in_units(name, float(p.sd[i]))
        left, right = round_pair(value, u)
        words = input_words(name)
        if tip.area.kind == "table":
            words = f"area at h_c = {number(tip.area.knots[i] * 1e9)} nm"
        rows.append((words, typeset(left), right, unit))
    columns = (Column("Parameter"), Column("Value", "number"),
               Column("Standard uncertainty", "number"), Column("Unit"))  # fmt: skip
    return Table("Parameters of the area function.", columns, tuple(rows))


def _frame(result: StudyResult, frame: Frame, linked: bool) -> tuple[tuple[str, str], ...]:
    per_mN = 1e-6
    pairs = [
        ("Compliance of the frame",
         value_with_u(frame.compliance / per_mN, frame.u_compliance / per_mN, " nm/mN")),
        ("Compliance of the mount",
         value_with_u(frame.mount_compliance / per_mN, frame.u_mount_compliance / per_mN,
                      " nm/mN")),
        ("Force scale", value_with_u(frame.force_scale, frame.u_force_scale, "")),
        ("Depth scale", value_with_u(frame.depth_scale, frame.u_depth_scale, "")),
        *(
            (name, value_with_u(scale * value, scale * u, unit))
            for name, value, u, scale, unit in (
                ("Support spring", frame.support_spring, frame.u_support_spring, 1.0, " N/m"),
                ("Moving mass", frame.moving_mass, frame.u_moving_mass, 1e3, " g"),
                ("Damping of the instrument", frame.damping, frame.u_damping, 1.0, " N s/m"),
            )
            if value is not None
        ),
        ("From", frame.origin),
    ]  # fmt: skip
    if linked:
        pairs.append(("Tip and frame", "found together; their joint covariance is used"))
    return tuple(pairs)
