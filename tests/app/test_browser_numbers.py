"""Budget, Depth, Tip and frame in the system's Chromium: panel, linked choice, acceptance."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_browser import Visit, chromium, visit
from app_demo import KEY, Running, Served
from playwright.sync_api import Browser, expect
from test_browser import axe_faults, settled

from drypoint.cli.calibrate import Wish, calibrate_command

STUDY = f"/studies/{KEY}"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def window(browser: Browser, served: Served) -> Iterator[Visit]:
    with visit(browser, served.base, served.way_in) as found:
        yield found


def test_a_number_opens_its_budget_and_another_takes_its_place(window: Visit) -> None:
    page = window.go(f"{STUDY}/tests?test=G-08")
    number = page.locator("#one a.num[href*='symbol=H_IT']")
    number.focus()
    page.keyboard.press("Enter")
    panel = page.get_by_role("dialog")
    expect(panel).to_contain_text("raw/glass/G-08.txt")
    expect(panel).to_contain_text("face angle of the tip")
    assert not axe_faults(page)
    page.locator("#means a.num").first.click()
    expect(panel).to_contain_text("mean of film")
    page.keyboard.press("Escape")
    expect(panel).to_have_count(0)


def test_depth_is_linked_with_the_tests(window: Visit) -> None:
    page = window.go(f"{STUDY}/tests?test=G-08")
    settled(page)
    page.locator("tr[data-test='G-09']").click()
    page = window.go(f"{STUDY}/depth")
    chosen = page.locator("#chosen")
    expect(chosen).to_contain_text("G-09")
    settled(page)
    frame = page.locator("#plot0 .frame")
    frame.focus()
    page.keyboard.press("ArrowRight")
    expect(page.locator("#plot0 [aria-live]")).to_contain_text("G-10")
    page.keyboard.press("Enter")
    expect(chosen).to_contain_text("G-10")
    page.get_by_label("glass").uncheck()
    page.get_by_label("logarithmic depth").check()
    page.locator("#symbol1").select_option("HM")
    expect(chosen.locator("th", has_text="HM")).to_be_visible()
    chosen.locator("a.num").nth(1).click()
    expect(page.get_by_role("dialog")).to_contain_text("G-10, unloading 1")
    expect(page.locator("#films h2")).to_contain_text("Film and substrate, specimen film")
    expect(page.locator("#films table.report").first).to_contain_text("spread")


def test_two_windows_share_the_chosen_test(window: Visit) -> None:
    first = window.go(f"{STUDY}/depth")
    settled(first)
    second = first.context.new_page()
    second.goto(f"{window.base}{STUDY}/tests")
    second.locator("tr[data-test='G-14']").click()
    expect(first.locator("#chosen")).to_contain_text("G-14")


def test_a_calibration_that_was_accepted_elsewhere_is_shown(window: Visit) -> None:
    """The demo's is accepted through the package; no page has computed it before."""
    page = window.go("/studies/demo:bench:bench/bench")
    expect(page.locator("#found")).to_contain_text("Accepted by A. Example")
    expect(page.locator("#found .verdict")).to_contain_text("Pass", timeout=60_000)
    expect(page.locator("#found")).to_contain_text("Accepted by A. Example")
    settled(page)
    assert not axe_faults(page)
    frame = page.locator("#found .frame").first
    frame.focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator(".one-test")).to_contain_text("residual")
    expect(page.locator(".one-test").get_by_role("button", name="Exclude…")).to_be_visible()
    expect(page.locator("#control")).to_contain_text("ledger")


def test_what_the_command_line_accepts_is_shown_on_an_open_page(
    browser: Browser, run_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DRYPOINT_LEDGER", str(tmp_path / "ledger.sqlite"))
    shutil.copytree(run_demo / "demo", tmp_path / "studies" / "demo")
    bench = tmp_path / "studies" / "demo" / "bench"
    (bench / "calibration.toml").unlink()
    running = Running(tmp_path / "studies")
    try:
        with visit(browser, running.served.base, running.served.way_in) as window:
            page = window.go("/studies/demo:bench:bench/bench")
            found = page.locator("#found")
            expect(found.get_by_role("button", name="Calibrate")).to_be_visible()
            wish = Wish(True, "C. Command", "by hand", "known", "", None, False, None, False)
            assert calibrate_command(bench / "bench.toml", wish) in (0, 3)
            expect(found).to_contain_text("Accepted by C. Command", timeout=30_000)
            expect(found.locator(".verdict")).to_contain_text("Pass", timeout=60_000)
            expect(page.locator("#strip")).to_contain_text("up to date")
            expect(page.locator("#entries")).to_contain_text("C. Command")
    finally:
        running.stop()
