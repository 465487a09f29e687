"""Pages: templates, what every page knows, and how a view is declared.

A view is one module in :mod:`drypoint.app.views`, one template ``NAME.html`` and one ES module
``static/views/NAME.js``. docs/explanation/workbench.md says how one is added.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup, escape
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from drypoint.app.api import Endpoint, session_of
from drypoint.app.faults import as_json, status_of
from drypoint.app.session import State
from drypoint.errors import DrypointError
from drypoint.figures.picture import css_variables
from drypoint.notices import origin
from drypoint.version import __version__
from drypoint.visible import visible

HERE = Path(__file__).parent
#: What a view's page knows besides what every page knows.
Context = Callable[[Request, State], Mapping[str, Any]]


@dataclass(frozen=True)
class View:
    """One view of a study.

    Parameters
    ----------
    name : str
        In its address ``/studies/KEY/NAME``; its template and ES module bear it too.
    title : str
        In the navigation; empty where it is reached from another view only.
    context : callable
        Gives what the template knows, from request and state. Runs in a thread.
    endpoints : tuple of Endpoint
        Its own, under ``/api/studies/{key}/``.
    under : str
        View that the navigation marks as the present one, where it is not this one.
    of : str
        ``run`` for studies of specimens, ``calibrate`` for calibrations, or ``any``.
    needs : str
        Tables of the study file without which the view has nothing to show: ``records``,
        ``tracks``, or empty.
    """

    name: str
    title: str
    context: Context = lambda request, state: {}
    endpoints: tuple[Endpoint, ...] = field(default=())
    under: str = ""
    of: str = "run"
    needs: str = ""

    def listed(self, state: State | None) -> bool:
        """Whether the navigation of a study names it."""
        if state is None:
            return True
        if self.of not in ("any", state.work):
            return False
        return not self.needs or bool(getattr(state.study.file, self.needs))

    @property
    def route(self) -> Route:
        """The route of its page."""

        async def show(request: Request) -> Response:
            return await run_in_threadpool(self._show, request)

        return Route(f"/studies/{{key}}/{self.name}", show, methods=["GET"], name=self.name)

    def _show(self, request: Request) -> Response:
        session = session_of(request)
        known: dict[str, Any] = {
            "view": self.under or self.name,
            "module": self.name,
            "key": session.key,
            "title": self.title or self.name,
        }
        try:
            state = session.state()
            known |= {"state": state, "study": state.study, **self.context(request, state)}
        except DrypointError as error:
            # The study stays in reach, so that what is wrong can be put right.
            known |= {"fault": error, "study_file": session.path.name}
            return page(request, "fault.html", known, status=status_of(error))
        return page(request, f"{self.name}.html", known)


async def first_view(request: Request) -> Response:
    """To the first view of a study that has something to show."""
    from drypoint.app.views import VIEWS

    def name() -> str:
        try:
            state = session_of(request).state()
        except DrypointError:
            return VIEWS[0].name  # it says what is wrong
        return next(v.name for v in VIEWS if v.title and v.listed(state))

    key = quote(request.path_params["key"], safe="")
    return RedirectResponse(f"/studies/{key}/{await run_in_threadpool(name)}", status_code=303)


class _Verbatim(Markup):
    """Escaped text that goes into a page unchanged: what a script or a form sends back."""


def _verbatim(value: object) -> _Verbatim:
    return _Verbatim(escape(value))


def _shown(value: object) -> object:
    """A value as pages show it: names must not reorder what stands around them."""
    if isinstance(value, _Verbatim) or not isinstance(value, str):
        return value
    return type(value)(visible(value))


@cache
def environment() -> Environment:
    """The templates. Everything is escaped; a name that is not known is a fault."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        finalize=_shown,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["verbatim"] = _verbatim
    made.globals["fault_values"] = as_json
    made.globals["origin"] = origin
    return made


def page(
    request: Request, template: str, known: Mapping[str, Any], *, status: int = 200
) -> HTMLResponse:
    """A page from its template."""
    from drypoint.app.views import VIEWS

    base: dict[str, Any] = {
        "version": __version__,
        "stamp": stamp(),
        "views": [v for v in VIEWS if v.title],
        "key": None,
        "view": "",
        "module": "",
        "state": None,
        "study": None,
        "fault": None,
        "with_password": request.app.state.settings.password is not None
        if "app" in request.scope
        else False,
    }
    text = environment().get_template(template).render({**base, **known})
    return HTMLResponse(text, status_code=status)


@cache
def stamp() -> str:
    """Changes with the files of the pages, so that a browser never keeps old ones."""
    files = (HERE / "static").rglob("*")
    newest = max(int(p.stat().st_mtime) for p in files if p.is_file())
    return f"{__version__}-{newest:x}"


def palette() -> str:
    """The colours of the figures as CSS, so that pages and papers look alike."""
    light, dark = css_variables()
    return (
        f":root {{ {light} }}\n"
        f"@media (prefers-color-scheme: dark) {{ :root:not([data-theme=light]) {{ {dark} }} }}\n"
        f":root[data-theme=dark] {{ {dark} }}\n"
    )
