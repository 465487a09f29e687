"""The system's Chromium for tests. Whatever a page asks of another machine is refused and noted."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from playwright.sync_api import Browser, Page, Route, expect, sync_playwright

ARGUMENTS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]


# A machine that does other work too is slow to answer; what is right comes at once otherwise.
expect.set_options(timeout=60_000)


@contextmanager
def chromium() -> Iterator[Browser]:
    """The browser of the system."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "The tests need Chromium (on Debian: apt-get install chromium)."
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=ARGUMENTS)
        yield browser
        browser.close()


@dataclass
class Visit:
    """A page of a workbench, and what went wrong on it."""

    page: Page
    base: str
    faults: list[str] = field(default_factory=list)
    outside: list[str] = field(default_factory=list)

    def go(self, path: str) -> Page:
        self.page.goto(self.base + path)
        return self.page


@contextmanager
def visit(
    browser: Browser, base: str, way_in: str, *, width: int = 1366, height: int = 768,
    scheme: str = "light", who: str = "A. Example",
) -> Iterator[Visit]:  # fmt: skip
    """A new browser window that has come in. A fault in a script or an outside request fails."""
    context = browser.new_context(
        viewport={"width": width, "height": height},
        color_scheme=scheme,  # type: ignore[arg-type]
    )
    page = context.new_page()
    page.set_default_timeout(60_000)
    out = Visit(page, base)

    def gate(route: Route) -> None:
        if route.request.url.startswith((base, "data:", "blob:")):
            route.continue_()
        else:
            out.outside.append(route.request.url)
            route.abort()

    context.route("**/*", gate)
    page.on("pageerror", lambda error: out.faults.append(str(error)))
    page.on(
        "console",
        lambda m: (
            out.faults.append(m.text)
            if m.type == "error" and "Failed to load resource" not in m.text
            else None
        ),
    )
    page.goto(way_in)
    page.evaluate("name => localStorage.setItem('drypoint-who', name)", who)
    yield out
    context.close()
    assert not out.outside, f"requests left the machine: {out.outside}"
    assert not out.faults, f"faults on the page: {out.faults}"
