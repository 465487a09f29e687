"""The application, put together: door, pages, endpoints, work."""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Mount, Route
from starlette.staticfiles import StaticFiles

from drypoint.app import faults
from drypoint.app.api import Endpoint, openapi, routes_of
from drypoint.app.doors import door_routes
from drypoint.app.guard import Guard
from drypoint.app.jobs import Jobs
from drypoint.app.logins import Logins
from drypoint.app.pages import HERE, first_view, palette
from drypoint.app.readings import Readings
from drypoint.app.session import Shelf
from drypoint.app.settings import Settings
from drypoint.app.study_api import ENDPOINTS
from drypoint.app.tickets import Tickets
from drypoint.errors import DrypointError, Where

#: Fetched when the package is built; the pages do not work without.
VENDOR = ("uplot/uPlot.esm.js", "uplot/uPlot.min.css", "source-sans-3/latin.woff2")


def create_app(settings: Settings, closing: Callable[[], bool] = lambda: False) -> Starlette:
    """The workbench as an ASGI application.

    Parameters
    ----------
    settings : Settings
    closing : callable
        Whether the server is about to end, so that streams end too.
    """
    from drypoint.app.views import VIEWS
    from drypoint.app.views.new import NEW, new_page
    from drypoint.app.views.studies import STUDIES, studies_page

    endpoints: tuple[Endpoint, ...] = (
        *ENDPOINTS,
        *STUDIES,
        *NEW,
        *(e for v in VIEWS for e in v.endpoints),
    )

    def document(request: Request) -> dict[str, Any]:
        return openapi(endpoints)

    endpoints = (*endpoints, Endpoint("GET", "/api/openapi.json", document, "These endpoints"))
    routes: list[BaseRoute] = [
        Route("/", studies_page, methods=["GET"], name="studies"),
        Route("/new", new_page, methods=["GET"], name="new"),
        *door_routes(),
        *routes_of(endpoints),
        *(v.route for v in VIEWS),
        Route("/studies/{key}", first_view, methods=["GET"], name="study"),
        Route("/static/palette.css", _palette, methods=["GET"]),
        Mount("/static", _Static(directory=HERE / "static"), name="static"),
    ]

    @contextlib.asynccontextmanager
    async def life(app: Starlette) -> AsyncIterator[None]:
        app.state.jobs.warm_up()
        app.state.readings.warm_up()
        yield
        app.state.readings.close()
        app.state.tickets.close()
        app.state.jobs.close()

    app = Starlette(
        routes=routes,
        middleware=[Middleware(Guard, settings=settings)],
        exception_handlers={
            DrypointError: faults.on_drypoint_error,
            HTTPException: faults.on_http_error,
            ClientDisconnect: faults.on_disconnect,
            Exception: faults.on_bug,
        },
        lifespan=life,
    )
    app.state.settings = settings
    app.state.shelf = Shelf(settings.root)
    app.state.jobs = Jobs(root=settings.root)
    app.state.readings = Readings(
        settings.root,
        memory=settings.reading_bytes,
        seconds=settings.reading_seconds,
        file_bytes=settings.readable_bytes,
    )
    app.state.logins = Logins(settings.secret)
    app.state.tickets = Tickets()
    app.state.tickets.issue(settings.token)
    app.state.closing = closing
    return app


class _Static(StaticFiles):
    """Files of the pages; a browser asks each time whether they are still the same."""

    def file_response(self, *args: Any, **kwargs: Any) -> Response:
        response = super().file_response(*args, **kwargs)
        response.headers["cache-control"] = "no-cache"
        return response


async def _palette(request: Request) -> Response:
    return Response(palette(), media_type="text/css", headers={"cache-control": "no-cache"})


def missing_parts(static: Path = HERE / "static") -> DrypointError | None:
    """What is wrong where the front-end parts of others are not there."""
    gone = [name for name in VENDOR if not (static / "vendor" / name).is_file()]
    if not gone:
        return None
    return DrypointError(
        f"Parts of the pages are missing: {', '.join(gone)}.",
        where=Where(str(static / "vendor")),
        remedy="They come with every built package. In a copy of the source, fetch them with "
        "“make setup”, or with “python scripts/fetch_vendor.py” (needs npm).",
    )
