"""A stress run to be looked at: a study's run with other numbers, and its fields step by step."""

from __future__ import annotations

import re
from collections.abc import Sequence
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from drypoint.errors import RecipeError, StressError, Where
from drypoint.parsing import toml_document
from drypoint.recipe import Study, canonical_hash, read_study
from drypoint.recipe.problems import unknown
from drypoint.recipe.to_stress import stress_problem
from drypoint.recipe.toml_text import dumps
from drypoint.run.stressing import StressResult, problem_key, run_problem
from drypoint.store.cache import Cache
from drypoint.stress import Problem, interface
from drypoint.stress import field as field_of
from drypoint.stress.fields import places

Floats = NDArray[np.float64]
#: Largest contact radii shown to the side and downwards.
_SIDE, _DOWN = 2.6, 2.4


@dataclass(frozen=True)
class WhatIf:
    """Other numbers for ``[stress.NAME]``; what is ``None`` stays as the study states it.

    ``residual_GPa`` has a stress for every layer from the surface downwards, then the substrate's.
    """

    force_mN: float | None = None
    depth_nm: float | None = None
    quality: str | None = None
    residual_GPa: tuple[float, ...] | None = None

    @property
    def nothing(self) -> bool:
        """Whether all stays as it is."""
        return self == WhatIf()


@dataclass(frozen=True)
class Section:
    """Half a section at a step, lab units (nm, GPa).

    ``corners`` (elements, 4, 2); ``values`` by quantity, (elements,) each; ``interfaces`` lines
    (n, 2); ``tip`` (n, 2), empty where it does not touch; ``stresses`` per interface: radius,
    stress across (tension positive), shear along, (n,) each.
    """

    corners: Floats
    values: dict[str, Floats]
    interfaces: tuple[Floats, ...]
    tip: Floats
    stresses: tuple[tuple[Floats, Floats, Floats], ...] = field(default=())


def changed_run(study: Study, name: str, what: WhatIf) -> Study:
    """The study with other numbers in ``[stress.NAME]``, in memory only, checked as any.

    Raises
    ------
    StressError
        When there is no such run.
    RecipeError
        When the numbers make no right study.
    """
    if name not in study.file.stress:
        words, allowed = unknown(name, "a stress run of this study", study.file.stress)
        raise StressError(words, where=Where(str(study.path)), remedy=allowed)
    if what.nothing:
        return study
    return read_study(dumps(_tree(study, name, what)), study.path)


def _tree(study: Study, name: str, what: WhatIf) -> dict[str, Any]:
    tree = deepcopy(toml_document(study.text))
    table = tree["stress"][name]
    if what.force_mN is not None or what.depth_nm is not None:
        for key in ("force_mN", "depth_nm"):
            table.pop(key, None)
            if getattr(what, key) is not None:
                table[key] = getattr(what, key)
    if what.quality is not None:
        table["quality"] = what.quality
    if what.residual_GPa is not None:
        count = len(stress_problem(study, name).stack.layers)
        if len(what.residual_GPa) != count + 1:
            raise StressError(
                f"{len(what.residual_GPa)} residual stresses are given for {count} layers and a "
                "substrate.",
                remedy="Give one for each, from the surface downwards.",
            )
        rows = list(table.get("layers", ())) or [{} for _ in range(count)]
        stated = stress_problem(study, name).stack.stresses
        for i, value in enumerate(what.residual_GPa):
            if value * 1e9 == stated[i]:
                continue
            place = rows[i] if i < count else table.setdefault("substrate", {})
            place["residual_stress_GPa"] = value
        if any(rows):
            table["layers"] = rows
    return tree


def changed_text(study: Study, name: str, what: WhatIf) -> str:
    """The text of the study file with the table ``[stress.NAME]`` written anew; all other lines
    stay as they are.

    Raises
    ------
    RecipeError
        When the table stands in a form that cannot be replaced.
    """
    due = changed_run(study, name, what)
    if what.nothing:
        return study.text
    table = _tree(study, name, what)["stress"][name]
    new = dumps({"stress": {name: table}}).splitlines()
    head = re.compile(rf"^\s*\[+\s*stress\s*\.\s*[\"']?{re.escape(name)}[\"']?\s*[.\]]")
    lines, out, inside, done = study.text.splitlines(), [], False, False
    for line in lines:
        if line.lstrip().startswith("["):
            inside = bool(head.match(line))
            if inside and not done:
                out += [*new, ""]
                done = True
        if not inside:
            out.append(line)
    text = "\n".join(out).rstrip("\n") + "\n"
    wrong = RecipeError(
        "This table cannot be written by itself.",
        where=Where(str(study.path), key=f"stress.{name}"),
        remedy="Change it in the study file by hand.",
    )
    if not done:
        raise wrong
    try:
        same = canonical_hash(read_study(text, study.path).file) == canonical_hash(due.file)
    except RecipeError as error:
        raise wrong from error
    if not same:
        raise wrong
    return text


def kept_result(study: Study, name: str) -> StressResult | None:
    """The result of a run, if it was computed before; nothing is solved here."""
    problem = stress_problem(study, name)
    cache = Cache.beside(study.path)
    if cache.get(problem_key(problem)) is None:
        return None
    return run_problem(problem, specimen=study.file.stress[name].specimen or "", cache=cache)


def problem_and_key(study: Study, name: str) -> tuple[Problem, str]:
    """The problem of a run, and what stands for all that it is made from."""
    problem = stress_problem(study, name)
    return problem, problem_key(problem)


def section(result: StressResult, step: int) -> Section:
    """What is below the tip at a step.

    Raises
    ------
    StressError
        Where there is no such step, or no fields were kept.
    """
    run = result.run
    if not 0 <= step < len(run.force):
        raise StressError(
            f"There is no step {step}.", remedy=f"Steps go from 0 to {len(run.force) - 1}."
        )
    f = field_of(run, step)
    a = float(run.contact_radius.max())
    place = places(run, step)
    corners = place[run.mesh.quads]
    near = (corners[..., 0].min(axis=1) < _SIDE * a) & (corners[..., 1].max(axis=1) > -_DOWN * a)
    values = {
        "von_mises": f.von_mises.mean(axis=1)[near] / 1e9,
        "principal": f.principal[..., 0].mean(axis=1)[near] / 1e9,
        "plastic": f.plastic_strain.mean(axis=1)[near],
    }
    nz = run.mesh.shape[1]
    lines = []
    for depth in run.stack.interfaces:
        row = int(np.argmin(np.abs(run.mesh.X[:nz, 1] + depth)))
        lines.append(place[np.arange(run.mesh.shape[0]) * nz + row] * 1e9)
    r = np.linspace(0, 1.3 * a, 120)
    tip = np.column_stack([r, run.profile.height(r) - run.tip_depth[step]]) * 1e9
    stresses = []
    for k in range(len(run.stack.layers)):
        one = interface(run, step, k)
        by = one.r < 4 * a
        stresses.append((one.r[by] * 1e9, one.normal[by] / 1e9, one.shear[by] / 1e9))
    return Section(
        corners[near] * 1e9,
        values,
        tuple(lines),
        tip if run.force[step] > 0 else np.empty((0, 2)),
        tuple(stresses),
    )


def limits(result: StressResult, steps: Sequence[int]) -> dict[str, tuple[float, float]]:
    """Least and largest value of each quantity over some steps, for one scale of colours."""
    out: dict[str, tuple[float, float]] = {}
    for step in steps:
        for name, values in section(result, step).values.items():
            low, high = out.get(name, (0.0, 0.0))
            out[name] = (min(low, float(values.min())), max(high, float(values.max())))
    return out
