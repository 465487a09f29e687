"""Critical loads placed by a person in the browser; the command line then gives the same bytes.
Invented data."""

from __future__ import annotations

import json
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_browser import chromium, visit
from app_demo import SCRATCH, Running
from playwright.sync_api import Browser, Page, expect

from drypoint.recipe import read_journal
from drypoint.run import run_study

PAGE = f"/studies/{SCRATCH}/scratch"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


def decide(page: Page, button: str, why: str) -> None:
    """Press a button of the form, give the reason, wait for the study to be up to date."""
    page.locator("#acts").get_by_role("button", name=button).click()
    page.get_by_label("Reason").fill(why)
    page.get_by_role("button", name="Write the decision").click()
    expect(page.locator("#decisions")).to_contain_text(why, timeout=60_000)
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)


def test_critical_loads_by_hand(browser: Browser, run_demo: Path, tmp_path: Path) -> None:
    root = tmp_path / "studies"
    shutil.copytree(run_demo, root)
    study = root / "demo" / "scratch" / "scratch.toml"
    journal = study.with_name("scratch.decisions.jsonl")
    lines = journal.read_text(encoding="utf-8").splitlines()
    # The decisions on all tracks but the last: its candidates are open.
    journal.write_text(
        "".join(f"{line}\n" for line in lines if json.loads(line)["test"] != "B-08"),
        encoding="utf-8",
    )
    run_study(study)
    before = len(read_journal(journal).decisions)
    running = Running(root)
    try:
        with visit(browser, running.served.base, running.served.way_in) as window:
            page = window.go(f"{PAGE}?track=B-07")
            expect(page.locator("#name")).to_contain_text("B-07")
            # From track to track by keyboard.
            page.locator("#scroll").focus()
            page.keyboard.press("End")
            expect(page.locator("#name")).to_contain_text("B-08")
            expect(page.locator("tr.chosen")).to_contain_text("open")
            first = page.locator(".candidate").first
            expect(first).to_have_attribute("aria-pressed", "true")
            decide(page, "Confirm 1 as Lc1", "cracks seen")
            # A line moved by keyboard, from the second candidate on.
            page.locator(".candidate").nth(1).click()
            page.locator("#event").select_option("Lc2")
            at = float(page.locator("#load").input_value())
            slider = page.get_by_role("slider", name="place here")
            slider.focus()
            for _ in range(2):
                page.keyboard.press("ArrowRight")
            moved = float(page.locator("#load").input_value())
            assert at < moved < 1.02 * at
            decide(page, "Move Lc2 there", "chips begin later")
            # A line dragged with the pointer.
            page.locator("#event").select_option("Lc3")
            box = page.locator(".drag").bounding_box()
            assert box is not None
            page.mouse.move(box["x"] + box["width"] / 2, box["y"] + 90)
            page.mouse.down()
            page.mouse.move(box["x"] + 60, box["y"] + 90, steps=4)
            page.mouse.up()
            dragged = float(page.locator("#load").input_value())
            assert dragged != pytest.approx(moved, rel=1e-3)
            # Far from the candidate it would be a load of its own, not that candidate moved.
            expect(page.locator("#acts")).to_contain_text("Set Lc3 there")
            decide(page, "Lc3 absent", "held to the end")
            page.get_by_role("button", name="Undo: critical load B-08").click()
            expect(page.locator("#strip")).to_contain_text("Redo: critical load B-08")
            expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
            expect(page.locator(".verdicts li")).to_have_count(2)
            # Against force; what is under the pointer is told.
            page.locator("#along").select_option("load")
            expect(page.locator("#plots")).to_contain_text("Friction coefficient")
            page.locator("#plots .u-over").first.hover(position={"x": 200, "y": 40})
            expect(page.locator("#readout")).to_contain_text("F_n")
    finally:
        running.stop()
    made = read_journal(journal).decisions[before:]
    assert [(d.value or {}).get("verdict") for d in made[:3]] == ["confirm", "move", "absent"]
    assert made[1].value["load_mN"] == pytest.approx(moved, rel=1e-4)
    assert made[3].undoes == made[2].id
    by_page = {p.name: p.read_bytes() for p in (study.parent / "results").glob("*.parquet")}
    run_study(study, out=tmp_path / "again", use_cache=False)
    by_command = {p.name: p.read_bytes() for p in (tmp_path / "again").glob("*.parquet")}
    assert by_page == by_command
