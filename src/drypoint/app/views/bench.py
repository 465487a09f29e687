"""Tip and frame: a calibration looked at and accepted, the tips of a study, the ledger's memory."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.bench_values import acceptance, accepted_values, kept
from drypoint.app.buffers import MEDIA_TYPE, pack
from drypoint.app.faults import NotFound, as_json
from drypoint.app.ledger_values import charts_of, entries_of, open_ledger
from drypoint.app.pages import View
from drypoint.app.session import CURRENT, State, overtaken
from drypoint.app.study_api import jobs_of
from drypoint.errors import DrypointError, Where
from drypoint.figures.area import area_and_u, contact_depths, ideal_area
from drypoint.run.columns import factor_of
from drypoint.run.result import StudyResult

#: Points of an area function.
_POINTS = 160


class Consent(Form):
    """Who accepts the calibration that is on the page, and why."""

    version: str
    proposal: str
    who: str = Field(min_length=1, max_length=200)
    why: str = Field("looked at and accepted", min_length=1, max_length=1000)
    despite: str = Field("", max_length=1000)
    ledger: bool = True


class Thing(Form):
    """A tip by its name, and the contact depth (nm) of its readings where there are several."""

    tip: str = ""
    depth: float | None = None


class Listing(Form):
    """Entries about a thing by its name; all where empty. ``all``: also what was corrected."""

    name: str = ""
    all: bool = False


def context(request: Request, state: State) -> Mapping[str, Any]:
    """Whether this is a calibration, and the tips that the study names."""
    return {
        "calibration": state.study.file.calibration,
        "has_results": state.results is not None,
        "tips": tips_of(state),
    }


def tips_of(state: State) -> list[str]:
    """Names of the tips that a study states or takes from calibrations."""
    loaded = [b.exchanged.bench.tip.name for b in state.study.benches.values()]
    return list(dict.fromkeys([*state.study.file.tips, *loaded]))


def found(request: Request) -> Response:
    """What the calibration found: area, residuals, blocks, and the report's sections."""
    state = _calibration(request)
    entry = kept(state) if state.standing == CURRENT else None
    if entry is None:
        raise NotFound(
            "There is no calibration of this state of the study yet.",
            where=Where(str(state.study.path)),
            remedy="Calibrate.",
        )
    more = {
        **entry.meta,
        "acceptance": acceptance(state, entry.meta["identity"]),
        "version": state.version,
    }
    return Response(pack(entry.arrays, more), media_type=MEDIA_TYPE)


def accepted(request: Request) -> dict[str, Any]:
    """Who accepted the calibration, on the page or on the command line, before it is computed."""
    state = _calibration(request)
    return {"standing": state.standing, "accepted": accepted_values(state)}


def accept(request: Request, body: Consent) -> dict[str, Any]:
    """Accept the calibration on the page: its file, and entries in the ledger."""
    state = _calibration(request)
    if state.version != body.version:
        raise overtaken(state.study.path, state.journal)
    session = session_of(request)
    options = body.model_dump(exclude={"version"})
    return jobs_of(request).start("accept", session.key, session.path, options).values()


def _calibration(request: Request) -> State:
    state = session_of(request).state()
    if state.study.file.calibration is None:
        raise NotFound(
            "The study describes no calibration.",
            where=Where(str(state.study.path), key="calibration"),
            remedy="Add a table [calibration] with the reference materials; see the how-to page "
            "“Calibrate a bench”.",
        )
    return state


def in_use(request: Request) -> Response:
    """Tips of a study as used: area against the ideal shape, and where each comes from."""
    result = session_of(request).result()
    arrays: dict[str, Any] = {}
    tips: list[dict[str, Any]] = []
    for tip in dict.fromkeys(g.tip for g in result.groups):
        tips.append(_tip(result, tip, len(tips), arrays))
    return Response(pack(arrays, {"tips": tips}), media_type=MEDIA_TYPE)


def _tip(result: StudyResult, name: str, i: int, arrays: dict[str, Any]) -> dict[str, Any]:
    from drypoint.app.views.budget import bench_of

    tip = next(g.bench.tip for g in result.groups if g.tip == name)
    depth = contact_depths(result, name)
    nm = factor_of("h_c")
    if len(depth):
        h = np.geomspace(0.5 * depth.min(), 1.6 * depth.max(), _POINTS)
        A, u = area_and_u(tip, h)
        ideal = ideal_area(tip, h)
        arrays |= {
            f"h{i}": h / nm,
            f"ratio{i}": A / ideal,
            f"low{i}": (A - 2 * u) / ideal,
            f"high{i}": (A + 2 * u) / ideal,
        }
    return {
        **bench_of(result, name),
        "shape": tip.geometry.shape,
        "kind": tip.area.kind,
        "depths": [float(depth.min() / nm), float(depth.max() / nm)] if len(depth) else None,
        "unloadings": len(depth),
    }


def ledger(request: Request, query: Listing) -> dict[str, Any]:
    """Entries of the ledger: all, or the history of a thing."""
    try:
        book = open_ledger()
    except DrypointError as error:
        return {"fault": as_json(error)}
    return {"fault": None, **entries_of(book, query.name, everything=query.all)}


def charts(request: Request, query: Thing) -> dict[str, Any]:
    """Control charts of a tip's area, the last good verification, and the studies since."""
    try:
        return {"fault": None, **charts_of(open_ledger(), query.tip, query.depth)}
    except DrypointError as error:
        return {"fault": as_json(error)}


_B = "/api/studies/{key}/bench"
VIEW = View(
    "bench",
    "Tip and frame",
    context,
    (
        Endpoint("GET", f"{_B}/found", found, "What a calibration found", gives=MEDIA_TYPE),
        Endpoint("GET", f"{_B}/accepted", accepted, "Who accepted a calibration"),
        Endpoint("POST", f"{_B}/accept", accept, "Accept a calibration", body=Consent),
        Endpoint("GET", f"{_B}/tips", in_use, "Tips of a study as used", gives=MEDIA_TYPE),
        Endpoint("GET", f"{_B}/ledger", ledger, "Entries of the ledger", query=Listing),
        Endpoint("GET", f"{_B}/charts", charts, "Control charts of a tip", query=Thing),
    ),
    of="any",
)
