"""The door: which requests are answered at all, and the headers that every answer carries.

Other web sites must not reach the workbench through the user's browser: the header Host must name
this machine (so that a foreign name that points here is refused), a request that changes something
must come from a page of ours (Origin), and everything but the way in asks for the cookie.
"""

from __future__ import annotations

import hmac
from collections.abc import Awaitable, Callable, MutableMapping
from typing import Any

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request

from drypoint import paths
from drypoint.app.faults import NotIn, PageError, Refused, answer
from drypoint.app.settings import Settings
from drypoint.app.wire import LET_IN, LIMITS

Scope = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[MutableMapping[str, Any]]]
Send = Callable[[MutableMapping[str, Any]], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)
#: Headers of every answer; a view may set one of its own in place (a report in a frame).
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "x-frame-options": "DENY",
    "cache-control": "no-store",
}
#: The way in, and what it needs to look like something.
OPEN = ("/open", "/login")
_READS = ("GET", "HEAD")


class TooLong(PageError):  # noqa: N818
    """Request line and headers are longer than is taken."""

    status = 431


def secure(scope: Scope) -> bool:
    """Whether the browser speaks TLS (with a proxy that was named, and says so)."""
    return bool(scope.get("scheme") == "https")


class Guard:
    """Checks each request before the application sees it."""

    def __init__(self, app: App, settings: Settings) -> None:
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return

        async def with_headers(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        fault = self.fault(scope)
        if fault is not None:
            await answer(Request(scope, receive), fault)(scope, receive, with_headers)
            return
        # Whatever a handler opens lies inside the served folder.
        with paths.confined(self.settings.root):
            await self.app(scope, receive, with_headers)

    def fault(self, scope: Scope) -> PageError | None:
        """Why a request is not answered; nothing where it is."""
        headers = Headers(scope=scope)
        fault = _malformed(scope, headers)
        if fault is not None:
            return fault
        host = headers.get("host", "").lower()
        if host not in self.settings.hosts:
            return Refused(
                f"The workbench is not reached under the name “{host}”.",
                remedy="Open the address that “drypoint serve” printed.",
            )
        if not self._from_here(scope, headers, host):
            return Refused(
                "The request came from another page; nothing was done.",
                remedy="Behind a proxy: it must be named with --proxy, keep the header Host, and "
                "send X-Forwarded-Proto."
                if self.settings.proxies
                else "",
            )
        path = scope["path"]
        scope[LET_IN] = self.comes_in(scope)
        if path in OPEN or path.startswith("/static/"):
            return None
        if not scope[LET_IN]:
            return NotIn(
                "This browser has not been let in yet.",
                remedy="Give the password at /login."
                if self.settings.password is not None
                else "Open the address that “drypoint serve” printed when it started.",
            )
        return None

    def comes_in(self, scope: Scope) -> bool:
        """Whether the request carries the cookie."""
        name = self.settings.cookie_name(secure(scope))
        given = Request(scope).cookies.get(name, "")
        return hmac.compare_digest(given.encode(), self.settings.pass_value.encode())

    def _from_here(self, scope: Scope, headers: Headers, host: str) -> bool:
        origin, site = headers.get("origin"), headers.get("sec-fetch-site")
        if scope["method"] in _READS:
            visit = headers.get("sec-fetch-mode") == "navigate"
            return visit or site in (None, "same-origin", "none")
        if site not in (None, "same-origin"):
            return False
        return origin is not None and origin.lower() == f"{scope['scheme']}://{host}"


def _malformed(scope: Scope, headers: Headers) -> PageError | None:
    """Requests that a browser does not send, and that are read differently elsewhere."""
    size = len(scope.get("raw_path") or b"") + len(scope.get("query_string", b""))
    size += sum(len(name) + len(value) + 4 for name, value in scope["headers"])
    if size > LIMITS.head_bytes:
        return TooLong(f"The headers of the request are longer than {LIMITS.head_bytes} bytes.")
    if not scope["path"].startswith("/"):
        return PageError("Invalid request target; expected a path.")
    if "transfer-encoding" in headers and "content-length" in headers:
        return PageError("Invalid request: it states the length of its body twice.")
    return None
