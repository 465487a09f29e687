"""The way in: a token in the opening address on this machine, a password from elsewhere."""

from __future__ import annotations

import asyncio
import hmac
import time
from dataclasses import dataclass
from urllib.parse import parse_qs

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from drypoint.app.faults import NotFound, Refused, TooMuch
from drypoint.app.pages import page
from drypoint.app.settings import Settings

_LONGEST = 2000
#: Seconds that a wrong password costs, growing with each one after another, up to a limit.
_WAIT_S, _LONGEST_WAIT_S = 0.5, 8.0


@dataclass
class Attempts:
    """Wrong passwords in a row."""

    wrong: int = 0
    last: float = 0.0

    def wait_s(self) -> float:
        """How long the next one has to wait."""
        if time.monotonic() - self.last > 300.0:
            self.wrong = 0
        return min(_WAIT_S * 2**self.wrong, _LONGEST_WAIT_S) if self.wrong else 0.0


def door_routes() -> list[Route]:
    """Routes of the way in."""
    return [
        Route("/open", open_door, methods=["GET"]),
        Route("/login", login, methods=["GET", "POST"]),
    ]


async def open_door(request: Request) -> Response:
    """Take the token, leave the cookie, go on without the token in the address."""
    settings: Settings = request.app.state.settings
    given = request.query_params.get("token", "")
    if settings.password is not None or not hmac.compare_digest(
        given.encode(), settings.token.encode()
    ):
        raise Refused(
            "This opening address is not, or no longer, valid.",
            remedy="Open the address that “drypoint serve” printed when it started last.",
        )
    return _let_in(settings)


async def login(request: Request) -> Response:
    """Ask for the password."""
    settings: Settings = request.app.state.settings
    if settings.password is None:
        raise NotFound("There is no password; this workbench is open to this machine only.")
    if request.method == "GET":
        return page(request, "login.html", {"title": "Password", "wrong": False})
    body = b""
    async for chunk in request.stream():
        body += chunk
        if len(body) > _LONGEST:
            raise TooMuch("That is no password.")
    given = parse_qs(body.decode("utf-8", "replace")).get("password", [""])[0]
    attempts: Attempts = request.app.state.attempts
    async with request.app.state.one_at_a_time:
        await asyncio.sleep(attempts.wait_s())
        if await run_in_threadpool(settings.password.fits, given):
            attempts.wrong = 0
            return _let_in(settings)
        attempts.wrong += 1
        attempts.last = time.monotonic()
    return page(request, "login.html", {"title": "Password", "wrong": True}, status=403)


def _let_in(settings: Settings) -> Response:
    target = f"/studies/{settings.first}" if settings.first else "/"
    response = RedirectResponse(target, status_code=303)
    response.set_cookie(
        settings.cookie, settings.pass_value, httponly=True, samesite="strict", path="/"
    )  # fmt: skip
    return response
