"""From the layers of a specimen to the structure of a film analysis, in SI."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from drypoint import materials
from drypoint.errors import DrypointError, RecipeError
from drypoint.recipe.base import to_si
from drypoint.recipe.layers import FilmLayerKeys, FilmSubstrateKeys
from drypoint.recipe.locate import dotted
from drypoint.recipe.problems import Problem, unknown
from drypoint.recipe.sections import Specimen
from drypoint.uncertainty.joint import Joint

if TYPE_CHECKING:
    from drypoint.films import Entry, FilmLayer, Structure, Substrate
    from drypoint.recipe.study import Study

#: Where the search begins when nothing is said, Pa; the shallowest tests take its place.
_START = 100e9


class _LayerError(DrypointError):
    def __init__(self, fault: Problem) -> None:
        super().__init__(f"{dotted(fault.path)}: {fault.what}", remedy=fault.allowed)
        self.fault = fault


@dataclass(frozen=True)
class Coating:
    """A coated specimen in SI: its structure, what is declared besides, and how to find it.

    ``stresses`` holds the residual stress of each layer, tension positive; ``hardness`` that of the
    substrate, or ``None``.
    """

    structure: Structure
    stresses: tuple[Entry, ...]
    hardness: Entry | None
    u_model: float
    up_to_depth: float
    steps: int
    pile_up: str = "counted"


def coating_of(study: Study, name: str) -> Coating | None:
    """The coating of a specimen; ``None`` where it states no layers.

    Raises
    ------
    RecipeError
        When layers and substrate make no structure.
    """
    specimen = study.specimen(name)
    if not specimen.layers:
        return None
    try:
        return _coating(specimen, study.specimen_nu(name))
    except DrypointError as error:
        raise RecipeError(error.what, remedy=error.remedy) from error


def layer_faults(study: Study) -> list[Problem]:
    """Faults of the layers of all specimens."""
    found = []
    for name, specimen in study.file.specimens.items():
        here = ("specimens", name)
        if not specimen.layers:
            continue
        try:
            _coating(specimen, study.specimen_nu(name))
        except _LayerError as error:
            found.append(replace(error.fault, path=(*here, *error.fault.path)))
        except DrypointError as error:
            found.append(Problem((*here, "layers"), error.what, error.remedy))
    return found


def _coating(specimen: Specimen, nu: Joint) -> Coating:
    from drypoint.films import Structure, known

    keys, base = specimen.layers, specimen.substrate
    assert base is not None  # by the rules of a specimen
    if specimen.thickness_nm is not None:
        for i, row in enumerate(keys):
            if row.thickness_nm is not None or len(keys) > 1:
                raise _LayerError(
                    Problem(
                        ("thickness_nm",),
                        f"the thickness of layer {i + 1} is stated with the layers.",
                        "Leave one of the two out; with several layers, this one.",
                    )
                )
    nothing = not base.sought and not any(row.sought for row in keys)
    layers = tuple(
        _layer(row, i, specimen if i == 0 else None, nu, nothing and i == 0, len(keys) == 1)
        for i, row in enumerate(keys)
    )
    structure = Structure(layers, _substrate(base))
    stresses = tuple(
        known(to_si(k.residual_stress_GPa, "GPa"), to_si(k.u_residual_stress_GPa, "GPa"))
        for k in keys
    )
    hardness = None
    if base.hardness_GPa is not None:
        hardness = known(to_si(base.hardness_GPa, "GPa"), to_si(base.u_hardness_GPa, "GPa"))
    how = specimen.film_analysis
    return Coating(structure, stresses, hardness, how.u_model, how.up_to_depth,
                   how.sampling_steps if how.sampling else 0, how.pile_up)  # fmt: skip


def _layer(
    row: FilmLayerKeys,
    i: int,
    specimen: Specimen | None,
    nu: Joint,
    default: bool,
    single: bool,
) -> FilmLayer:
    from drypoint.films import FilmLayer

    here = ("layers", i)
    wanted = ("E",) if default else row.sought
    E = to_si(row.E_GPa, "GPa")
    if E is None and i == 0 and "E" in wanted and row.u_E_GPa is None:
        E = to_si(specimen.E_expected_GPa, "GPa") if specimen is not None else None
        E = _START if E is None else E
    thickness, u_thickness = row.thickness_nm, row.u_thickness_nm
    if thickness is None and single and specimen is not None:
        thickness = specimen.thickness_nm
        u_thickness = specimen.u_thickness_nm if u_thickness is None else u_thickness
    ratio, u_ratio = row.nu, row.u_nu
    shared = ""
    if ratio is None and i == 0:
        ratio = float(nu.mean[0])
        if u_ratio is None:
            u_ratio, shared = float(nu.sd[0]), nu.names[0]
    return FilmLayer(
        row.name,
        _entry(here, "E_GPa", E, to_si(row.u_E_GPa, "GPa"), "E" in wanted),
        _entry(here, "nu", ratio, u_ratio, "nu" in wanted, shared),
        _entry(here, "thickness_nm", to_si(thickness, "nm"), to_si(u_thickness, "nm"),
               "thickness" in wanted),
        row.interface == "slipping",
    )  # fmt: skip


def _substrate(keys: FilmSubstrateKeys) -> Substrate:
    from drypoint.films import Substrate

    here = ("substrate",)
    E, u_E = to_si(keys.E_GPa, "GPa"), to_si(keys.u_E_GPa, "GPa")
    nu, u_nu = keys.nu, keys.u_nu
    if keys.reference is not None:
        try:
            material = materials.load(keys.reference)
        except DrypointError:
            what, allowed = unknown(
                keys.reference, "a packaged reference material", materials.names()
            )
            raise _LayerError(Problem((*here, "reference"), what, allowed)) from None
        E, u_E, nu, u_nu = material.E, material.u_E, material.nu, material.u_nu
    return Substrate(
        _entry(here, "E_GPa", E, u_E, "E" in keys.sought),
        _entry(here, "nu", nu, u_nu, "nu" in keys.sought),
        keys.name,
    )


def _entry(
    path: Sequence[str | int],
    key: str,
    value: float | None,
    u: float | None,
    wanted: bool,
    shared: str = "",
) -> Entry:
    from drypoint.films import known, sought

    assert value is not None  # by the rules of layers and substrate
    if wanted and u == 0:
        raise _LayerError(
            Problem((*path, f"u_{key}"), "what is sought is not known exactly.",
                    "Leave it out where nothing is known before, or do not seek it.")
        )  # fmt: skip
    try:
        if wanted:
            return sought(value) if not u else sought(value, u)
        return known(value, u or 0.0, shared)
    except DrypointError as error:
        raise _LayerError(Problem((*path, key), error.what, error.remedy)) from error
