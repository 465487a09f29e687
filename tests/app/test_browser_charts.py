"""Charts in the system's Chromium: every one has coordinates under the pointer and a button that
resets the zoom; the load-depth chart begins near the contact; Columns opens inside the window."""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest
from app_browser import Visit, chromium, visit
from app_demo import KEY, SCRATCH, Served
from playwright.sync_api import Browser, Locator, Page, expect
from test_browser import axe_faults, settled

STUDY = f"/studies/{KEY}"
TEST = f"{STUDY}/test?test=G-08"
CHARTS = {
    "tests": f"{STUDY}/tests",
    "test": TEST,
    "depth": f"{STUDY}/depth",
    "tip and frame": f"{STUDY}/bench",
    "calibration": "/studies/demo:bench:bench/bench",
    "stress": f"{STUDY}/stress",
    "tracks": f"/studies/{SCRATCH}/scratch?track=A-02",
    "files": f"{STUDY}/files",
}
NUMBER = r"−?\d+(?:\.\d+)?(?:e[+−]\d+)?"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def window(browser: Browser, served: Served) -> Iterator[Visit]:
    with visit(browser, served.base, served.way_in) as found:
        yield found


def drag(page: Page, over: Locator, start: tuple[float, float], end: tuple[float, float]) -> None:
    """A zoom by dragging between two places, as shares of the picture."""
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    (a, b), (c, d) = start, end
    page.mouse.move(box["x"] + a * box["width"], box["y"] + b * box["height"])
    page.mouse.down()
    page.mouse.move(box["x"] + c * box["width"], box["y"] + d * box["height"], steps=4)
    page.mouse.up()


def point(page: Page, over: Locator, x: float, y: float) -> str:
    """What is shown under the pointer at a place, as shares of the picture."""
    over.scroll_into_view_if_needed()
    box = over.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + x * box["width"], box["y"] + y * box["height"])
    at = over.locator(".label .at")
    expect(at).to_be_visible()
    return at.inner_text()


def numbers(text: str) -> list[float]:
    return [float(n.replace("−", "-")) for n in re.findall(NUMBER, text)]


@pytest.mark.parametrize("name", CHARTS)
def test_every_chart_has_coordinates_and_resets_its_zoom(window: Visit, name: str) -> None:
    page = window.go(CHARTS[name])
    expect(page.locator(".chart .u-over").first).to_be_visible(timeout=90_000)
    settled(page)
    if name == "stress":  # its maps come after the words
        expect(page.locator(".map.chart .u-over")).to_be_visible(timeout=90_000)
    frames = page.locator(".chart .frame:visible")
    assert frames.count() >= 1
    for i in range(frames.count()):
        frame = frames.nth(i)
        over, reset = frame.locator(".u-over"), frame.get_by_role("button", name="Reset zoom")
        expect(reset).to_have_count(0)  # hidden until there is something to reset
        before = point(page, over, 0.3, 0.4)
        assert re.search(r"\d", before), before
        drag(page, over, (0.55, 0.3), (0.9, 0.8))
        expect(reset).to_be_visible()
        zoomed = point(page, over, 0.3, 0.4)
        assert zoomed != before
        reset.click()
        expect(reset).to_have_count(0)
        assert point(page, over, 0.3, 0.4) == before


def test_coordinates_are_those_of_the_axes(window: Visit) -> None:
    """Against the axes: what is read at both ends of the picture spans what the chart spans."""
    page = window.go(TEST)
    over = page.locator("#plane .u-over")
    expect(over).to_be_visible()
    settled(page)
    left, right = point(page, over, 0.02, 0.9), point(page, over, 0.98, 0.1)
    assert re.fullmatch(rf"{NUMBER} nm, {NUMBER} mN", left), left
    (h0, f0), (h1, f1) = numbers(left), numbers(right)
    # G-08 goes to 158 nm and 3.00 mN.
    assert -30 < h0 < 0 and 150 < h1 < 175
    assert -0.2 < f0 < 0.5 and 2.5 < f1 < 3.3
    top = over.bounding_box()
    assert top is not None
    step = (h1 - h0) / (0.96 * top["width"])  # nm per pixel
    a, b = numbers(point(page, over, 0.5, 0.5)), numbers(point(page, over, 0.75, 0.5))
    assert b[0] - a[0] == pytest.approx(0.25 * top["width"] * step, abs=3 * step)


def test_the_load_depth_chart_begins_near_the_contact(window: Visit) -> None:
    """The approach of G-08 is 120 nm long, its depth 158 nm; nine tenths are for the depth."""
    page = window.go(TEST)
    over = page.locator("#plane .u-over")
    expect(over).to_be_visible()
    settled(page)

    def share() -> float:
        """Share of the width at depths above zero."""
        a, b = numbers(point(page, over, 0.0, 0.5))[0], numbers(point(page, over, 0.999, 0.5))[0]
        assert a < 0 < b
        return b / (b - a)

    assert share() > 0.88
    toggle = page.locator("#plane").get_by_role("button", name="Show the approach")
    toggle.click()
    assert share() < 0.65
    drag(page, over, (0.5, 0.3), (0.9, 0.8))
    page.locator("#plane").get_by_role("button", name="Reset zoom").click()
    assert share() < 0.65  # the whole record, as it was before the zoom
    page.locator("#plane").get_by_role("button", name="Hide the approach").click()
    assert share() > 0.88
    # The keyboard does the same: zoom in, then all as it was.
    frame = page.locator("#plane .frame")
    frame.focus()
    page.keyboard.press("+")
    expect(frame.get_by_role("button", name="Reset zoom")).to_be_visible()
    page.keyboard.press("0")
    expect(frame.get_by_role("button", name="Reset zoom")).to_have_count(0)
    assert not axe_faults(page)


def test_another_load_is_looked_at_through_the_same_window(window: Visit) -> None:
    page = window.go(f"{STUDY}/stress")
    over = page.locator(".map.chart .u-over")
    expect(over).to_be_visible(timeout=90_000)
    settled(page)
    drag(page, over, (0.4, 0.3), (0.7, 0.8))
    zoomed = point(page, over, 0.3, 0.4)
    page.get_by_label("Load", exact=True).press("ArrowRight")
    settled(page)
    assert point(page, over, 0.3, 0.4) == zoomed


@pytest.mark.parametrize(("width", "height"), [(700, 800), (1000, 768), (1366, 768), (1920, 1080)])
def test_columns_open_inside_the_window(
    browser: Browser, served: Served, width: int, height: int
) -> None:
    with visit(browser, served.base, served.way_in, width=width, height=height) as window:
        page = window.go(f"{STUDY}/tests")
        settled(page)
        summary = page.locator(".columns summary")
        summary.click()
        panel = page.locator("#columns")
        expect(panel).to_be_visible()
        box, words = panel.bounding_box(), summary.bounding_box()
        assert box is not None and words is not None
        assert box["x"] >= 0 and box["x"] + box["width"] <= width
        assert box["y"] >= 0 and box["y"] + box["height"] <= page.evaluate(
            "document.documentElement.scrollHeight"
        )
        assert box["y"] >= words["y"] + words["height"] - 1  # it does not hide its own button
        # Every column can be reached, and a click on one changes the table.
        last = panel.locator("input").last
        last.check()
        expect(page.locator("th", has_text="Flags")).to_be_visible()
        assert last.is_checked() and panel.is_visible()
        last.uncheck()
        page.keyboard.press("Escape")
        expect(panel).to_be_hidden()
        summary.click()
        page.locator(".foot").click(position={"x": 5, "y": 5})
        expect(panel).to_be_hidden()
