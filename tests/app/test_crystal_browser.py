"""The page of a calibration names the face of a crystal. Invented data under another name."""

from __future__ import annotations

import os
import re
import shutil
from pathlib import Path

import pytest
from app_browser import chromium, visit
from app_demo import Running

FOLDER = "demo:bench:bench"


def test_the_page_names_the_face(
    run_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("DRYPOINT_LEDGER", str(tmp_path / "ledger.sqlite"))
    root = tmp_path / "studies"
    shutil.copytree(run_demo, root)
    path = root / "demo" / "bench" / "bench.toml"
    head, _, rest = path.read_text(encoding="utf-8").partition("[specimens.reference]\n")
    own, mark, rest = rest.partition("[specimens.block]")
    own = re.sub(r"^(nu|u_nu) = .*\n", "", own, flags=re.M) + 'reference = "sapphire-0001-1992"\n'
    rest = re.sub(r"^(E_GPa|u_E_GPa) = .*\n", "", rest, flags=re.M)
    whole = f"{head}[specimens.reference]\n{own}\n{mark}{rest}"
    path.write_text(whole, encoding="utf-8")
    running = Running(root)
    try:
        served = running.served
        with chromium() as browser, visit(browser, served.base, served.way_in) as window:
            page = window.page
            page.goto(f"{served.base}/studies/{FOLDER}/bench")
            page.get_by_role("button", name="Calibrate", exact=True).first.click()
            words = page.get_by_text("Reference materials: sapphire (0001), 1992 (crystal, face c")
            words.first.wait_for(timeout=90_000)
            assert page.get_by_text("7.8 % above").first.is_visible()
            if os.environ.get("DRYPOINT_PICTURES"):
                target = Path(os.environ["DRYPOINT_PICTURES"]) / "crystal.png"
                page.screenshot(path=target, full_page=True)
    finally:
        running.stop()
