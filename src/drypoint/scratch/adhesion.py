"""Adhesion of a coating estimated from its critical load, by author.

Estimates: each holds only under its assumptions, which are printed with it, and none replaces a
test made for adhesion. With L_c the critical load, d the track's width, t and E, nu the coating's
thickness, modulus and Poisson's ratio, mu the friction coefficient, A_t the track's cross-section:

    Burnett and Rickerby   L_c = (pi d^2/8) sqrt(2 E W/t)                     [burnett1987]
    Bull and Rickerby      L_c = (A_t/(nu mu)) sqrt(2 E W/t)                  [bull1990]
    Laugier                W = sigma^2 t/(2 E),                               [laugier1984]
        sigma = (2 L_c/(pi d^2)) [(4 + nu) 3 pi mu/8 - (1 - 2 nu)] + sigma_0
    Benjamin and Weaver    tau = k H a/sqrt(R^2 - a^2), a = sqrt(L_c/(pi H))  [benjamin1960]

The first two as in the review [bull2006]. The stress of the third is that at the leading edge of a
sliding sphere [hamilton1966], sigma_0 the coating's own compressive stress.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from drypoint.scratch.problems import ScratchError
from drypoint.scratch.track import Known
from drypoint.uncertainty.propagation import complex_step

Author = Literal["Burnett and Rickerby", "Bull and Rickerby", "Laugier", "Benjamin and Weaver"]


@dataclass(frozen=True)
class Model:
    """One author's model: symbol and unit of what it gives, its inputs, assumptions, source."""

    author: str
    symbol: str
    unit: str
    inputs: tuple[str, ...]
    formula: Callable[[Mapping[str, Any]], Any]
    assumptions: tuple[str, ...]
    source: str


def _burnett(v: Mapping[str, Any]) -> Any:
    return v["t"] / (2 * v["E"]) * (8 * v["L_c"] / (np.pi * v["d"] ** 2)) ** 2


def _bull(v: Mapping[str, Any]) -> Any:
    return v["t"] / (2 * v["E"]) * (v["nu"] * v["mu"] * v["L_c"] / v["A_t"]) ** 2


def _laugier(v: Mapping[str, Any]) -> Any:
    sliding = (4 + v["nu"]) * 3 * np.pi * v["mu"] / 8 - (1 - 2 * v["nu"])
    stress = 2 * v["L_c"] / (np.pi * v["d"] ** 2) * sliding + v["sigma_0"]
    return stress**2 * v["t"] / (2 * v["E"])


def _benjamin(v: Mapping[str, Any]) -> Any:
    a = np.sqrt(v["L_c"] / (np.pi * v["H"]))
    return v["k"] * v["H"] * a / np.sqrt(v["R"] ** 2 - a**2)


#: Inputs by symbol: what they are and their SI unit.
SYMBOLS: dict[str, tuple[str, str]] = {
    "L_c": ("critical load", "N"),
    "d": ("width of the track at the critical load", "m"),
    "t": ("thickness of the coating", "m"),
    "E": ("Young's modulus of the coating", "Pa"),
    "nu": ("Poisson's ratio of the coating", ""),
    "mu": ("friction coefficient at the critical load", ""),
    "A_t": ("cross-section of the track at the critical load", "m^2"),
    "sigma_0": ("compressive stress in the coating without load", "Pa"),
    "H": ("hardness of the substrate", "Pa"),
    "R": ("radius of the tip", "m"),
    "k": ("constant between 0.2 and 1", ""),
}

_ENERGY = (
    "All elastic energy stored in the coating over its thickness goes into the detached area",
    "The coating detaches at the interface, and that at this load: a person saw it",
)
MODELS: dict[str, Model] = {
    "Burnett and Rickerby": Model(
        "Burnett and Rickerby", "W", "J/m^2", ("L_c", "d", "t", "E"), _burnett,
        (*_ENERGY, "The stress in the coating is L_c over half the circle of the track's width",
         "Residual stress and friction are left out"),
        "burnett1987",
    ),
    "Bull and Rickerby": Model(
        "Bull and Rickerby", "W", "J/m^2", ("L_c", "A_t", "t", "E", "nu", "mu"), _bull,
        (*_ENERGY, "The stress normal to the interface is Poisson's response to the frictional "
         "stress, nu mu L_c/A_t", "Residual stress is left out"),
        "bull1990",
    ),
    "Laugier": Model(
        "Laugier", "W", "J/m^2", ("L_c", "d", "t", "E", "nu", "mu", "sigma_0"), _laugier,
        (*_ENERGY, "The stress is that at the leading edge of a sphere sliding on an elastic "
         "half-space, plus the coating's own", "Coating and substrate are elastically alike"),
        "laugier1984",
    ),
    "Benjamin and Weaver": Model(
        "Benjamin and Weaver", "tau", "Pa", ("L_c", "H", "R", "k"), _benjamin,
        ("The substrate flows fully plastically under the tip and the coating follows it",
         "The coating is removed by shear at the rim of the contact",
         "k lies between 0.2 and 1 and is not measured here"),
        "benjamin1960",
    ),
}  # fmt: skip


@dataclass(frozen=True)
class Estimate:
    """``value`` (``unit``) with standard uncertainty, its shares of variance by input, and what
    it rests on. Always an estimate: ``assumptions`` belong to it."""

    author: str
    symbol: str
    unit: str
    value: float
    u: float
    shares: tuple[tuple[str, float], ...]
    assumptions: tuple[str, ...]
    source: str


def adhesion(author: Author, given: Mapping[str, Known]) -> Estimate:
    """The estimate of one author.

    Parameters
    ----------
    author : str
        A key of :data:`MODELS`.
    given : mapping
        Symbol (see :data:`SYMBOLS`) -> value with uncertainty, SI; independent of each other.
        More than the model needs may be given.

    Raises
    ------
    ScratchError
        When an input is missing or impossible.
    """
    if author not in MODELS:
        known = ", ".join(MODELS)
        raise ScratchError(f"No adhesion model by “{author}”.", remedy=f"Use one of: {known}.")
    model = MODELS[author]
    missing = [s for s in model.inputs if s not in given]
    if missing:
        words = ", ".join(f"{s} ({SYMBOLS[s][0]})" for s in missing)
        raise ScratchError(f"The model of {author} needs {words}.")
    for s in model.inputs:
        if s != "sigma_0" and not given[s].value > 0:
            raise ScratchError(f"{SYMBOLS[s][0].capitalize()} must be above zero for {author}.")
    values = np.array([given[s].value for s in model.inputs])

    def f(x: NDArray[Any]) -> NDArray[Any]:
        return np.atleast_1d(model.formula(dict(zip(model.inputs, x, strict=True))))

    with np.errstate(invalid="ignore", divide="ignore"):
        value = float(f(values)[0])
    if not np.isfinite(value):
        raise ScratchError(
            f"The model of {author} has no value here.",
            remedy="The contact would be wider than the tip; check L_c, H and R.",
        )
    jac = complex_step(f, values)[0]
    parts = (jac * np.array([given[s].u for s in model.inputs])) ** 2
    total = float(parts.sum())
    shares = tuple(
        (s, float(p) / total if total > 0 else 0.0)
        for s, p in zip(model.inputs, parts, strict=True)
    )
    return Estimate(
        author, model.symbol, model.unit, value, float(np.sqrt(total)), shares,
        model.assumptions, model.source,
    )  # fmt: skip
