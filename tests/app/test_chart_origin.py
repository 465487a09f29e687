"""Charts of invented or computed data say so on the chart itself; the page Scratch warns of chips.
Invented data."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_browser import chromium, visit
from app_demo import KEY, SCRATCH, Served
from playwright.sync_api import Browser
from starlette.testclient import TestClient

from drypoint.notices import DEBRIS

#: Notes what is written on any canvas, and how far down it stands, in place of the pictures.
SPY = """
  window.written = [];
  const fill = CanvasRenderingContext2D.prototype.fillText;
  CanvasRenderingContext2D.prototype.fillText = function (words, x, y) {
    window.written.push([words, y / this.canvas.height]);
    return fill.apply(this, arguments);
  };
"""


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.mark.parametrize(
    ("path", "words"),
    [
        (f"{KEY}/tests", "Invented data"),
        (f"{KEY}/depth", "Invented data"),
        (f"{KEY}/stress", "Invented data; computed, not measured"),
        (f"{KEY}/bench", "Invented data"),
        (f"{SCRATCH}/scratch", "Invented data"),
    ],
)
def test_charts_say_so(browser: Browser, served: Served, path: str, words: str) -> None:
    with visit(browser, served.base, served.way_in) as window:
        window.page.add_init_script(SPY)
        page = window.go(f"/studies/{path}")
        page.wait_for_function("w => window.written.some((v) => v[0] === w)", arg=words)
        written = page.evaluate("window.written")
        said = {w for w, _ in written if "nvented" in w or "omputed" in w}
        assert said == {words}
        # Below the axes, at the lower edge of the chart.
        assert all(0.95 < y <= 1 for w, y in written if w == words)


def test_charts_of_measured_data_say_nothing(client: TestClient, root: Path) -> None:
    """The page has no words for its charts; but a stress run stays computed."""

    def origin(view: str) -> str:
        text = client.get(f"/studies/{KEY}/{view}").text
        found = re.search(r'<body[^>]* data-origin="([^"]*)"', text)
        assert found is not None
        return found[1]

    assert origin("tests") == "Invented data"
    study = root / "demo" / "study.toml"
    text = study.read_text(encoding="utf-8")
    study.write_text(text.replace("invented = true\n", ""), encoding="utf-8")
    assert origin("tests") == ""
    assert origin("stress") == "Computed, not measured"


def test_the_page_scratch_warns_of_chips(client: TestClient, root: Path) -> None:
    """Before the first run and after it."""
    assert DEBRIS in client.get(f"/studies/{SCRATCH}/scratch").text
    results = root / "demo" / "scratch" / "results"
    results.rename(results.with_name("elsewhere"))
    assert DEBRIS in client.get(f"/studies/{SCRATCH}/scratch").text
