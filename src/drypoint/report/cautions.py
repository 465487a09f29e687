"""What every report says about itself and about safety."""

from __future__ import annotations

from drypoint.report.model import Items, Section

STATEMENT = (
    "This report is not an accredited certificate. Its values are no basis for a "
    "safety-critical release; for that, have the specimens tested by an accredited laboratory."
)

INVENTED = (
    "Invented data: every record behind this report was made up. The values say nothing about "
    "any real material."
)

CAUTIONS = (
    "Local rules come first: those of your laboratory, of the instrument's maker and of the law.",
    "The stage moves by itself and the tip is fragile: keep fingers and loose parts away, and "
    "retract the tip before the specimen is moved.",
    "Glass and other brittle specimens can throw fragments; wear eye protection.",
    "Dust from grinding and polishing, and etchants, are hazardous: use extraction, gloves and "
    "the safety data sheets.",
    "Values of this report are no basis for a safety-critical release without an accredited "
    "laboratory.",
)

LEFT_OUT = (
    "Pile-up and sink-in: the contact area is taken from the area function at the contact depth, "
    "unless an area was measured on the impression.",
    "The form of the models: the power law of unloading, the factors beta and epsilon beyond the "
    "uncertainty that is stated for them.",
    "Tilt of the specimen, roughness of its surface, and what preparation did to it.",
    "Neighbouring impressions, edges and layers below the surface.",
    "Inputs for which the recipe states no uncertainty count as exact (see the tip, the frame and "
    "the scales above).",
    "Changes of instrument, operator or day that these tests do not span.",
)


def cautions() -> Section:
    """The section on safety."""
    return Section("cautions", "Cautions", (Items(CAUTIONS),))
