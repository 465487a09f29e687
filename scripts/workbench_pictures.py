"""Makes the pictures of the workbench in docs/pictures from the demo.

    python scripts/workbench_pictures.py

Writes the demo (seed 7) into a temporary folder, runs it, serves it on a port of this machine, and
takes pictures of its pages with the system's Chromium. Needs playwright.
"""

from __future__ import annotations

import shutil
import socket
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path

import uvicorn
from PIL import Image
from playwright.sync_api import Page, sync_playwright

from drypoint.app import Settings, create_app
from drypoint.run import run_study
from drypoint.run.calibrating import calibrate_study
from drypoint.run.registering import accept_calibration
from drypoint.simulation import make_demo

FOLDER = Path(__file__).resolve().parents[1] / "docs" / "pictures"
SEED = 7
WHO = "A. Example (invented)"


@dataclass(frozen=True)
class Shot:
    """A page, the text that says that its charts are drawn, and the height of the picture."""

    name: str
    path: str
    text: str
    height: int = 768


SHOTS = (
    Shot("tests", "/studies/demo:study/tests", "Numbers of this chart", 860),
    Shot("depth", "/studies/demo:study/depth", "Means", 860),
    Shot("stress", "/studies/demo:study/stress", "Largest values of this picture"),
    Shot("scratch", "/studies/demo:scratch:scratch/scratch?track=A-02", "Friction coefficient"),
)


def made_demo(root: Path) -> None:
    """The demo, calibrated and run."""
    study = make_demo(root / "demo", seed=SEED)
    found = calibrate_study(study.parent / "bench" / "bench.toml")
    accept_calibration(found, who=WHO, when="2025-03-06T16:00:00Z")
    run_study(study)
    run_study(study.parent / "scratch" / "scratch.toml")


@contextmanager
def served(root: Path) -> Iterator[tuple[str, str]]:
    """Address and way in of a workbench over a folder."""
    listener = socket.socket()
    listener.bind(("127.0.0.1", 0))
    port = listener.getsockname()[1]
    settings = Settings(root, port=port, secret=b"pictures" * 4)
    app = create_app(settings, lambda: server.should_exit)
    server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False))
    thread = threading.Thread(target=server.run, args=([listener],), daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.05)
    base = f"http://127.0.0.1:{port}"
    yield base, f"{base}/open?token={settings.token}"
    server.should_exit = True
    thread.join(15)


def take(page: Page, base: str, shot: Shot) -> None:
    """Open a page, wait until nothing moves, and write its picture in few colours."""
    page.set_viewport_size({"width": 1366, "height": shot.height})
    page.goto(base + shot.path)
    page.get_by_text(shot.text, exact=True).first.wait_for()
    last, now = b"", page.screenshot()
    while now != last:
        page.wait_for_timeout(1500)
        last, now = now, page.screenshot()
    image = Image.open(BytesIO(now)).convert("RGB").quantize(128, dither=Image.Dither.NONE)
    image.save(FOLDER / f"workbench-{shot.name}.png", optimize=True)
    print(f"docs/pictures/workbench-{shot.name}.png")


def main() -> None:
    """Run the demo and take every picture."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    if path is None:
        raise SystemExit("Chromium is missing (on Debian: apt-get install chromium).")
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "studies"
        root.mkdir()
        made_demo(root)
        with served(root) as (base, way_in), sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
            page = browser.new_context(color_scheme="light").new_page()
            page.goto(way_in)
            page.evaluate("name => localStorage.setItem('drypoint-who', name)", WHO)
            for shot in SHOTS:
                take(page, base, shot)
            browser.close()


if __name__ == "__main__":
    main()
