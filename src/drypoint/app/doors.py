"""The way in: a token in the opening address on this machine, a password from elsewhere."""

from __future__ import annotations

import ipaddress
from typing import Any
from urllib.parse import parse_qs

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from drypoint.app.faults import NotFound, Refused, TooMuch
from drypoint.app.guard import secure
from drypoint.app.logins import Busy, Logins
from drypoint.app.pages import page
from drypoint.app.settings import Settings
from drypoint.app.tickets import Tickets
from drypoint.app.wire import LET_IN

_LONGEST = 2000
#: Seconds for which a browser that came in by password is counted separately.
_KNOWN_S = 365 * 86_400


def door_routes() -> list[Route]:
    """Routes of the way in."""
    return [
        Route("/open", open_door, methods=["GET"]),
        Route("/login", login, methods=["GET", "POST"]),
    ]


async def open_door(request: Request) -> Response:
    """Use the token up, leave the cookie, go on without the token in the address."""
    settings: Settings = request.app.state.settings
    if request.method == "HEAD" or "prefetch" in request.headers.get("sec-purpose", ""):
        return Response(status_code=204)  # a look ahead does not use the token up
    if settings.password is not None and not _from_this_machine(request):
        raise Refused(
            "An opening address is valid on the machine on which the workbench runs only.",
            remedy="Give the password at /login.",
        )
    tickets: Tickets = request.app.state.tickets
    fault = tickets.redeem(request.query_params.get("token", ""))
    if fault and not request.scope.get(LET_IN):
        raise Refused(
            fault,
            remedy="Press Enter in the terminal in which “drypoint serve” runs for a new one, or "
            "start it again.",
        )
    return _let_in(request)


def _from_this_machine(request: Request) -> bool:
    """Whether the client is this machine (as a trusted proxy says, where there is one)."""
    client = request.client.host if request.client is not None else ""
    server = request.scope.get("server") or ("", None)
    try:
        return ipaddress.ip_address(client).is_loopback or client == server[0]
    except ValueError:
        return False


async def login(request: Request) -> Response:
    """Ask for the password."""
    settings: Settings = request.app.state.settings
    if settings.password is None:
        raise NotFound("There is no password; this workbench is open to this machine only.")
    if request.method != "POST":
        return _asked(request, 200)
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _LONGEST:
            raise TooMuch("That is no password.")
    given = parse_qs(body.decode("utf-8", "replace")).get("password", [""])[0]
    password, logins = settings.password, _logins(request)
    address = request.client.host if request.client is not None else ""
    name = settings.cookie_name(secure(request.scope), "known_")

    async def fits() -> bool:
        return bool(await run_in_threadpool(password.fits, given))

    try:
        if not await logins.attempt(address, request.cookies.get(name, ""), fits):
            return _asked(request, 403, "This is not the password.")
    except Busy as busy:
        return _asked(request, busy.status, f"{busy.what} {busy.remedy}")
    response = _let_in(request)
    _set(request, response, name, logins.new_known(), max_age=_KNOWN_S)
    return response


def _logins(request: Request) -> Logins:
    logins: Logins = request.app.state.logins
    return logins


def _asked(request: Request, status: int, wrong: str = "") -> Response:
    return page(request, "login.html", {"title": "Password", "wrong": wrong}, status=status)


def _let_in(request: Request) -> Response:
    settings: Settings = request.app.state.settings
    target = f"/studies/{settings.first}" if settings.first else "/"
    came = request.headers.get("sec-fetch-site", "")
    reads = "text/html" in request.headers.get("accept", "")
    if request.method == "GET" and reads and came not in ("none", "same-origin"):
        # From a file: a redirection would still count as that of another site, and the browser
        # would keep the cookie back. A page of ours that leads on does not.
        known: dict[str, Any] = {"title": "Workbench", "target": target}
        response: Response = page(request, "opened.html", known)
    else:
        response = RedirectResponse(target, status_code=303)
    _set(request, response, settings.cookie_name(secure(request.scope)), settings.pass_value)
    return response


def _set(request: Request, response: Response, name: str, value: str, **more: Any) -> None:
    response.set_cookie(
        name, value, path="/", httponly=True, samesite="strict", secure=secure(request.scope),
        **more,
    )  # fmt: skip
