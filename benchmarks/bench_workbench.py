"""How soon the workbench answers, in the system's Chromium.

First paint of each page of the demo; from the pointer to the highlighted curve with 300 and 1,000
curves; the way of a new user from the opened workbench to a signed report, in steps and seconds; a
table of 100,000 tests: sorting, and frames while it is scrolled. Times are those of this machine,
kernels compiled and each page opened before. The data are invented. ``--quick``: fewer pages.
"""

from __future__ import annotations

import argparse
import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import polars as pl

TESTS = Path(__file__).parents[1] / "tests"
sys.path[:0] = [str(TESTS / "app"), str(TESTS)]

from app_browser import chromium, visit  # noqa: E402
from app_demo import KEY, Running  # noqa: E402
from playwright.sync_api import Browser, Page, expect  # noqa: E402

from calibrated_demo import calibrated_demo  # noqa: E402
from drypoint.app.views import VIEWS  # noqa: E402
from drypoint.run import run_study  # noqa: E402
from drypoint.store import Origin, new_results, read_results, write_table  # noqa: E402

_PAINT = """() => {
  const p = performance.getEntriesByType('paint').find((e) => e.name === 'first-contentful-paint');
  return p ? p.startTime : NaN; }"""
_BUSY = "() => document.fonts.status === 'loaded' && !document.querySelector('[aria-busy=true]')"
_HIGHLIGHT = """async (n) => {
  const { Plot } = await import('/static/plot.js');
  const host = document.createElement('div'); host.style.width = '900px';
  document.querySelector('main').replaceChildren(host);
  const m = 400, start = new Int32Array(n + 1);
  const x = new Float32Array(n * m), y = new Float32Array(n * m);
  for (let i = 0; i < n; i++) { start[i + 1] = (i + 1) * m;
    for (let k = 0; k < m; k++) { const s = k < m / 2 ? k : m - k * 0.8;
      x[i * m + k] = s * (1 + i / 600); y[i * m + k] = s * s * (1 - i / 1500); } }
  const plot = new Plot(host, { x: 'x', y: 'y' });
  plot.setCurves({ x, y, start });
  const box = plot.u.over.getBoundingClientRect(), times = [];
  for (let t = 0; t < 15; t++) {
    const at = performance.now();
    const e = { bubbles: true, clientX: box.left + box.width * (0.2 + t / 25),
      clientY: box.top + box.height * (0.7 - t / 40) };
    plot.u.over.dispatchEvent(new MouseEvent('mousemove', e));
    plot.u.over.dispatchEvent(new MouseEvent('mousedown', e));
    plot.u.over.dispatchEvent(new MouseEvent('mouseup', e));
    await new Promise((r) => requestAnimationFrame(() => setTimeout(r, 0)));
    times.push(performance.now() - at);
  }
  return times.sort((a, b) => a - b)[7]; }"""
_SCROLL = """async () => {
  const box = document.querySelector('#scroll'), gaps = [], full = box.scrollHeight;
  let last = performance.now(), empty = 0;
  for (let k = 0; k < 180; k++) {
    box.scrollTop = (k < 90 ? k * 400 : full * (k - 90) / 90);
    await new Promise((r) => requestAnimationFrame(r));
    const now = performance.now(); gaps.push(now - last); last = now;
    if (box.querySelector('td.more')) empty++;
  }
  gaps.sort((a, b) => a - b);
  return { middle: gaps[90], late: gaps[171], worst: gaps[179], empty }; }"""


