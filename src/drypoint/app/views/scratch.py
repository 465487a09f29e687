"""Scratch tracks: channels along each, candidates for critical loads, what is decided on them."""

from __future__ import annotations

import io
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint, Form, session_of
from drypoint.app.buffers import MEDIA_TYPE, pack
from drypoint.app.faults import NotFound
from drypoint.app.pages import View
from drypoint.app.scratch_values import (
    candidate_values,
    number_values,
    replicate_values,
    track_values,
    verdict_values,
)
from drypoint.app.session import Session, State
from drypoint.app.snippets import snippets
from drypoint.notices import DEBRIS
from drypoint.recipe.decisions import unknown_test
from drypoint.run.critical_loads import ScratchResult
from drypoint.run.scratching import TrackResult, passes_of

#: Most points of a channel of one pass that are sent: the smallest and largest value of each of
#: half as many stretches.
MOST_POINTS = 4000


class TrackName(Form):
    """The name of one track."""

    track: str


class PictureAsked(TrackName):
    """A picture of a track, by its number among the track's."""

    number: int = Field(0, ge=0)


def context(request: Request, state: State) -> Mapping[str, Any]:
    """What the page's template knows."""
    return {
        "has_tracks": bool(state.study.file.tracks),
        "has_results": state.results is not None,
        "debris": DEBRIS,
    }


def _scratch(session: Session) -> ScratchResult:
    scratch = session.result().scratch
    if scratch is None:
        raise NotFound(
            "The study has no scratch tracks.", remedy="Declare them with [[tracks]] in its file."
        )
    return scratch


def _track(session: Session, name: str) -> tuple[ScratchResult, TrackResult]:
    scratch = _scratch(session)
    for t in scratch.tracks:
        if t.name == name:
            return scratch, t
    raise unknown_test(name, [t.name for t in scratch.tracks], session.path)


def tracks(request: Request) -> dict[str, Any]:
    """All tracks with what waits for a decision, and what follows over the replicates."""
    scratch = _scratch(session_of(request))
    return {
        "events": [{"name": e, "seen": seen} for e, seen in scratch.events.items()],
        "tracks": [track_values(scratch, t) for t in scratch.tracks],
        **replicate_values(scratch),
    }


def one(request: Request, query: TrackName) -> Response:
    """One track in stretches (µm, mN, nm), with candidates, decisions, numbers, origin."""
    session = session_of(request)
    scratch, t = _track(session, query.track)
    p, f = t.profile, t.friction
    arrays: dict[str, Any] = {
        "x": p.x * 1e6,
        "load": p.load * 1e3,
        "mu": f.mu,
        "u_mu": f.u_mu,
        "plough": f.plough,
        "u_plough": f.u_plough,
        "h_load": p.h_load * 1e9,
        "u_h_load": p.u_h_load * 1e9,
        "h_residual": p.h_residual * 1e9,
        "u_h_residual": p.u_h_residual * 1e9,
        "topography": p.topography * 1e9,
    }
    extra = list(p.extra)
    for i, name in enumerate(extra):
        arrays |= {f"extra{i}": p.extra[name], f"peak{i}": p.peak[name]}
    known = scratch.decided[t.name]
    state = session.state()
    mine = [d for d in state.journal.decisions if d.test == t.name]
    head = {
        **track_values(scratch, t),
        "extra": extra,
        "candidates": candidate_values(scratch, t),
        "verdicts": [verdict_values(t, v) for v in known.events.values()],
        "numbers": number_values(scratch, t),
        "problems": [q.sentence for q in t.problems],
        "remarks": list(t.remarks),
        "pictures": [
            {
                "number": i,
                "about": picture.about,
                "file": picture.file,
                "sha256": picture.sha256,
                "span_um": None if picture.span is None else [v * 1e6 for v in picture.span],
                "size": [picture.pixels.shape[1], picture.pixels.shape[0]],
            }
            for i, picture in enumerate(q for q in scratch.pictures if q.track == t.name)
        ],
        "decisions": [{**d.model_dump(mode="json"), **snippets(d, state.study)} for d in mine],
        "files": [list(pair) for pair in zip(t.files, t.sha256, strict=False)],
    }
    return Response(pack(arrays, _plain(head)), media_type=MEDIA_TYPE)


