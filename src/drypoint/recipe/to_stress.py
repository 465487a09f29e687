"""From ``[stress.NAME]`` to a problem of the finite elements, in SI."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from drypoint import materials
from drypoint.errors import DrypointError
from drypoint.recipe.base import from_si, to_si
from drypoint.recipe.locate import Path, dotted
from drypoint.recipe.problems import Problem as Fault
from drypoint.recipe.problems import unknown
from drypoint.recipe.ruling import section_faults
from drypoint.recipe.sections import Specimen
from drypoint.recipe.stress_doubts import doubts_of
from drypoint.recipe.stressing import SolidKeys, StressKeys, StressLayerKeys
from drypoint.recipe.to_tip import area_problems, tip_of
from drypoint.tips.tip import Tip

if TYPE_CHECKING:
    from drypoint.recipe.study import Study
    from drypoint.stress import Leg, Material, Problem, Profile, Protocol, Stack

#: Depth up to which a tip is drawn where nothing says how far it is known, m.
_FAR = 20e-6


class StressKeyError(DrypointError):
    """What is wrong with a table ``[stress.NAME]``, with the keys inside it."""

    def __init__(self, *faults: Fault) -> None:
        *more, last = faults
        told = [f"{dotted(f.path)}: {f.what} {f.allowed}" for f in more]
        told.append(f"{dotted(last.path)}: {last.what}")
        super().__init__(" ".join(told), remedy=last.allowed)
        self.faults = faults


@contextmanager
def _at(*path: str | int) -> Iterator[None]:
    """Faults that the rooms below find, as those of a key."""
    try:
        yield
    except StressKeyError:
        raise
    except DrypointError as error:
        raise StressKeyError(Fault(path, error.what, error.remedy)) from error


def stress_problem(study: Study, name: str) -> Problem:
    """The problem that ``[stress.NAME]`` of a study states.

    Raises
    ------
    StressKeyError
        Where it states none that can be solved.
    """
    keys = study.file.stress[name]
    specimen, nu, u_nu = None, None, 0.0
    if keys.specimen is not None:
        with _at("specimen"):
            specimen = study.specimen(keys.specimen)
        known = study.specimen_nu(keys.specimen)
        nu, u_nu = float(known.mean[0]), float(np.sqrt(known.cov[0, 0]))
    _judge(keys, specimen, nu)
    problem = problem_of(name, keys, _tip(study, keys), specimen, nu, u_nu)
    return with_load_doubt(problem, _u_load(study, keys))


def with_load_doubt(problem: Problem, u_force_scale: float) -> Problem:
    """The problem with the relative standard uncertainty of its force, where a force is given."""
    from drypoint.stress import Doubt

    if not u_force_scale or not problem.protocol.force:
        return problem
    return replace(problem, doubts=(*problem.doubts, Doubt("load", u_force_scale)))


def _u_load(study: Study, keys: StressKeys) -> float:
    """Relative standard uncertainty of the force of the bench whose tip is used."""
    if keys.tip is not None or keys.shape is not None:
        return 0.0
    if keys.bench is not None:
        return study.calibrated(keys.bench).frame.u_force_scale
    mine = [i for i, r in enumerate(study.file.records) if r.specimen == keys.specimen]
    return (study.bench_of(mine[0]) if mine else study.bench()).frame.u_force_scale


def problem_of(
    name: str,
    keys: StressKeys,
    tip: Tip,
    specimen: Specimen | None = None,
    nu: float | None = None,
    u_nu: float = 0.0,
) -> Problem:
    """The problem that keys, tip and specimen (with its Poisson's ratio) make.

    Raises
    ------
    StressKeyError
        Where it cannot be solved.
    """
    from drypoint.stress import Problem, depth_guess

    _judge(keys, specimen, nu)
    keys = keys if specimen is None else _with_layers_of(specimen, keys)
    stack, protocol = stack_of(keys, specimen, nu), protocol_of(keys)
    with _at("force_mN" if keys.force_mN is not None else "depth_nm"):
        profile = _profile(tip, keys.rigid, stack, protocol)
        problem = Problem(stack, profile, protocol, keys.friction, keys.quality, name)
        problem.estimate()
        u_t = to_si(specimen.u_thickness_nm, "nm") if specimen is not None else None
        h = depth_guess(stack, profile, protocol)
        return replace(problem, doubts=doubts_of(keys, stack, u_nu, u_t or 0.0, tip, h))


def _judge(keys: StressKeys, specimen: Specimen | None, nu: float | None) -> None:
    """Refuse keys that break a declared rule once the specimen's values have been filled in."""
    full = keys
    if specimen is not None:
        full = _with_layers_of(specimen, keys)
        layers = list(full.layers)
        if len(layers) == 1 and layers[0].thickness_nm is None:
            thickness = {"thickness_nm": specimen.thickness_nm}
            layers[0] = layers[0].model_copy(update=thickness)
        if layers and layers[0].nu is None:
            layers[0] = layers[0].model_copy(update={"nu": nu})
        under = full.substrate
        if not layers and under.nu is None:
            under = under.model_copy(update={"nu": nu})
        full = full.model_copy(update={"layers": tuple(layers), "substrate": under})
    faults = section_faults((), full)
    if faults:
        raise StressKeyError(*faults)


def stress_faults(study: Study) -> list[Fault]:
    """Faults of all ``[stress.NAME]``, with the reason why no such problem can be solved."""
    found = []
    for name in study.file.stress:
        try:
            stress_problem(study, name)
        except StressKeyError as error:
            found += [replace(f, path=("stress", name, *f.path)) for f in error.faults]
    return found


def _tip(study: Study, keys: StressKeys) -> Tip:
    if keys.shape is not None:
        if keys.shape.area is not None:
            faults = area_problems(("shape", "area"), keys.shape.area)
            if faults:
                raise StressKeyError(*faults)
        with _at("shape"):
            return tip_of("its own", keys.shape)
    for key, known, kind in (
        ("tip", list(study.file.tips), "a tip of this study"),
        ("bench", list(study.benches), "a bench of this study"),
    ):
        asked = getattr(keys, key)
        if asked is not None and asked not in known:
            raise StressKeyError(Fault((key,), *unknown(asked, kind, known)))
    if keys.bench is not None:
        return study.calibrated(keys.bench).tip
    with _at("tip"):
        if keys.tip is not None:
            return study.tip(keys.tip)
        mine = [i for i, r in enumerate(study.file.records) if r.specimen == keys.specimen]
        return (study.bench_of(mine[0]) if mine else study.bench()).tip


def _with_layers_of(specimen: Specimen, keys: StressKeys) -> StressKeys:
    """The keys, with what they leave out taken from the specimen's layers and substrate."""
    rows, base = specimen.layers, specimen.substrate
    if not rows or len(keys.layers) not in (0, len(rows)):
        return keys
    mine = keys.layers or tuple(StressLayerKeys() for _ in rows)
    names = ("name", "E_GPa", "nu", "thickness_nm", "residual_stress_GPa")
    layers = []
    for a, b in zip(mine, rows, strict=True):
        # An uncertainty belongs to its number: it comes along only with it.
        left = [k for k in names if k not in a.model_fields_set]
        left += [f"u_{k}" for k in left if k != "name" and f"u_{k}" not in a.model_fields_set]
        layers.append(a.model_copy(update={k: getattr(b, k) for k in left}))
    under = keys.substrate
    if base is not None:
        E, nu, u_E, u_nu = base.E_GPa, base.nu, base.u_E_GPa, base.u_nu
        if base.reference is not None:
            material = materials.load(base.reference)
            E, nu = from_si(material.E, "GPa"), material.nu
            u_E, u_nu = from_si(material.u_E, "GPa"), material.u_nu
        given: dict[str, tuple[object, object]] = {"E_GPa": (E, u_E), "nu": (nu, u_nu)}
        if not (under.yield_GPa or under.yield_table):
            given["hardness_GPa"] = (base.hardness_GPa, base.u_hardness_GPa)
        new: dict[str, object] = {"name": base.name}
        for k, (value, u) in given.items():
            new |= {k: value, f"u_{k}": u} if k not in under.model_fields_set else {}
        under = under.model_copy(
            update={k: v for k, v in new.items() if k not in under.model_fields_set}
        )
    return keys.model_copy(update={"layers": tuple(layers), "substrate": under})


def stack_of(keys: StressKeys, specimen: Specimen | None, nu: float | None) -> Stack:
    """Layers and substrate in SI; what is left out comes from the specimen.

    Raises
    ------
    StressKeyError
        Where something is missing or impossible.
    """
    from drypoint.stress import Layer, Stack

    layers = []
    for i, layer in enumerate(keys.layers):
        thickness = layer.thickness_nm
        if thickness is None and specimen is not None and len(keys.layers) == 1:
            thickness = specimen.thickness_nm
        material = _material(layer, ("layers", i), nu if i == 0 else None)
        with _at("layers", i):
            layers.append(
                Layer(material, to_si(thickness, "nm"), to_si(layer.residual_stress_GPa, "GPa"))
            )
    bottom = keys.substrate
    material = _material(bottom, ("substrate",), None if layers else nu)
    for i, row in enumerate((*keys.layers, bottom)):
        here: Path = ("layers", i) if i < len(layers) else ("substrate",)
        m = layers[i].material if i < len(layers) else material
        with _at(*here, "residual_stress_GPa"):
            Stack(m, (), to_si(row.residual_stress_GPa, "GPa"))
    return Stack(material, tuple(layers), to_si(bottom.residual_stress_GPa, "GPa"))


def _material(keys: SolidKeys, path: Path, nu: float | None) -> Material:
    from drypoint.stress import Material, yield_from_hardness

    nu = keys.nu if keys.nu is not None else nu
    E = to_si(keys.E_GPa, "GPa")
    Y = to_si(keys.yield_GPa, "GPa")
    if keys.hardness_GPa is not None:
        with _at(*path, "hardness_GPa"):
            Y = yield_from_hardness(to_si(keys.hardness_GPa, "GPa"), E, float(nu or 0.0))
    with _at(*path):
        return Material(
            E=E,
            nu=float(nu or 0.0),
            yield_stress=Y,
            exponent=keys.hardening_exponent,
            slope=to_si(keys.hardening_slope_GPa, "GPa"),
            table=tuple((strain, to_si(s, "GPa")) for strain, s in keys.yield_table),
            name=keys.name,
            incompressible=keys.incompressible,
        )


def protocol_of(keys: StressKeys) -> Protocol:
    """Loading, holds, cycles and unloading in SI."""
    from drypoint.stress import Leg, Protocol

    legs: list[Leg] = []
    for i in range(1, keys.cycles + 1):
        share = i / keys.cycles if keys.cycle_forces == "rising" else 1.0
        force = None if keys.force_mN is None else share * to_si(keys.force_mN, "mN")
        legs.append(Leg(force=force, depth=to_si(keys.depth_nm, "nm")))
        if keys.hold_s > 0:
            legs.append(Leg(seconds=keys.hold_s))
        if i < keys.cycles:
            legs.append(Leg(force=keys.back_to * (force or 0.0)))
    if keys.unload:
        legs.append(Leg(force=0.0))
    return Protocol(tuple(legs))


def _profile(tip: Tip, rigid: bool, stack: Stack, protocol: Protocol) -> Profile:
    """The tip as a body of revolution, known a good deal deeper than it is expected to go."""
    from drypoint.stress import depth_guess, from_tip

    known = tip.area.h_max if np.isfinite(tip.area.h_max) else _FAR
    whole = from_tip(tip, max(known, protocol.depth))
    h = depth_guess(stack, whole, protocol)
    near = from_tip(tip, min(2 * h, max(known, h)))
    return replace(near, E_i=None, nu_i=0.0) if rigid else near
