"""Stress problems with one number of a solid changed, for what its uncertainty brings."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from drypoint.recipe.sections import Specimen
from drypoint.recipe.stressing import StressKeys
from drypoint.recipe.to_stress import problem_of, tip_for, with_layers_of

if TYPE_CHECKING:
    from drypoint.recipe.study import Study
    from drypoint.stress import Problem


@dataclass(frozen=True)
class Varied:
    """A number of a solid that is stated with an uncertainty: ``value`` and ``u`` in ``unit``, the
    problem with it lower and higher, and by how much each."""

    name: str
    unit: str
    value: float
    u: float
    low: Problem
    high: Problem
    down: float
    up: float


#: Keys of a solid that may be uncertain: words, unit, least relative step of a difference.
_UNCERTAIN = {
    "E_GPa": ("Young's modulus", "GPa", 0.1),
    "nu": ("Poisson's ratio", "", 0.2),
    "yield_GPa": ("yield stress", "GPa", 0.1),
    "hardness_GPa": ("hardness", "GPa", 0.1),
    "thickness_nm": ("thickness", "nm", 0.1),
    "residual_stress_GPa": ("residual stress", "GPa", 0.1),
}


def varied_problems(study: Study, name: str) -> tuple[Varied, ...]:
    """Two problems for each number of ``[stress.NAME]`` that is stated with an uncertainty.

    The step is the uncertainty, or a tenth of the number (a fifth of a Poisson's ratio) where that
    is more: a run has a scatter of its own, which a smaller one would not stand out of.
    """
    keys = study.file.stress[name]
    specimen, nu, u_nu = None, None, 0.0
    if keys.specimen is not None:
        specimen = study.specimen(keys.specimen)
        joint = study.specimen_nu(keys.specimen)
        nu, u_nu = float(joint.mean[0]), float(joint.sd[0])
        keys = with_layers_of(specimen, keys)
    tip = tip_for(study, keys)
    out = []
    for i, solid in enumerate((*keys.layers, keys.substrate)):
        for k, (words, unit, least) in _UNCERTAIN.items():
            value, u = getattr(solid, k, None), getattr(solid, f"u_{k}", None)
            if value is None and i == 0 and k == "nu":
                value, u = nu, u_nu
            if value is None and specimen is not None and k == "thickness_nm":
                only = len(keys.layers) == 1 and i == 0
                value, u = (specimen.thickness_nm, specimen.u_thickness_nm) if only else (None, 0)
            if not u or value is None:
                continue
            step = max(u, least * abs(value))
            ends = (value - step, value + step)
            if k == "nu":
                ends = (max(ends[0], 0.0), min(ends[1], 0.49))
            low, high = (
                problem_of(name, _changed(keys, i, {k: v}), tip, _bare(specimen), nu) for v in ends
            )
            called = solid.name or (f"layer {i + 1}" if i < len(keys.layers) else "substrate")
            out.append(
                Varied(f"{called}: {words}", unit, value, u, low, high, value - ends[0],
                       ends[1] - value)
            )  # fmt: skip
    return tuple(out)


def _changed(keys: StressKeys, i: int, update: dict[str, float]) -> StressKeys:
    """The keys with numbers of solid ``i`` changed, counted from the surface downwards."""
    if i == len(keys.layers):
        return keys.model_copy(update={"substrate": keys.substrate.model_copy(update=update)})
    rows = [r.model_copy(update=update) if n == i else r for n, r in enumerate(keys.layers)]
    return keys.model_copy(update={"layers": tuple(rows)})


def _bare(specimen: Specimen | None) -> Specimen | None:
    """The specimen without layers: they are in the keys already."""
    return (
        None if specimen is None else specimen.model_copy(update={"layers": (), "substrate": None})
    )
