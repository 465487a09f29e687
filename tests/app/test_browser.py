"""The pages in the system's Chromium over the demo: axe, no fault, nothing asked of other machines,
linked selection, exclusion and undo, two windows, a restart. Invented data."""

from __future__ import annotations

import os
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from app_browser import Visit, chromium, visit
from app_demo import KEY, SCRATCH, Command, Running, Served
from playwright.sync_api import Browser, Page, Route, expect

from drypoint.app.views import VIEWS
from drypoint.recipe import read_journal

AXE = Path(__file__).parent / "vendor" / "axe-core" / "axe.min.js"
#: Where pictures of all pages are kept for review, if wanted.
PICTURES = os.environ.get("DRYPOINT_PICTURES", "")
STUDY = f"/studies/{KEY}"
#: Pages by name; those of new views come by themselves.
PAGES = {
    "studies": "/",
    "new": "/new",
    "test": f"{STUDY}/test?test=G-08",
    "calibration": "/studies/demo:bench:bench/bench",
    "tracks": f"/studies/{SCRATCH}/scratch?track=A-02",
    **{v.name: f"{STUDY}/{v.name}" for v in VIEWS if v.title},
}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def window(browser: Browser, served: Served) -> Iterator[Visit]:
    with visit(browser, served.base, served.way_in) as found:
        yield found


def settled(page: Page) -> None:
    """Wait until a page has asked for all it needs (its stream of events never ends)."""
    page.wait_for_load_state("load")
    page.wait_for_function(
        "() => document.fonts.status === 'loaded' && !document.querySelector('[aria-busy=true]')"
    )
    page.wait_for_timeout(350)


def axe_faults(page: Page) -> list[str]:
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found: dict[str, Any] = page.evaluate(
        "() => axe.run(document, {runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa',"
        " 'best-practice']})"
    )
    return [
        f"{v['id']}: {v['help']}: {n['target']} {n.get('failureSummary', '')[:200]}"
        for v in found["violations"]
        for n in v["nodes"]
    ]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_is_right_for_axe_and_asks_nobody_else(
    browser: Browser, served: Served, scheme: str
) -> None:
    faults = []
    for width, height in ((1366, 768), (2200, 1200)):
        with visit(
            browser, served.base, served.way_in, width=width, height=height, scheme=scheme
        ) as window:
            for name, path in PAGES.items():
                page = window.go(path)
                settled(page)
                if width == 1366:
                    faults += [f"{name} ({scheme}): {f}" for f in axe_faults(page)]
                wide = page.evaluate("document.documentElement.scrollWidth")
                assert wide <= width, f"{name} is {wide} wide in a window of {width}"
                if PICTURES:
                    Path(PICTURES).mkdir(parents=True, exist_ok=True)
                    place = Path(PICTURES) / f"{name}-{scheme}-{width}.png"
                    page.screenshot(path=place, full_page=True)
    assert not faults, "\n".join(faults)


def test_the_policy_stops_what_would_leave_the_machine(window: Visit) -> None:
    """The proof that the counting works: a page that tried would be stopped and seen."""
    page = window.go("/")
    answer = page.evaluate("fetch('http://example.invalid/').then(() => 'went', () => 'stopped')")
    assert answer == "stopped"
    assert not window.outside  # the policy of the page stopped it before it was a request
    window.faults = [f for f in window.faults if "Content Security Policy" not in f]


def test_table_and_curves_are_linked(window: Visit) -> None:
    page = window.go(f"{STUDY}/tests")
    page.locator("tr[data-test='G-08']").click()
    expect(page.locator("#one h2")).to_contain_text("G-08")
    expect(page.locator("#one")).to_contain_text("SHA-256")
    # From the chart to the table, by keyboard; it goes on from the row that is pointed at.
    frame = page.locator("#curves .frame")
    frame.focus()
    for _ in range(3):
        page.keyboard.press("ArrowRight")
    expect(page.locator("#curves [aria-live]")).to_contain_text("G-11")
    expect(page.locator("tr.hovered")).to_have_attribute("data-test", "G-11")
    page.keyboard.press("Enter")
    expect(page.locator("tr.chosen")).to_have_attribute("data-test", "G-11")
    assert "test=G-11" in page.url


