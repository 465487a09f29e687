"""Every figure: same bytes each time, words with the right numbers, labels with units."""

from __future__ import annotations

import re
from collections.abc import Callable
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest

from drypoint import figures
from drypoint.figures.picture import Picture, css_variables
from drypoint.figures.series import filled_bins
from drypoint.run import StudyResult
from drypoint.uncertainty.rounding import round_pair

Draw = Callable[[StudyResult], Picture]
DRAW: dict[str, Draw] = {
    "curves": lambda r: figures.curves(r, "glass"),
    "steps": lambda r: figures.steps(r, "G-01"),
    "steps of stepped loading": lambda r: figures.steps(r, film_test(r)),
    "per test": lambda r: figures.per_test(r, "glass"),
    "by depth": lambda r: figures.by_depth(r, "film"),
    "by depth, single cycles": lambda r: figures.by_depth(r, "steel"),
    "map": lambda r: figures.position_map(r, "steel"),
    "distribution": lambda r: figures.distribution(r, "steel"),
    "budget": lambda r: figures.budget_bars(r, "film"),
    "area": lambda r: figures.area_function(r, "B1"),
    "first contact": lambda r: figures.first_contact(r, "G-01"),
    "drift hold": lambda r: figures.drift_hold(r, "G-01"),
}


def film_test(r: StudyResult) -> str:
    return next(t.name for t in r.batch.tests if t.specimen == "film")


@pytest.mark.parametrize("name", DRAW)
def test_figure_is_the_same_each_time_and_has_words(name: str, result: StudyResult) -> None:
    before = dict(mpl.rcParams)
    first, second = DRAW[name](result), DRAW[name](result)
    text = first.svg()
    assert text == first.svg() == second.svg()
    assert dict(mpl.rcParams) == before, "the user's settings of Matplotlib are put back"
    ElementTree.fromstring(text)
    assert "<dc:date>" not in text and "matplotlib.org" not in text.replace("svg11.dtd", "")
    assert first.caption.endswith(".") and first.alt.endswith(".")
    assert re.search(r"\d", first.alt), "the text alternative holds numbers"
    assert "nan" not in first.alt.lower() and "nan" not in first.caption.lower()


@pytest.mark.parametrize("name", ["curves", "by depth", "map", "area"])
def test_axes_name_quantity_and_unit(name: str, result: StudyResult) -> None:
    picture = DRAW[name](result)
    labels = [a.get_xlabel() for a in picture.axes] + [a.get_ylabel() for a in picture.axes]
    assert any(" / " in text for text in labels)


def test_settings_of_the_user_change_nothing(result: StudyResult) -> None:
    plain = figures.curves(result, "glass").svg()
    with mpl.rc_context({"font.size": 20, "axes.grid": False, "lines.linewidth": 9}):
        assert figures.curves(result, "glass").svg() == plain


def test_curve_figure_shows_every_test_and_marks_the_excluded(result: StudyResult) -> None:
    axes = figures.curves(result, "glass").axes[0]
    assert len(axes.lines) == int((result.tests_table["specimen"] == "glass").sum())
    dashed = [line for line in axes.lines if line.get_linestyle() != "-"]
    assert len(dashed) == 1
    tallest = max(float(np.max(line.get_ydata())) for line in axes.lines)
    force = result.tests_table.filter(result.tests_table["specimen"] == "glass")["F_max_mN"]
    assert tallest == pytest.approx(force.max(), rel=0.02)


def test_values_and_mean_are_those_of_the_tables(result: StudyResult) -> None:
    picture = figures.per_test(result, "glass")
    kept = result.tests_table.filter(
        (result.tests_table["specimen"] == "glass") & ~result.tests_table["excluded"]
    )
    drawn = next(line for line in picture.axes[0].lines if line.get_label() == "value")
    assert np.allclose(drawn.get_ydata(), kept["H_IT_GPa"].to_numpy(), rtol=1e-12)
    s = result.series["glass"]["H_IT"]
    mean, wide = round_pair(s.mean / 1e9, s.expanded / 1e9)
    assert f"{mean} ± {wide} GPa" in picture.alt


def test_bands_against_depth_are_those_of_the_bins(result: StudyResult) -> None:
    picture = figures.by_depth(result, "film")
    line = next(line for line in picture.axes[0].lines if line.get_label() == "mean")
    bins = filled_bins(result, "film", "H_IT")
    assert len(bins) > 3
    assert np.allclose(line.get_ydata(), [s.mean / 1e9 for _, s in bins])


def test_shares_of_the_bars_add_up(result: StudyResult) -> None:
    for axes in figures.budget_bars(result, "glass").axes:
        assert sum(p.get_width() for p in axes.patches) == pytest.approx(100.0, abs=0.1)


def test_what_is_missing_is_said(result: StudyResult) -> None:
    with pytest.raises(KeyError):
        figures.steps(result, "no such test")
    picture = figures.curves(result, "no such specimen")
    assert "No test" in picture.alt and picture.svg()


def test_inline_svg_follows_the_page_and_keeps_its_ids_apart(result: StudyResult) -> None:
    picture = figures.drift_hold(result, "G-01")
    a, b = picture.inline_svg("a"), picture.inline_svg("b")
    ids = [set(re.findall(r'\bid="([^"]+)"', text)) for text in (a, b)]
    assert ids[0] and not ids[0] & ids[1]
    used = set(re.findall(r'(?:href="|url\()#([^")]+)', a))
    assert used <= ids[0]
    assert "http" not in a and a.startswith("<svg") and "var(--fig-blue" in a
    light, dark = css_variables()
    assert set(re.findall(r"--[\w-]+", a)) <= set(re.findall(r"--[\w-]+", light))
    assert set(re.findall(r"--[\w-]+", light)) == set(re.findall(r"--[\w-]+", dark))


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [
        (0.99997, 3, "1.00"),
        (0.01234, 2, "0.012"),
        (-99.96, 3, "-100"),
        (1e-9, 3, "1.00e-09"),
        (0.0, 3, "0"),
        (float("nan"), 3, "not known"),
    ],
)
def test_a_number_in_a_sentence_keeps_its_digits(value: float, digits: int, text: str) -> None:
    assert figures.labels.number(value, digits) == text


def test_the_law_of_first_contact_is_named_with_its_specimen() -> None:
    from drypoint.figures.labels import input_words

    assert input_words("zero.law.glass") == "law of first contact, glass"
    assert input_words("zero.law.steel@B2") == "law of first contact, steel (B2)"
