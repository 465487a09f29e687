"""Stress under the tip, as a study file asks for it: ``[stress.NAME]``."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from drypoint.recipe.base import (
    Cycles,
    NonNegative,
    Positive,
    Section,
    Share,
    Words,
    key,
)
from drypoint.recipe.context import unless
from drypoint.recipe.equipment import TipKeys
from drypoint.recipe.rules import Has, Needed, OneOf, Only

_EITHER = "in place of the yield stress"
_ONE = "Give one of the two."
_HARDENING = "One number cannot tell a yield stress and a hardening: give yield_GPa."


def _uncertainty_of(name: str) -> Only:
    """The uncertainty of a yield stress that is itself not given."""
    remedy = "Give it, or leave this out."
    return Only((f"u_{name}",), Has(name), remedy, f"{name} is not given.")


class SolidKeys(Section):
    """A solid. Without yield stress, hardness or table it is elastic."""

    name: str = key("Name of the solid, for tables and figures.", "")
    E_GPa: Positive | None = key(
        "Young's modulus; by default that of the specimen's layers or substrate.", None, unit="GPa"
    )
    u_E_GPa: NonNegative | None = key(
        "Its standard uncertainty; that of the specimen's layers where both are left out.",
        None,
        unit="GPa",
    )
    nu: Annotated[float, Field(ge=-0.9, le=0.5)] | None = key(
        "Poisson's ratio; by default the specimen's.", None
    )
    u_nu: NonNegative | None = key(
        "Its standard uncertainty; the specimen's where both are left out.", None
    )
    incompressible: bool = key("True where nu = 0.5 is meant.", False)
    yield_GPa: Positive | None = key(
        "Yield stress in uniaxial tension, before any hardening.", None, unit="GPa"
    )
    u_yield_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")
    hardness_GPa: Positive | None = key(
        f"Hardness by the true area under a Berkovich-like tip, {_EITHER}, which is found from it "
        "as that of a solid that does not harden.",
        None,
        unit="GPa",
    )
    u_hardness_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")
    yield_table: Annotated[tuple[tuple[NonNegative, Positive], ...], Field(max_length=1000)] = key(
        f"Pairs of plastic strain and true stress in GPa, {_EITHER}; straight between them, level "
        "after the last.",
        (),
    )
    hardening_exponent: Annotated[float, Field(ge=0, lt=1)] = key(
        "n of Y (1 + E ε_p / Y)^n: 0 for none, 0.1 to 0.3 for many metals.", 0.0
    )
    u_yield_table: Share = key(
        "Relative standard uncertainty of all stresses of the table together.", 0.0
    )
    hardening_slope_GPa: NonNegative = key(
        "Slope of stress over plastic strain, instead of an exponent.", 0.0, unit="GPa"
    )
    residual_stress_GPa: float = key(
        "Stress in the plane of the surface before the test, the same in all directions; tension "
        "is positive.",
        0.0,
        unit="GPa",
    )
    u_residual_stress_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")

    late: ClassVar = True
    key_rules: ClassVar = (
        Needed(("E_GPa", "nu"), unless("the specimen"), "Every layer and the substrate need it."),
        OneOf(("yield_GPa", "hardness_GPa", "yield_table"), _ONE),
        OneOf(("hardening_exponent", "hardness_GPa"), _HARDENING),
        OneOf(("hardening_slope_GPa", "hardness_GPa"), _HARDENING),
        *(_uncertainty_of(name) for name in ("yield_GPa", "hardness_GPa", "yield_table")),
    )


class StressLayerKeys(SolidKeys):
    """A bonded layer, the uppermost first."""

    thickness_nm: Positive | None = key("Thickness; by default the specimen's.", None, unit="nm")
    u_thickness_nm: NonNegative | None = key(
        "Its standard uncertainty; the specimen's where both are left out.", None, unit="nm"
    )

    key_rules: ClassVar = (
        *SolidKeys.key_rules,
        Needed(
            ("thickness_nm",),
            unless("the specimen"),
            "A layer has a thickness; the specimen states none for it.",
        ),
    )


class StressKeys(Section):
    """What a test does below the surface, by finite elements: `drypoint stress`."""

    specimen: Words | None = key(
        "Specimen whose Poisson's ratio, thickness and layers are taken where they are not given "
        "here, and in whose part of the report the run stands.",
        None,
    )
    tip: Words | None = key("Name of the tip, one of [tips].", None)
    bench: Words | None = key(
        "Name of a calibrated bench, one of [benches], whose tip is used. Where tip, bench and "
        "shape are left out: the tip of the specimen's records.",
        None,
    )
    shape: TipKeys | None = key("A tip of its own, instead of tip or bench.", None)
    rigid: bool = key("Take the tip as rigid, whatever its modulus.", False)
    layers: Annotated[tuple[StressLayerKeys, ...], Field(max_length=20)] = key(
        "Layers, the uppermost first.", ()
    )
    substrate: SolidKeys = key("What lies below all layers, without end.", SolidKeys)
    force_mN: Positive | None = key("Largest force.", None, unit="mN")
    depth_nm: Positive | None = key("Largest depth.", None, unit="nm")
    hold_s: NonNegative = key("Time at the largest force; it changes nothing.", 0.0)
    unload: bool = key("Take the tip out again at the end.", True)
    cycles: Cycles = key("Number of load cycles.", 1)
    cycle_forces: Literal["same", "rising"] = key(
        "Every cycle up to the largest force, or in even steps up to it.", "same"
    )
    back_to: Share = key(
        "Share of its force down to which each cycle but the last goes.",
        0.1,
        source="our own choice",
    )
    friction: Share = key("Coulomb's coefficient of friction between tip and specimen.", 0.0)
    quality: Literal["quick", "fine"] = key(
        "Mesh and steps: a look, or numbers to be quoted.", "quick"
    )
    uncertainty: bool = key(
        "Solve it twice more for every number of the solids that is stated with an uncertainty, to "
        "tell what these bring.",
        False,
    )
    vtu: Literal["none", "peak", "every step"] = key(
        "Steps of which the fields are written as VTU files, for viewers of VTK's format.", "none"
    )

    late: ClassVar = True
    key_rules: ClassVar = (
        OneOf(("force_mN", "depth_nm"), "Give the largest force or the largest depth.", True),
        OneOf(("tip", "bench", "shape"), _ONE),
        Only(
            ("cycles",),
            Has("force_mN"),
            "Give force_mN.",
            "cycles go to a force, and a depth is given.",
        ),
    )
