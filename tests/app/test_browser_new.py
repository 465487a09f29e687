"""A new study in the system's Chromium, with files that this program did not make: what is typed
and answered stays when more files come, stems are never merged unasked. Invented data."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from app_browser import Visit, chromium, visit
from app_demo import Running
from playwright.sync_api import Browser, Page, expect
from test_browser import axe_faults, settled
from test_browser_charts import numbers, point

from drypoint.recipe import load_study


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with chromium() as found:
        yield found


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Running]:
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    monkeypatch.setenv("DRYPOINT_LEDGER", str(tmp_path / "ledger.sqlite"))
    (tmp_path / "studies").mkdir()
    running = Running(tmp_path / "studies")
    yield running
    running.stop()


@pytest.fixture
def window(browser: Browser, place: Running) -> Iterator[Visit]:
    with visit(browser, place.served.base, place.served.way_in) as found:
        yield found


def rows(k: int, *, mark: str = ",", point: str = ".") -> str:
    """Loading to 10 mN and unloading after an approach of four times the depth; ``k`` differs."""
    out = []
    for i in range(400):
        if i < 200:
            force, depth = 0.0, -400.0 + 2 * i
        elif i < 300:
            force, depth = 0.1 * (i - 199), 10.0 * (i - 199) ** 0.5
        else:
            force, depth = 0.1 * (400 - i), 100.0 - 0.2 * (i - 300)
        values = (f"{0.1 * i:.1f}", f"{force:.4f}", f"{depth + 0.1 * k:.3f}")
        out.append(mark.join(values).replace(".", point))
    return "\n".join(out) + "\n"


def files(folder: Path) -> dict[str, Path]:
    """Three materials in two layouts, one file that is no record."""
    out = {}
    names = ("glass_01.csv", "glass-02.csv", "Glass 3 (2).csv", "oxide_1.csv", "oxide_2.csv")
    for k, name in enumerate((*names, "glass_04.csv", "Steel 1.txt", "steel 2.txt")):
        path = folder / name
        if name.endswith(".txt"):
            path.write_text("t/s;F/mN;way/nm\n" + rows(k, mark=";", point=","), encoding="utf-8")
        else:
            path.write_text("t [s],F [mN],h [nm]\n" + rows(k), encoding="utf-8")
        out[name] = path
    out["diary.csv"] = folder / "diary.csv"
    out["diary.csv"].write_text("words only\nand more words\n", encoding="utf-8")
    return out


def drop(page: Page, *paths: Path) -> None:
    page.locator("#drop-input").set_input_files(list(paths))
    for path in paths:
        expect(page.locator(f"[data-file='raw/{path.name}']")).to_have_count(1)
    settled(page)


def specimens(page: Page) -> dict[str, str]:
    found = page.locator("tr[data-file]:has(input)")
    return {
        str(row.get_attribute("data-file"))[4:]: row.locator("input").input_value()
        for row in found.all()
    }


def test_what_was_typed_stays_when_more_files_come(
    window: Visit, place: Running, tmp_path: Path
) -> None:
    given = files(tmp_path)
    page = window.go("/new")
    page.get_by_label("Name of the study").fill("Odd")
    first = ("glass_01.csv", "glass-02.csv", "Glass 3 (2).csv", "oxide_1.csv", "diary.csv")
    drop(page, *(given[n] for n in first))
    assert specimens(page) == {
        "glass_01.csv": "glass", "glass-02.csv": "glass", "Glass 3 (2).csv": "glass",
        "oxide_1.csv": "oxide",
    }  # fmt: skip
    expect(page.locator("#specimens strong")).to_have_text(["glass", "oxide"])
    expect(page.locator("#open")).to_contain_text("1 file cannot be read")
    expect(page.locator(".group", has_text="diary").locator(".state")).to_have_text(
        "cannot be read"
    )
    # The first curves begin near the contact, at 0 of -400 to 100 nm.
    chart = page.locator(".group").first.locator(".chart")
    expect(chart.get_by_role("button", name="Show the approach")).to_be_visible()
    over = chart.locator(".u-over")
    first, last = (numbers(point(page, over, x, 0.5))[0] for x in (0.0, 0.999))
    assert -25 < first < 5 and 95 < last < 125
    # One field per file; then the same for all files of this stem. What is known goes with it.
    page.locator("#nu0").fill("0.17")
    page.get_by_label("Specimen of raw/glass_01.csv").fill("silica")
    expect(page.locator("#specimens strong")).to_have_text(["glass", "silica", "oxide"])
    row = page.locator("[data-file='raw/glass_01.csv']")
    row.get_by_role("button", name="Apply to all 3 of “glass”").click()
    page.get_by_label("Specimen of raw/oxide_1.csv").fill("zirconia")
    page.get_by_label("Specimen of raw/oxide_1.csv").press("Enter")
    expect(page.locator("#specimens strong")).to_have_text(["silica", "zirconia"])
    expect(page.locator("#nu0")).to_have_value("0.17")
    assert page.url.endswith("/new")  # Enter in a field does not write the study
    # More files, of both layouts.
    drop(page, given["oxide_2.csv"], given["Steel 1.txt"])
    named = {"glass_01.csv": "silica", "glass-02.csv": "silica", "Glass 3 (2).csv": "silica",
             "oxide_1.csv": "zirconia", "oxide_2.csv": "oxide", "Steel 1.txt": "Steel"}  # fmt: skip
    assert specimens(page) == named
    expect(page.locator("#nu0")).to_have_value("0.17")
    # An answer stays too, and holds for files of the same layout that come later.
    page.locator(".question input[type=radio]").first.check()
    expect(page.locator(".question")).to_have_count(0)
    drop(page, given["steel 2.txt"])
    expect(page.locator(".question")).to_have_count(0)
    assert specimens(page) == {**named, "Steel 1.txt": "steel", "steel 2.txt": "steel"}
    # A file is left out, stays out, and comes back.
    page.get_by_role("button", name="Leave out raw/Glass 3 (2).csv").click()
    page.get_by_role("button", name="Leave out raw/diary.csv").click()
    expect(page.locator("#left li")).to_have_count(2)
    drop(page, given["glass_04.csv"])
    assert "Glass 3 (2).csv" not in specimens(page)
    assert specimens(page)["glass_04.csv"] == "glass"
    page.get_by_role("button", name="Put back raw/Glass 3 (2).csv").click()
    expect(page.get_by_label("Specimen of raw/Glass 3 (2).csv")).to_have_value("silica")
    page.get_by_role("button", name="Leave out raw/Glass 3 (2).csv").click()
    expect(page.locator("#left li")).to_have_count(2)
    settled(page)
    assert not axe_faults(page)
    page.get_by_role("button", name="Write the study and run it").click()
    expect(page.locator("tr[data-test]")).to_have_count(7, timeout=90_000)
    study = load_study(place.served.root / "odd" / "study.toml")
    assert {r.specimen: sorted(r.files) for r in study.file.records} == {
        "silica": ["raw/glass-02.csv", "raw/glass_01.csv"], "glass": ["raw/glass_04.csv"],
        "zirconia": ["raw/oxide_1.csv"], "oxide": ["raw/oxide_2.csv"],
        "steel": ["raw/Steel 1.txt", "raw/steel 2.txt"],
    }  # fmt: skip
    assert study.file.specimens["silica"].nu == 0.17
    assert (place.served.root / "odd" / "raw" / "diary.csv").is_file()