def passes(request: Request, query: TrackName) -> Response:
    """The passes of one track as they were read (µm, mN, nm; further channels in their unit)."""
    session = session_of(request)
    _, t = _track(session, query.track)
    arrays: dict[str, Any] = {}
    head = []
    for i, one_pass in enumerate(passes_of(session.result().study, t)):
        channels = {
            "normal force": (one_pass.F_n, 1e3, "mN"),
            "lateral force": (one_pass.F_l, 1e3, "mN"),
            "depth": (one_pass.h, 1e9, "nm"),
            **{k: (v, 1.0, "") for k, v in one_pass.extra.items()},
        }
        entry: dict[str, Any] = {"kind": one_pass.kind, "samples": len(one_pass), "channels": []}
        for k, (name, (values, factor, unit)) in enumerate(channels.items()):
            if values is None:
                continue
            pick = extremes(np.asarray(values), MOST_POINTS)
            arrays[f"x{i}_{k}"] = one_pass.x[pick] * 1e6
            arrays[f"y{i}_{k}"] = values[pick] * factor
            entry["channels"].append({"name": name, "unit": unit, "at": f"{i}_{k}"})
        head.append(entry)
    return Response(pack(arrays, {"track": t.name, "passes": head}), media_type=MEDIA_TYPE)


def extremes(values: NDArray[np.float64], most: int) -> NDArray[np.int64]:
    """Indices of at most ``most`` samples: the smallest and the largest of each stretch, so that
    no peak is lost in drawing."""
    n = len(values)
    if n <= most:
        return np.arange(n)
    pieces = most // 2
    edges = np.linspace(0, n, pieces + 1).astype(np.int64)[:-1]
    known = np.where(np.isfinite(values), values, 0.0)
    owner = np.searchsorted(edges, np.arange(n), side="right") - 1
    order = np.lexsort((known, owner))
    first = np.searchsorted(owner[order], np.arange(pieces))
    last = np.append(first[1:], n) - 1
    return np.unique(np.concatenate([order[first], order[last]]))


def picture(request: Request, query: PictureAsked) -> Response:
    """A picture of a track as PNG, the scratch running to the right."""
    from PIL import Image

    scratch, t = _track(session_of(request), query.track)
    mine = [q for q in scratch.pictures if q.track == t.name]
    if query.number >= len(mine):
        raise NotFound(f"“{t.name}” has no such picture.")
    out = io.BytesIO()
    Image.fromarray(mine[query.number].pixels).save(out, format="PNG")
    return Response(out.getvalue(), media_type="image/png")


def _plain(value: Any) -> Any:
    """Plain values in which what is not finite is null: the head of a buffer is JSON."""
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, Mapping):
        return {k: _plain(v) for k, v in value.items()}
    return [_plain(v) for v in value] if isinstance(value, (list, tuple)) else value


_U = "/api/studies/{key}/scratch"
VIEW = View(
    "scratch",
    "Scratch",
    context,
    (
        Endpoint("GET", f"{_U}/tracks", tracks, "All scratch tracks"),
        Endpoint("GET", f"{_U}/one", one, "One scratch track", query=TrackName, gives=MEDIA_TYPE),
        Endpoint("GET", f"{_U}/passes", passes, "Passes of a scratch track as read",
                 query=TrackName, gives=MEDIA_TYPE),
        Endpoint("GET", f"{_U}/picture", picture, "Picture of a scratch track",
                 query=PictureAsked, gives="image/png"),
    ),
    needs="tracks",
)  # fmt: skip
