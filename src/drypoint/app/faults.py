"""Errors as pages show them: the words of the command line, as a part of a page and as JSON."""

from __future__ import annotations

import sys
import traceback
from dataclasses import asdict
from typing import Any

from pydantic import ValidationError
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from drypoint.errors import DrypointError, NoResultError, Where
from drypoint.recipe import Conflict, StudyError


class PageError(DrypointError):
    """A request that cannot be answered; ``status`` is its HTTP status."""

    status = 400


class NotFound(PageError):  # noqa: N818
    """There is no such page, study, test or file."""

    status = 404


class Refused(PageError):  # noqa: N818
    """Whoever asks may not come in, or the request came from elsewhere."""

    status = 403


class NotIn(PageError):  # noqa: N818
    """Nobody came in yet from this browser."""

    status = 401


class TooMuch(PageError):  # noqa: N818
    """What was sent is larger than is taken."""

    status = 413


class Overtaken(PageError):  # noqa: N818
    """The study was changed elsewhere since this page was loaded; nothing was written."""

    status = 409


def status_of(error: DrypointError) -> int:
    """HTTP status for an error."""
    if isinstance(error, PageError):
        return error.status
    return 409 if isinstance(error, Conflict) else 422


def as_json(error: DrypointError) -> dict[str, Any]:
    """An error as plain values; ``text`` is what the command line prints."""
    faults = error.problems if isinstance(error, StudyError | NoResultError) else ()
    return {
        "kind": type(error).__name__,
        "what": error.what,
        "where": asdict(error.where),
        "place": str(error.where),
        "remedy": error.remedy,
        "text": str(error),
        "all": [
            {"where": asdict(w), "place": str(w), "what": what, "remedy": remedy}
            for w, what, remedy in faults
        ],
    }


def from_pydantic_body(error: ValidationError) -> PageError:
    """A body that does not fit its form."""
    parts = []
    for e in error.errors(include_url=False):
        name = ".".join(str(p) for p in e["loc"]) or "body"
        parts.append(f"{name}: {e['msg'].removeprefix('Value error, ')}")
    return PageError(
        "What was sent does not fit: " + "; ".join(parts) + ".",
        where=Where(key=".".join(str(p) for p in error.errors()[0]["loc"]) or None),
        remedy="The form of each request stands in /api/openapi.json.",
    )


def wants_json(request: Request) -> bool:
    """Whether an answer is for a script rather than for a person."""
    return request.url.path.startswith("/api/")


def answer(request: Request, error: DrypointError) -> Response:
    """An error as the answer to a request."""
    status = status_of(error)
    if wants_json(request):
        return JSONResponse({"error": as_json(error)}, status)
    from drypoint.app.pages import page

    return page(request, "fault.html", {"fault": error, "title": "Not possible"}, status=status)


async def on_drypoint_error(request: Request, error: Exception) -> Response:
    """Handler for the family of errors."""
    assert isinstance(error, DrypointError)
    return answer(request, error)


async def on_http_error(request: Request, error: Exception) -> Response:
    """Handler for what the router itself refuses."""
    assert isinstance(error, HTTPException)
    if error.status_code == 404:
        return answer(request, NotFound("There is no such page.", remedy="Begin at the studies."))
    fault = PageError(f"{error.detail}.")
    fault.status = error.status_code
    response = answer(request, fault)
    for name, value in (error.headers or {}).items():
        response.headers[name] = value
    return response


async def on_disconnect(request: Request, error: Exception) -> Response:
    """Handler for a client that went away, or was cut, before all of its body came."""
    fault = PageError("The request ended early; nothing was done.")
    return answer(request, fault)


async def on_bug(request: Request, error: Exception) -> Response:
    """Handler for what must not happen: the page stays calm, the terminal has the details."""
    print("drypoint: a fault in the workbench itself:", file=sys.stderr)
    traceback.print_exception(error, file=sys.stderr)
    fault = PageError(
        "A fault in the workbench itself; nothing was written half-way.",
        remedy="The terminal in which it runs has the details. Please report it.",
    )
    fault.status = 500
    return answer(request, fault)