def many_rows(study: Path, rows: int) -> None:
    """Results of as many tests as asked for: the demo's rows again and again, under new names."""
    old = read_results(study.parent / "results")
    table = old.table("tests")
    times = -(-rows // len(table))
    many = pl.concat([table] * times).head(rows)
    names = pl.Series("test", [f"T-{i + 1:06d}" for i in range(rows)])
    o = old.manifest.origin
    stale = Origin(o.inputs, o.recipe_hash, o.decisions_hash, "many rows", o.seed, o.more)
    summary = old.path("summary.json").read_bytes()
    with new_results(study.parent / "results", stale) as place:
        write_table(many.with_columns(names), place / "tests")
        (place / "summary.json").write_bytes(summary)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--quick", action="store_true")
    parser.add_argument("--rows", type=int, default=100_000)
    asked = parser.parse_args()
    if not (shutil.which("chromium") or shutil.which("chromium-browser")):
        print("Left out: there is no Chromium.")
        return
    pages = ["", *(f"studies/{KEY}/{v.name}" for v in VIEWS if v.title)]
    with tempfile.TemporaryDirectory() as name, chromium() as browser:
        root = Path(name)
        study = calibrated_demo(root / "demo", 7)
        shutil.copytree(root, root.with_name(f"{root.name}-new"))
        run_study(study)
        server = Running(root)
        served = server.served
        with visit(browser, served.base, served.way_in) as window:
            for path in pages[:3] if asked.quick else pages:
                seen = [_first(window.go(f"/{path}")) for _ in range(1 if asked.quick else 5)]
                paint, whole = (statistics.median(s[k] for s in seen) for k in (0, 1))
                print(f"/{path:<28} first paint {paint:6.0f} ms, whole {whole:6.0f} ms")
            page = window.go(f"/studies/{KEY}/recipe")
            page.wait_for_function(_BUSY)
            page.wait_for_timeout(500)
            for n in (300, 1000):
                print(f"{n} curves, pointer to highlight: {page.evaluate(_HIGHLIGHT, n):.0f} ms")
        server.stop()
        _to_signature(browser, root.with_name(f"{root.name}-new"))
        shutil.rmtree(root.with_name(f"{root.name}-new"))
        many_rows(study, asked.rows)
        server = Running(root)
        served = server.served
        with visit(browser, served.base, served.way_in) as window:
            page = window.go(f"/studies/{KEY}/tests")
            page.get_by_text("T-000001").first.wait_for()
            print(f"table of {asked.rows:,} tests: " + _scrolled(page))
            window.faults.clear()  # the curves of such results are not there, and said so
        server.stop()


def _to_signature(browser: Browser, root: Path) -> None:
    """Each step as a person takes it; the time is that of the machine, without reading."""
    server = Running(root)
    steps = 0

    def step(act: Callable[[], object]) -> None:
        nonlocal steps
        steps += 1
        act()

    try:
        with visit(browser, server.served.base, server.served.way_in) as window:
            page, begin = window.page, time.perf_counter()
            step(page.get_by_role("link", name="Demo: glass, film and steel").click)
            step(page.get_by_role("button", name="Run", exact=True).click)
            expect(page.locator("#strip")).to_contain_text("up to date", timeout=300_000)
            run = time.perf_counter() - begin
            step(page.get_by_role("link", name="Report").click)
            step(page.get_by_role("button", name="Write the report").first.click)
            expect(page.frame_locator("iframe").locator("h1")).to_be_visible(timeout=300_000)
            step(lambda: page.get_by_label("Name").fill("A. Example"))
            step(lambda: page.get_by_label("Remark").fill("looked at"))
            step(page.get_by_role("button", name="Sign version 1").click)
            expect(page.locator("#list li")).to_contain_text("A. Example", timeout=300_000)
            whole = time.perf_counter() - begin
        print(f"from the opened workbench to a signed report: {steps} steps, {whole:.0f} s "
              f"(running the study {run:.0f} s of them)")  # fmt: skip
    finally:
        server.stop()


def _first(page: Page) -> tuple[float, float]:
    page.wait_for_function(_BUSY)
    whole = page.evaluate("() => performance.now()")
    return page.evaluate(_PAINT), whole


def _scrolled(page: Page) -> str:
    found = page.evaluate(_SCROLL)
    page.evaluate("() => { document.querySelector('#scroll').scrollTop = 0; }")
    spent = []
    for word in ("Specimen", "Test", "Test"):
        at = page.evaluate("() => performance.now()")
        with page.expect_response(lambda r: "/tests/table" in r.url):
            page.locator("#grid thead button", has_text=word).first.click()
        page.wait_for_function("() => !document.querySelector('#scroll td.more')")
        spent.append(page.evaluate("() => performance.now()") - at)
    return (
        f"frames of {found['middle']:.0f} ms while scrolled (19 of 20 under {found['late']:.0f}, "
        f"longest {found['worst']:.0f} ms), {found['empty']} of 180 with rows still on the way; "
        f"sorted in {statistics.median(spent):.0f} ms"
    )


if __name__ == "__main__":
    main()
