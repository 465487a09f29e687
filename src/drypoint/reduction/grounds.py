"""Every flag's code with its grounds. What is ascribed to a standard here is known second-hand or
from memory; common practice of the trade is called so."""

from __future__ import annotations

from drypoint.reduction.result import Flag

#: Flag code -> grounds, for the docs and the report.
GROUNDS: dict[str, str] = {
    "no drift hold": "ISO 14577-1 asks for drift to be measured or shown to be small",
    "drift": "common practice of the trade: a drift above 0.05 nm/s is mended only in part",
    "zero by threshold": "too few samples near contact for the extrapolated fit",
    "unsteady drift": "our own choice: the hold's curvature is above three times its uncertainty",
    "first contact misfit": "our own choice: chi-squared of two smooth shapes along the window, "
    "1 % of records that follow the law",
    "few samples at contact": "our own choice: ten samples show whether a law fits",
    "contact lost": "our own rule: the zero may be that of a first touch, a particle or a shock",
    "pop-in": "our own rule on the record's own noise: the loading curve is not one curve; below "
    "it the contact may be elastic",
    "pop-out": "our own rule on the record's own noise: the unloading is not elastic recovery "
    "alone, so S and h_c may be wrong",
    "step back": "our own rule on the record's own noise: under a rising force the depth cannot "
    "become less; specimen, mount or sensor has slipped, or there was a disturbance",
    "noise": "our own choice: beyond it single readings say little about this depth",
    "fit failed": "no stiffness without a fit",
    "poor fit": "residual above the limit set in the recipe",
    "odd exponent": "Oliver and Pharr 1992 found 1.25 to 1.51; 1 is a flat punch, 2 a cone",
    "pile-up likely": "Bolshakov and Pharr 1998: h_p/h_max above 0.7 with little hardening",
    "tip range": "the area function was not determined at this contact depth",
    "still elastic": "mean pressure of an elastic contact is no hardness",
    "hardness uncertain": "relative uncertainty above the limit set in the recipe",
    "creep at unloading": "the start of unloading holds creep as well as elastic recovery",
    "viscosity unknown": "Feng and Ngan 2002: the rate of creep at the end of a hold is needed",
    "measured area": "area of the impression as measured replaces the area function",
    "roughness": "ISO 14577-1 and -4: a depth of at least 20 Ra, so that the area is defined",
    "film depth": "common practice of the trade, also in ISO 14577-4: up to a tenth of the "
    "thickness the hardness is that of the film",
    "film radius": "second-hand from ISO 14577-4: moduli up to 1.5 of a/t (soft film on a hard "
    "substrate; 2 for a hard one) are extrapolated to zero",
    "thin specimen": "ISO 14577-1: at least ten depths or three diameters thick",
    "neighbour near": "ISO 14577-1: 5 diameters between impressions in ceramics and iron alloys, "
    "10 in other materials",
    "edge near": "ISO 14577-1: 3 diameters from an edge, an interface or a free surface",
    "outlier": "robust standard deviations from the median: Iglewicz and Hoaglin 1993; one "
    "population is assumed",
}


def raise_flag(code: str, sentence: str) -> Flag:
    """A flag with its grounds."""
    return Flag(code, sentence, GROUNDS[code])