def test_sorting_and_filters_are_the_servers(window: Visit) -> None:
    page = window.go(f"{STUDY}/tests")
    page.locator("#specimen").select_option("steel")
    expect(page.locator("#count")).to_contain_text("of 92 tests")
    page.locator("th", has_text="HIT").get_by_role("button").click()
    expect(page.locator("th[aria-sort=ascending]")).to_have_count(1)
    rows = page.locator("tr[data-test] td:nth-child(5)").all_inner_texts()
    values = [float(r.split()[0].split("±")[0]) for r in rows]
    assert values == sorted(values) and len(values) > 10


def test_exclude_undo_and_redo(window: Visit, served: Served) -> None:
    journal = served.root / "demo" / "study.decisions.jsonl"
    before = len(read_journal(journal).decisions)
    page = window.go(f"{STUDY}/tests?test=G-10")
    page.get_by_role("button", name="Exclude…").click()
    page.get_by_label("Reason").fill("a door was slammed during the hold")
    page.get_by_role("button", name="Write the decision").click()
    expect(page.locator("tr[data-test='G-10']")).to_have_class("out chosen")
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
    expect(page.locator("#means")).to_contain_text("with excluded")
    page.get_by_role("button", name="Undo: exclude G-10").click()
    expect(page.locator("#strip")).to_contain_text("Redo: exclude G-10")
    expect(page.locator("tr[data-test='G-10']")).not_to_have_class("out chosen")
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
    assert [d.what for d in read_journal(journal).decisions[before:]] == ["exclude", "include"]


def test_a_budget_that_is_not_there_yet_comes_by_itself(window: Visit) -> None:
    """A number is clicked before the run after a decision is done; then a value is no reason."""
    page = window.go(f"{STUDY}/tests?test=G-12")
    waiting: list[str] = []

    def early(route: Route) -> None:
        waiting.append(route.request.url)
        if len(waiting) > 1:
            route.continue_()
            return
        fault = {"what": "There are no results of this state of the study yet.", "place": "",
                 "remedy": "Run the study.", "all": []}  # fmt: skip
        route.fulfill(status=404, json=fault)

    page.route("**/budget?*symbol=H_IT*", early)
    page.locator("#one a.num[href*='symbol=H_IT']").first.click()
    panel = page.get_by_role("dialog")
    expect(panel).to_contain_text("comes here by itself")
    page.get_by_role("button", name="Exclude…").click()
    page.get_by_label("Reason").fill("too low")
    page.get_by_role("button", name="Write the decision").click()
    expect(page.get_by_text("no reason to leave a test out")).to_be_visible()
    page.get_by_role("button", name="Exclude…").click()
    page.get_by_label("Reason").fill("the lamp was changed meanwhile")
    page.get_by_role("button", name="Write the decision").click()
    expect(panel).to_contain_text("raw/glass/G-12.txt", timeout=60_000)
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Undo: exclude G-12").click()
    expect(page.locator("#strip")).to_contain_text("Redo: exclude G-12")
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)


def test_two_windows(browser: Browser, served: Served) -> None:
    with (
        visit(browser, served.base, served.way_in, who="A. Example") as one,
        visit(browser, served.base, served.way_in, who="B. Bench") as two,
    ):
        pages = [w.go(f"{STUDY}/tests?test=G-11") for w in (one, two)]
        for page in pages:
            expect(page.get_by_role("button", name="Exclude…")).to_be_visible()
        # The second window has not heard of the first one's decision yet: its version is kept back.
        pages[1].evaluate(
            "async () => { const s = await import('/static/shell.js');"
            " const v = s.study.version; Object.defineProperty(s.study, 'version',"
            " { get: () => v, set: () => {}, configurable: true }); }"
        )
        for page, why in zip(pages, ("first", "second"), strict=True):
            page.get_by_role("button", name="Exclude…").click()
            page.get_by_label("Reason").fill(f"{why} window")
        pages[0].get_by_role("button", name="Write the decision").click()
        expect(pages[0].locator("#one")).to_contain_text("first window")
        pages[1].get_by_role("button", name="Write the decision").click()
        expect(pages[1].get_by_role("alert")).to_contain_text("nothing of yours was written")
        pages[1].get_by_role("button", name="Reload the page").click()
        expect(pages[1].locator("#one")).to_contain_text("first window")
        pages[0].get_by_role("button", name="Undo: exclude G-11").click()
        expect(pages[0].locator("#strip")).to_contain_text("Redo: exclude G-11")
        expect(pages[0].locator("#strip")).to_contain_text("up to date", timeout=60_000)


