"""A coated specimen as a study file describes it: layers, substrate, how the film is found."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field

from drypoint.recipe.base import NonNegative, Positive, Section, Share, Steps, Words, key
from drypoint.recipe.context import (
    LAYER_MODULUS_LEFT_OPEN,
    NOT_UPPERMOST,
    THICKNESS_LEFT_OPEN,
    sought_or_not,
)
from drypoint.recipe.rules import Has, Needed, Only

#: Numbers of a layer, or of the substrate, that the tests may be asked for.
LayerNumber = Literal["E", "nu", "thickness"]
SubstrateNumber = Literal["E", "nu"]

_NUMBER = "The exact solution needs this number."

Ratio = Annotated[float, Field(gt=-1, le=0.5)]


class FilmLayerKeys(Section):
    """A layer of a coated specimen, the uppermost first."""

    name: Words = key("Name of the layer.", "film")
    E_GPa: Positive | None = key(
        "Young's modulus, as known, or where the search begins.",
        None,
        unit="GPa",
    )
    u_E_GPa: NonNegative | None = key(
        "Its standard uncertainty; where it is sought, how well it was known before.",
        None,
        unit="GPa",
    )
    nu: Ratio | None = key(
        "Poisson's ratio; by default that of the specimen for the uppermost layer.", None
    )
    u_nu: NonNegative | None = key("Its standard uncertainty.", None)
    thickness_nm: Positive | None = key(
        "Thickness; by default that of the specimen for a single layer.", None, unit="nm"
    )
    u_thickness_nm: NonNegative | None = key(
        "Its standard uncertainty; where it is sought, how well it was known before.",
        None,
        unit="nm",
    )
    sought: tuple[LayerNumber, ...] = key(
        "What the tests shall tell of this layer. Where nothing is sought in any layer or the "
        "substrate, the modulus of the uppermost layer is.",
        (),
    )
    interface: Literal["bonded", "slipping"] = key(
        "How the layer holds to what lies below it: firmly, or free to slide.",
        "bonded",
        source="common practice: films are taken as bonded",
    )
    residual_stress_GPa: float = key(
        "Stress in the plane of the layer before the test, the same in all directions; tension is "
        "positive. It enters words and stress runs, and corrects no number.",
        0.0,
        unit="GPa",
    )
    u_residual_stress_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")

    key_rules: ClassVar = (
        Needed(("E_GPa",), LAYER_MODULUS_LEFT_OPEN, sought_or_not),
        Needed(("nu",), NOT_UPPERMOST, _NUMBER),
        Needed(("thickness_nm",), THICKNESS_LEFT_OPEN, _NUMBER),
    )


class FilmSubstrateKeys(Section):
    """What carries the layers."""

    name: Words = key("Name of the substrate.", "substrate")
    reference: Words | None = key(
        "Name of a packaged reference material, which gives modulus and Poisson's ratio.", None
    )
    E_GPa: Positive | None = key("Young's modulus.", None, unit="GPa")
    u_E_GPa: NonNegative | None = key("Its standard uncertainty.", None, unit="GPa")
    nu: Ratio | None = key("Poisson's ratio.", None)
    u_nu: NonNegative | None = key("Its standard uncertainty.", None)
    sought: tuple[SubstrateNumber, ...] = key("What the tests shall tell of the substrate.", ())
    hardness_GPa: Positive | None = key(
        "Hardness; with it the models of film hardness are used beside the plateau.",
        None,
        unit="GPa",
    )
    u_hardness_GPa: NonNegative = key("Its standard uncertainty.", 0.0, unit="GPa")

    key_rules: ClassVar = (
        Needed(("E_GPa", "nu"), Has("reference", yes=False), _NUMBER),
        Only(
            ("E_GPa", "u_E_GPa", "nu", "u_nu"),
            Has("reference", yes=False),
            "Leave one of them out.",
            "a reference is given too.",
        ),
    )


class FilmAnalysisKeys(Section):
    """How film values are found from the tests of a coated specimen."""

    u_model: Share = key(
        "Relative standard uncertainty of the elastic solution for a dent, shared by all tests.",
        0.03,
        source="our finite-element tests (docs/explanation/films.md)",
    )
    up_to_depth: Positive = key(
        "Tests with a contact depth up to this share of the uppermost layer's thickness are used.",
        1.0,
        source="our own choice: deeper, the tip is through the film",
    )
    pile_up: Literal["counted", "noted"] = key(
        "What the size of pile-up and sink-in, as h_p/h_max and the work of loading allow it, is "
        "for: counted in the film's values, the contact areas in the middle of their range and the "
        "range in the uncertainty, or only noted beside them. Counted for pyramids and cones of "
        "about 70 degrees.",
        "counted",
        source="our finite-element tests (docs/explanation/films.md)",
    )
    sampling: bool = key(
        "Whether the posterior is sampled too (Monte Carlo; needs the extra mcmc).", False
    )
    sampling_steps: Steps = key("Steps of each walker.", 1500, source="our own choice")
