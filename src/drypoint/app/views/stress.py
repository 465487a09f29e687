"""Stress under the tip: a run of the study and what would be with other numbers."""

from __future__ import annotations

import shlex
import threading
from collections.abc import Mapping
from typing import Any

import matplotlib
import numpy as np
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.blocks import blocks_values
from drypoint.app.buffers import MEDIA_TYPE, pack
from drypoint.app.faults import NotFound, PageError
from drypoint.app.pages import View
from drypoint.app.session import State
from drypoint.app.snippets import stress_python
from drypoint.app.study_api import jobs_of, values_of
from drypoint.figures.style import COLOUR_MAP
from drypoint.recipe import Study
from drypoint.report.model import Table
from drypoint.report.stress_words import (
    CANNOT,
    elastic_words,
    error_words,
    found_words,
    problem_words,
    seen_rows,
    solids_table,
    uncertain_table,
)
from drypoint.run.elastic_first import elastic_answer, names_of
from drypoint.run.stress_view import (
    WhatIf,
    changed_run,
    changed_text,
    kept_result,
    limits,
    problem_and_key,
    section,
)
from drypoint.run.stressing import StressResult

#: Colours of the field: map of Matplotlib for values of one sign, and for both signs.
_MAPS = {"one": COLOUR_MAP, "both": "RdBu_r"}
#: Runs that were looked at last, by their keys: the load slider asks for many steps of one.
_LATEST: dict[str, StressResult] = {}
_MOST = 2
_LOCK = threading.Lock()


class Asked(Form):
    """A run, and numbers in place of the study's; what is left out stays. ``residual_GPa`` is a
    list with commas, a stress for every solid from the surface downwards."""

    name: str
    force_mN: float | None = Field(default=None, gt=0)
    depth_nm: float | None = Field(default=None, gt=0)
    quality: str | None = None
    residual_GPa: str = ""

    @property
    def what_if(self) -> WhatIf:
        """The same for the rooms below."""
        try:
            values = [float(v) for v in self.residual_GPa.split(",") if v.strip()]
        except ValueError:
            raise PageError("A residual stress is no number.", remedy="In GPa.") from None
        return WhatIf(self.force_mN, self.depth_nm, self.quality, tuple(values) or None)


class AskedStep(Asked):
    """The same, at one step; with the run's ``key`` what was looked at last is found at once."""

    step: int = Field(ge=0)
    key: str = ""


class Write(Asked):
    """The same, to be written into the study file that was looked at."""

    version: str


def context(request: Request, state: State) -> Mapping[str, Any]:
    """What the page's template knows."""
    return {"runs": list(state.study.file.stress)}


def _changed(request: Request, asked: Asked) -> Study:
    return changed_run(session_of(request).state().study, asked.name, asked.what_if)


def look(request: Request, query: Asked) -> dict[str, Any]:
    """What is asked in words, the exact elastic answer, and what the run would cost."""
    study = _changed(request, query)
    keys = study.file.stress[query.name]
    problem, key = problem_and_key(study, query.name)
    answer = elastic_answer(problem)
    names = names_of(problem)
    command = ["drypoint", "stress", str(study.path), query.name]
    return {
        "name": query.name,
        "specimen": keys.specimen or "",
        "key": key,
        "force_mN": keys.force_mN,
        "depth_nm": keys.depth_nm,
        "quality": keys.quality,
        "solids": [
            {"name": n, "residual_GPa": s / 1e9}
            for n, s in zip(names, problem.stack.stresses, strict=True)
        ],
        "problem": problem_words(problem, names),
        "elastic": elastic_words(problem, answer),
        "estimate": problem.estimate().words(),
        "changed": not query.what_if.nothing,
        "kept": kept_result(study, query.name) is not None,
        "command": shlex.join(command),
        "python": stress_python(study.path, query.name, query.what_if),
    }


def _result(request: Request, asked: Asked) -> StressResult:
    result = kept_result(_changed(request, asked), asked.name)
    if result is None:
        raise NotFound("These numbers have not been computed yet.", remedy="Compute them.")
    with _LOCK:
        _LATEST[result.key] = result
        while len(_LATEST) > _MOST:
            del _LATEST[next(iter(_LATEST))]
    return result


def _uncertain(request: Request, asked: Asked) -> Table | None:
    """What the solids' uncertainties bring, where the study asks for it and the last run told."""
    session = session_of(request)
    if not asked.what_if.nothing or not session.state().study.file.stress[asked.name].uncertainty:
        return None
    try:
        runs = session.result().stress
    except NotFound:
        return None
    return next((uncertain_table(r) for r in runs if r.name == asked.name), None)


def found(request: Request, query: Asked) -> dict[str, Any]:
    """What the finite elements found: sentences, tables, steps, scales of colour."""
    result = _result(request, query)
    run = result.run
    table, told = solids_table(result), _uncertain(request, query)
    span = limits(result, sorted({run.peak, len(run.force) - 1}))
    return {
        "words": found_words(result),
        "stopped": run.stopped,
        "errors": error_words(result),
        "cannot": list(CANNOT),
        "seen": [list(r) for r in seen_rows(result)],
        "solids": {"head": [c.head for c in table.columns], "rows": [list(r) for r in table.rows]},
        "uncertain": None if told is None else blocks_values([told])[0],
        "force_mN": (run.force * 1e3).tolist(),
        "depth_nm": (run.depth * 1e9).tolist(),
        "peak": run.peak,
        "radius_nm": float(run.contact_radius.max() * 1e9),
        "limits": {k: list(v) for k, v in span.items()},
        "colours": {
            k: (matplotlib.colormaps[v](np.linspace(0, 1, 64))[:, :3] * 255).round().tolist()
            for k, v in _MAPS.items()
        },
    }


def field(request: Request, query: AskedStep) -> Response:
    """Elements below the tip at a step (nm) with their values (GPa), tip, interfaces."""
    with _LOCK:
        result = _LATEST.get(query.key)
    s = section(result or _result(request, query), query.step)
    arrays: dict[str, Any] = {"corners": s.corners.ravel(), **s.values, "tip": s.tip.ravel()}
    for k, line in enumerate(s.interfaces):
        arrays[f"line{k}"] = line.ravel()
    for k, (r, across, along) in enumerate(s.stresses):
        arrays |= {f"r{k}": r, f"across{k}": across, f"along{k}": along}
    return Response(
        pack(arrays, {"step": query.step, "interfaces": len(s.interfaces)}), media_type=MEDIA_TYPE
    )


def compute(request: Request, body: Asked) -> dict[str, Any]:
    """Begin the finite elements."""
    session = session_of(request)
    _changed(request, body)
    options = body.model_dump()
    return jobs_of(request).start("stress", session.key, session.path, options).values()


def write(request: Request, body: Write) -> dict[str, Any]:
    """Write the numbers into the study file, and nothing else."""
    session = session_of(request)
    text = changed_text(session.state().study, body.name, body.what_if)
    return values_of(session.write_recipe(text, body.version))


_U = "/api/studies/{key}/stress"
VIEW = View(
    "stress",
    "Stress",
    context,
    (
        Endpoint("GET", f"{_U}/look", look, "A stress run, before it is computed", query=Asked),
        Endpoint("GET", f"{_U}/found", found, "What a stress run found", query=Asked),
        Endpoint("GET", f"{_U}/field", field, "Below the tip at a step", query=AskedStep,
                 gives=MEDIA_TYPE),
        Endpoint("POST", f"{_U}/compute", compute, "Begin a stress run", body=Asked),
        Endpoint("POST", f"{_U}/write", write, "Write into the study file", body=Write),
    ),
)  # fmt: skip
