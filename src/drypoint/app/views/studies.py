"""The studies in the folder: what each is about, and how its results stand."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from drypoint.app.api import Endpoint
from drypoint.app.faults import as_json
from drypoint.app.pages import page
from drypoint.app.places import find_studies, key_of
from drypoint.app.session import Session
from drypoint.errors import DrypointError


async def studies_page(request: Request) -> Response:
    """The list of studies."""
    known = await run_in_threadpool(_known, request)
    return page(request, "studies.html", known)


def _known(request: Request) -> dict[str, Any]:
    root: Path = request.app.state.settings.root
    return {
        "title": "Studies",
        "view": "studies",
        "module": "studies",
        "root": root,
        "studies": listed(root),
    }


def listed(root: Path) -> list[dict[str, Any]]:
    """The studies of a folder as plain values; one that is wrong says why."""
    return [_one(root, path) for path in find_studies(root)]


def _one(root: Path, path: Path) -> dict[str, Any]:
    key = key_of(root, path)
    out: dict[str, Any] = {
        "key": key,
        "file": path.relative_to(root).as_posix(),
        "name": path.stem,
        "question": "",
        "kind": "study",
        "specimens": [],
        "standing": "fault",
        "decisions": 0,
        "invented": False,
        "fault": None,
        "tests": None,
    }
    try:
        state = Session(key, path).state()
    except DrypointError as error:
        return {**out, "fault": as_json(error)}
    file = state.study.file
    return {
        **out,
        "name": state.study.name or path.stem,
        "question": file.study.question,
        "kind": "calibration" if file.calibration is not None else "study",
        "specimens": list(file.specimens),
        "standing": state.standing,
        "decisions": len(state.journal.decisions),
        "invented": file.study.invented,
        "tests": _tests(state.results),
    }


def _tests(results: Any) -> int | None:
    if results is None:
        return None
    try:
        summary = results.json("summary.json")
        return int(summary["tests_reduced"])
    except (DrypointError, KeyError, TypeError, ValueError):
        return None


def all_studies(request: Request) -> dict[str, Any]:
    """The studies of this workbench."""
    root: Path = request.app.state.settings.root
    return {"folder": str(root), "studies": listed(root)}


STUDIES = (Endpoint("GET", "/api/studies", all_studies, "The studies of this workbench"),)
