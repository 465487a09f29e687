"""Signing with a key on the page Report, and names with hidden characters on every page, in the
system's Chromium. Invented data."""

from __future__ import annotations

import contextlib
import hashlib
import io
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from app_browser import chromium, visit
from app_demo import KEY, Running
from playwright.sync_api import Browser, expect

from drypoint.app.views import VIEWS
from drypoint.cli import app as command_line
from drypoint.keys import keys_here
from drypoint.recipe import load_study
from drypoint.run import run_study
from drypoint.run.signing import read_signatures

STUDY = f"/studies/{KEY}"
WHO = "A. Example"
PASSPHRASE = "an invented long passphrase"
EVIL = "gl\u202eassa\u2066"


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


def command(*words: object) -> None:
    """Run a command of the program."""
    with contextlib.redirect_stdout(io.StringIO()):
        command_line([str(w) for w in words], standalone_mode=False)


def kept(folder: Path) -> dict[str, str]:
    """Every file of a study but its cache, with its hash."""
    return {
        p.relative_to(folder).as_posix(): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and not any("cache" in part for part in p.parts)
    }


def test_signing_with_a_key(
    browser: Browser, run_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("DRYPOINT_LEDGER", str(tmp_path / "ledger.sqlite"))
    shutil.copytree(run_demo, tmp_path / "studies")
    folder = tmp_path / "studies" / "demo"
    (tmp_path / "pass").write_text(PASSPHRASE + "\n", encoding="utf-8")
    command("key", "new", "--who", WHO, "--passphrase-file", tmp_path / "pass")
    running = Running(tmp_path / "studies")
    try:
        with visit(browser, running.served.base, running.served.way_in, who=WHO) as window:
            page = window.go(f"{STUDY}/report")
            page.get_by_role("button", name="Write the report").first.click()
            expect(page.frame_locator("iframe").locator("h1")).to_be_visible(timeout=90_000)
            before = kept(folder)
            secret = page.get_by_label("Passphrase of your key")
            assert secret.get_attribute("type") == "password"
            page.get_by_label("Remark").fill("checked with my key")
            secret.fill("another long passphrase")
            page.get_by_role("button", name="Sign version 1").click()
            expect(page.get_by_role("alert").first).to_contain_text("passphrase", timeout=90_000)
            expect(page.locator("#list li")).to_have_count(0)
            assert kept(folder) == before  # nothing was written
            assert "Traceback" not in page.locator("body").inner_text()
            expect(secret).to_have_value("")
            page.get_by_label("Remark").fill("checked with my key")
            secret.fill(PASSPHRASE)
            page.get_by_role("button", name="Sign version 1").click()
            expect(page.locator("#list li")).to_contain_text(WHO, timeout=90_000)
            expect(page.locator("#list li")).to_contain_text(f"key {keys_here()[0].fingerprint}")
            page.get_by_role("button", name="Check whether").click()
            expect(page.locator("#list li")).to_contain_text("It holds", timeout=90_000)
            assert PASSPHRASE not in page.content()
    finally:
        running.stop()
    (made,) = read_signatures(folder / "study.toml")
    assert made.key and made.proof
    written = b"".join(
        p.read_bytes() for p in tmp_path.rglob("*") if p.is_file() and p.name != "pass"
    )
    assert PASSPHRASE.encode() not in written


def test_names_cannot_reorder_a_page(
    browser: Browser, run_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    shutil.copytree(run_demo, tmp_path / "studies")
    study = tmp_path / "studies" / "demo" / "study.toml"
    text = study.read_text(encoding="utf-8")
    name = load_study(study).name
    text = text.replace(f'"{name}"', f'"{EVIL} {name}"').replace('"glass"', f'"{EVIL}"')
    text = text.replace("[specimens.glass", f'[specimens."{EVIL}"')
    study.write_text(text, encoding="utf-8")
    run_study(study)
    running = Running(tmp_path / "studies")
    try:
        with visit(browser, running.served.base, running.served.way_in) as window:
            seen = 0
            for path in ["/", *(f"{STUDY}/{v.name}" for v in VIEWS if v.title)]:
                page = window.go(path)
                page.wait_for_load_state("networkidle")
                words = page.locator("body").inner_text()
                titles = page.locator("[title]").evaluate_all("a => a.map((e) => e.title)")
                labels = page.locator("[aria-label]").evaluate_all("a => a.map((e) => e.ariaLabel)")
                shown = words + " ".join([*titles, *labels])
                assert not set("\u202e\u2066") & set(shown), path
                seen += "[U+202E]" in shown
            assert seen > 3
            # A name goes back to the program as it is.
            page = window.go(f"{STUDY}/budget")
            page.get_by_label("Mean of").select_option(EVIL)
            expect(page.locator("main")).to_contain_text("[U+202E]")
            expect(page.get_by_role("alert")).to_have_count(0)
    finally:
        running.stop()
