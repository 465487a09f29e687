"""Under which rule a tip was found, and whether this analysis keeps to it.

An area function found on a reference material is A = (pi/4) (S / (beta E_r))^2 at each contact
depth: it scales with 1/(beta^2 E_r^2) [oliver1992]. So at equal beta an error of beta cancels in
the modulus (E_r ~ S / (beta sqrt(A))) and not in the hardness (F / A ~ beta^2), and an error of the
reference modulus enters both. The scale of the area carries that, jointly with beta.
"""

from __future__ import annotations

import numpy as np

from drypoint import materials
from drypoint.contact.unloading import radial_factor
from drypoint.errors import DrypointError, TipError
from drypoint.reduction.options import AnalysisOptions
from drypoint.tips.tip import Tip
from drypoint.uncertainty.joint import Joint, single

SCALE = "tip.scale"


def _words(tip: Tip) -> dict[str, str]:
    return dict(tip.area.found_with)


def rule_scale(tip: Tip, analysis: AnalysisOptions) -> float:
    """Factor on the area function that brings it from its own rule to this analysis's.

    Returns
    -------
    float
        1 where the rules agree or none is stated. With ``recalibrate_tip`` and another beta or
        radial correction: (beta_then gamma_then / beta_now gamma_now)^2 on the reference material.

    Raises
    ------
    TipError
        When the rules differ and the tip cannot, or shall not, be recalibrated.
    """
    words = _words(tip)
    epsilon = words.get("epsilon")
    here = "exponent" if analysis.epsilon is None else repr(float(analysis.epsilon))
    if epsilon is not None and epsilon != here and not _same(epsilon, here):
        raise TipError(
            f"Tip “{tip.name}” was found with epsilon = {epsilon}; this analysis uses {here}.",
            remedy="Contact depths would mean something else. Use the same rule, or calibrate the "
            "tip again from its reference tests.",
        )
    beta = float(words.get("beta", analysis.beta))
    radial = words.get("radial_correction", str(analysis.radial_correction)).lower() == "true"
    if beta == analysis.beta and radial == analysis.radial_correction:
        return 1.0
    if not analysis.recalibrate_tip:
        raise TipError(
            f"Tip “{tip.name}” was found with beta = {beta:g}"
            f"{' and' if radial else ' without'} the radial correction; this analysis uses "
            f"beta = {analysis.beta:g}{' and' if analysis.radial_correction else ' without'} it.",
            remedy="Use the same rule, or set recalibrate_tip = true under [analysis].",
        )
    factor = beta / analysis.beta
    if radial != analysis.radial_correction:
        gamma = float(radial_factor(_reference_nu(tip), tip.geometry.equivalent_half_angle))
        factor *= gamma if radial else 1.0 / gamma
    return factor * factor


def _same(a: str, b: str) -> bool:
    try:
        return float(a) == float(b)
    except ValueError:
        return False


def _reference_nu(tip: Tip) -> float:
    name = _words(tip).get("reference", "")
    try:
        return materials.load(name).nu
    except DrypointError as error:
        raise TipError(
            f"The reference material “{name}” of tip “{tip.name}” is not known, so the radial "
            "correction of its calibration cannot be changed.",
            remedy="Use the rule under which the tip was found.",
        ) from error


def beta_and_scale(tip: Tip, analysis: AnalysisOptions, origin: str) -> Joint:
    """beta and the scale of the area function as one joint distribution.

    For a tip found under a stated beta both move together: the scale goes as beta^-2 and as
    E_r^-2 of the reference. For any other tip beta stands alone.
    """
    words = _words(tip)
    beta = analysis.beta
    if not {"beta", "E_r_GPa", "radial_correction"} & words.keys():
        return single("beta", beta, analysis.u_beta, origin)
    scale = rule_scale(tip, analysis)
    u_rel = 0.0
    if "E_r_GPa" in words:
        u_rel = float(words.get("u_E_r_GPa", 0.0)) / float(words["E_r_GPa"])
    u_b = analysis.u_beta / beta if "beta" in words else 0.0
    var_scale = scale * scale * 4.0 * (u_b * u_b + u_rel * u_rel)
    cov = -2.0 * scale * u_b * analysis.u_beta
    return Joint(
        ("beta", SCALE),
        np.array([beta, scale]),
        np.array([[analysis.u_beta**2, cov], [cov, var_scale]]),
        (origin, f"reference of tip “{tip.name}”: modulus, and beta under which it was found"),
    )