def test_a_page_goes_on_after_a_kill(browser: Browser, run_demo: Path, tmp_path: Path) -> None:
    """The command, killed in the middle of a decision being typed, and started again."""
    shutil.copytree(run_demo, tmp_path / "studies")
    first = Command(tmp_path)
    with visit(browser, first.base, first.way_in) as window:
        page = window.go(f"{STUDY}/tests?test=G-12")
        page.get_by_role("button", name="Exclude…").click()
        page.get_by_label("Reason").fill("typed before the kill")
        first.process.kill()
        first.process.wait(10)
        second = Command(tmp_path, port=first.port)
        assert second.way_in != first.way_in
        page.get_by_role("button", name="Write the decision").click()
        expect(page.locator("#one")).to_contain_text("typed before the kill")
        expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
        window.faults.clear()  # the stream of events broke off, as it must
    second.process.send_signal(signal.SIGINT)
    said, _ = second.process.communicate(timeout=90)
    assert second.process.returncode == 0, said
    assert "All decisions are in the files" in said
    journal = read_journal(tmp_path / "studies" / "demo" / "study.decisions.jsonl")
    assert [d.why for d in journal.decisions] == ["typed before the kill"]


def test_a_click_answers_within_a_tenth_of_a_second(window: Visit) -> None:
    """300 curves of 400 points: from the pointer's move to the picture of the highlighted curve."""
    page = window.go(f"{STUDY}/tests")
    settled(page)
    spent = page.evaluate(
        """async () => {
          const { Plot } = await import('/static/plot.js');
          const host = document.createElement('div'); host.style.width = '800px';
          document.querySelector('main').replaceChildren(host);
          const n = 300, m = 400, start = new Int32Array(n + 1);
          const x = new Float32Array(n * m), y = new Float32Array(n * m);
          for (let i = 0; i < n; i++) { start[i + 1] = (i + 1) * m;
            for (let k = 0; k < m; k++) { const s = k < m / 2 ? k : m - k * 0.8;
              x[i * m + k] = s * (1 + i / 600); y[i * m + k] = s * s * (1 - i / 900); } }
          const plot = new Plot(host, { x: 'x', y: 'y' });
          plot.setCurves({ x, y, start });
          const box = plot.u.over.getBoundingClientRect(), times = [];
          for (let t = 0; t < 12; t++) {
            const at = performance.now();
            const e = { bubbles: true, clientX: box.left + box.width * (0.2 + t / 20),
              clientY: box.top + box.height * (0.7 - t / 30) };
            plot.u.over.dispatchEvent(new MouseEvent('mousemove', e));
            await new Promise(requestAnimationFrame);
            plot.u.over.dispatchEvent(new MouseEvent('click', e));
            times.push(performance.now() - at);
          }
          return times.sort((a, b) => a - b);
        }"""
    )
    # The first one builds the net over the picture; a machine that is busy doubles any of them.
    assert spent[len(spent) // 2] < 100, spent


def test_from_dropped_files_to_a_signed_pdf(window: Visit, served: Served, tmp_path: Path) -> None:
    """As a new user: name, files, a look at what was understood, one click; report, signature."""
    raw = served.root / "demo" / "raw" / "glass"
    files = []
    for source in sorted(raw.iterdir())[8:12]:
        files.append(tmp_path / source.name)
        shutil.copy(source, files[-1])
    (tmp_path / "notes.docx").write_bytes(b"PK no record")
    page = window.go("/")
    page.get_by_role("link", name="New study").click()
    page.get_by_label("Name of the study").fill("A first try")
    page.locator("#drop-input").set_input_files([*files, tmp_path / "notes.docx"])
    expect(page.get_by_role("alert")).to_contain_text("is no record")
    expect(page.locator(".group")).to_have_count(1)
    expect(page.locator(".group .state.current")).to_have_text("clear")
    expect(page.get_by_label("What column Depth is")).to_have_value("depth")
    expect(page.get_by_label("Unit of column Depth")).to_have_value("nm")
    page.get_by_label("Poisson’s ratio ν").fill("0,17")
    page.get_by_role("button", name="Write the study and run it").click()
    expect(page.locator("#count")).to_contain_text("4 tests", timeout=60_000)
    text = (served.root / "a-first-try" / "study.toml").read_text(encoding="utf-8")
    assert "nu = 0.17" in text
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
    page.get_by_role("link", name="Report").click()
    page.get_by_role("button", name="Write the report").first.click()
    expect(page.get_by_label("Enter it into")).to_be_checked()  # it is not said to be invented
    page.get_by_label("Enter it into").uncheck()
    page.get_by_label("Remark").fill("looked at")
    expect(page.frame_locator("iframe").locator("h1")).to_contain_text(
        "A first try", timeout=90_000
    )
    page.get_by_role("button", name="Sign version 1").click()
    expect(page.locator("#list li")).to_contain_text("A. Example", timeout=90_000)
    with page.expect_download() as got:
        page.locator("#list").get_by_role("link", name="PDF").click()
    assert Path(got.value.path()).read_bytes().startswith(b"%PDF")
    shutil.rmtree(served.root / "a-first-try")


def test_a_run_that_ended_before_the_page_listened(
    browser: Browser, run_demo: Path, tmp_path: Path
) -> None:
    """Nothing was run when the page was made; there are results by the time it asks."""
    shutil.copytree(run_demo, tmp_path / "studies")
    results = tmp_path / "studies" / "demo" / "results"
    running = Running(tmp_path / "studies")
    try:
        with visit(browser, running.served.base, running.served.way_in) as window:
            results.rename(tmp_path / "kept")
            # The page's first question is held back until the results are there.
            once: list[str] = []

            def late(route: Route) -> None:
                if not once:
                    once.append(route.request.url)
                    (tmp_path / "kept").rename(results)
                route.continue_()

            window.page.route(lambda url: url.endswith("/api/studies/demo%3Astudy"), late)
            page = window.go(f"{STUDY}/tests")
            expect(page.locator("#count")).to_contain_text("92 tests")
            assert once
    finally:
        running.stop()


def test_a_contact_point_is_moved_and_taken_back(window: Visit, served: Served) -> None:
    journal = served.root / "demo" / "study.decisions.jsonl"
    page = window.go(f"{STUDY}/test?test=G-13")
    drag = page.get_by_role("slider", name="contact")
    drag.focus()
    before = float(page.locator("#zero-value").input_value())
    for _ in range(4):
        page.keyboard.press("Shift+ArrowRight")
    moved = float(page.locator("#zero-value").input_value())
    assert moved == pytest.approx(before + 4.0, abs=0.02)
    page.get_by_role("button", name="Decide…").first.click()
    page.get_by_label("Reason").fill("a speck of dust was touched first")
    page.get_by_role("button", name="Write the decision").click()
    expect(page.locator("#decisions")).to_contain_text("speck of dust")
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
    expect(page.locator("#hand")).to_contain_text("declared")
    last = read_journal(journal).decisions[-1]
    assert last.what == "zero" and last.value == {"depth_nm": moved}
    page.get_by_role("button", name="Undo: zero G-13").click()
    expect(page.locator("#strip")).to_contain_text("Redo: zero G-13")
    expect(page.locator("#strip")).to_contain_text("up to date", timeout=60_000)
    expect(page.locator("#hand")).to_contain_text("first contact")


def test_another_unit_is_seen_before_it_is_written(window: Visit) -> None:
    page = window.go(f"{STUDY}/files")
    group = page.locator(".group").first
    group.get_by_label("Unit of column Depth").fill("µm")
    group.get_by_label("Unit of column Depth").press("Tab")
    expect(group.locator(".question")).to_be_visible()
    expect(group.get_by_role("button", name="Write this into the study file")).to_be_visible()
    expect(page.locator("#aside")).to_contain_text("G-26")


def test_a_wrong_study_file_says_where(window: Visit) -> None:
    page = window.go(f"{STUDY}/recipe")
    text = page.locator("#text")
    expect(text).not_to_have_value("")
    text.fill(text.input_value().replace("nu = 0.17", "nu = 0.7"))
    expect(page.get_by_role("alert")).to_contain_text("specimens.glass.nu")
    expect(page.get_by_role("button", name="Write the file")).to_be_disabled()
    page.get_by_role("button", name="Back to what is written").click()
    expect(page.get_by_role("alert")).to_have_count(0)


def test_from_report_to_signature(browser: Browser, run_demo: Path, tmp_path: Path) -> None:
    shutil.copytree(run_demo, tmp_path / "studies")
    running = Running(tmp_path / "studies")
    try:
        with visit(browser, running.served.base, running.served.way_in) as window:
            page = window.go(f"{STUDY}/report")
            expect(page.locator("#version")).to_contain_text("Version 1, not signed")
            # Of invented data nothing goes into the ledger unasked.
            expect(page.get_by_label("Enter it into")).not_to_be_checked()
            expect(page.locator("#sign-note")).to_contain_text("look at it first")
            expect(page.get_by_role("button", name="Sign version 1")).to_be_disabled()
            page.get_by_role("button", name="Write the report").first.click()
            frame = page.frame_locator("iframe")
            expect(frame.locator("h1")).to_be_visible(timeout=90_000)
            expect(page.locator("#sign-note")).to_contain_text("a name and a remark")
            page.get_by_label("Remark").fill("checked and approved")
            page.get_by_role("button", name="Sign version 1").click()
            expect(page.locator("#list li")).to_contain_text("A. Example", timeout=90_000)
            expect(frame.locator("#answer")).to_contain_text("checked and approved")
            expect(page.get_by_role("button", name="Sign version 1")).to_be_disabled()
            page.get_by_role("button", name="Check whether").click()
            expect(page.locator("#list li")).to_contain_text("It holds")
            with page.expect_download() as got:
                page.locator("#list").get_by_role("link", name="PDF").click()
            assert Path(got.value.path()).read_bytes().startswith(b"%PDF")
            # A second person signs with what is copied.
            page.context.grant_permissions(["clipboard-read", "clipboard-write"])
            page.get_by_label("Name").fill('B. "Bench"')
            page.get_by_label("Remark").fill("seen: µ, ü, 'all'")
            page.locator("#sign-now ~ button", has_text="Copy as Python").click()
            exec(page.evaluate("() => navigator.clipboard.readText()"), {})
            expect(page.locator("#list li")).to_have_count(2)
            expect(page.locator("#list li").first).to_contain_text('B. "Bench"')
            # A frame without scripts complains of none; what it shows is still the report.
            assert page.locator("iframe").get_attribute("sandbox") == ""
    finally:
        running.stop()


def test_what_if_and_load_slider(window: Visit, served: Served) -> None:
    before = (served.root / "demo" / "study.toml").read_bytes()
    page = window.go(f"{STUDY}/stress")
    expect(page.locator("#first")).to_contain_text("If nothing yielded")
    expect(page.locator("#words")).to_contain_text("Errors of the force", timeout=60_000)
    slider = page.get_by_label("Load", exact=True)
    at_peak = page.locator(".load output").inner_text()
    assert "largest load" in at_peak
    slider.press("End")
    expect(page.locator(".load output")).to_contain_text("0 mN")
    expect(page.locator(".map [aria-live]")).to_contain_text("at most")
    page.get_by_label("Value", exact=True).fill("7.5")
    expect(page.locator("#state")).to_contain_text("What if")
    expect(page.locator("#first")).to_contain_text("(7.5000 ± 0.0075) mN would press")
    expect(page.get_by_role("button", name="Compute with finite elements")).to_be_enabled()
    page.get_by_label("Value", exact=True).fill("-1")
    expect(page.locator("#state")).to_contain_text("force_mN")
    page.get_by_label("Value", exact=True).fill("15")
    expect(page.locator("#state")).to_contain_text("As the study file states it")
    assert (served.root / "demo" / "study.toml").read_bytes() == before


def test_a_button_held_down_while_the_page_is_redrawn_still_acts(
    window: Visit, served: Served
) -> None:
    """An answer that arrives between press and release replaced the button: the click was lost."""
    page = window.go(f"{STUDY}/report")
    button = page.locator("#files").get_by_role("button", name="Write").first
    button.wait_for()
    box = button.bounding_box()
    assert box is not None
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.evaluate(
        """async () => {
          const shell = await import("/static/shell.js");
          await shell.refresh();
          await new Promise((done) => setTimeout(done, 700));
        }"""
    )
    page.mouse.up()
    expect(page.frame_locator("iframe").locator("h1")).to_be_visible(timeout=90_000)
