"""Figures of invented or computed data say so, whoever draws them; others have no footer."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from PIL import Image

from drypoint import figures
from drypoint.calibration import Point, tip_health
from drypoint.figures.picture import Picture
from drypoint.recipe import Study
from drypoint.run import StudyResult, run_study
from drypoint.run.bench_result import BenchResult
from drypoint.run.calibrating import calibrate_study
from drypoint.run.critical_loads import ScratchResult
from drypoint.run.track_pictures import TrackPicture
from drypoint.uncertainty.joint import Joint

BOTH = "Invented data; computed, not measured"


@pytest.fixture(scope="module")
def bench(result: StudyResult) -> BenchResult:
    return calibrate_study(result.study.folder / "bench" / "bench.toml", use_cache=False)


@pytest.fixture(scope="module")
def scratch(result: StudyResult) -> ScratchResult:
    found = run_study(result.study.folder / "scratch" / "scratch.toml", write=False)
    assert found.scratch is not None
    return found.scratch


def measured(study: Study) -> Study:
    """The same study without the key that says that its data are invented."""
    about = study.file.study.model_copy(update={"invented": False})
    return replace(study, file=study.file.model_copy(update={"study": about}))


def drawn(result: StudyResult, bench: BenchResult, scratch: ScratchResult) -> dict[str, Picture]:
    """Every figure that there is, by the name of the function that draws it."""
    (film,), (run,) = result.films, result.stress
    day = date(2025, 1, 6)
    tip = tip_health([Point(day + timedelta(i), 1e-12 + 1e-15 * (i % 3)) for i in range(6)])
    invented = result.invented
    photo = np.zeros((8, 40, 3), dtype=np.uint8)
    joint = Joint(("frame.C_f", "beta"), np.ones(2), np.array([[1.0, 0.4], [0.4, 1.0]]), ("",) * 2)
    assert bench.noise is not None
    return {
        "allan": figures.allan(bench.noise),
        "along_loading": figures.along_loading(result, "glass"),
        "area_function": figures.area_function(result, "B1"),
        "block_tests": figures.block_tests(bench.blocks),
        "budget_bars": figures.budget_bars(result, "glass"),
        "by_depth": figures.by_depth(result, "film"),
        "calibrated_area": figures.calibrated_area(bench),
        "correlation_map": figures.correlation_map(joint, invented=bench.invented),
        "curves": figures.curves(result, "glass"),
        "distribution": figures.distribution(result, "steel"),
        "drift_hold": figures.drift_hold(result, "G-01"),
        "film_hardness": figures.film_hardness(film, film.curves()),
        "film_modulus": figures.film_modulus(film, film.curves()),
        "first_contact": figures.first_contact(result, "G-01"),
        "health_charts": figures.health_charts(replace(tip, invented=invented)),
        "impression": figures.impression(run),
        "interface_stress": figures.interface_stress(run),
        "loose_picture": figures.loose_picture(
            TrackPicture("A-01", "a.png", "", "", photo, None, scratch.invented)
        ),
        "one_track": figures.one_track(scratch, scratch.tracks[0].name),
        "per_test": figures.per_test(result, "glass"),
        "position_map": figures.position_map(result, "steel"),
        "reference_hardness": figures.reference_hardness(bench),
        "replicate_loads": figures.replicate_loads(scratch),
        "residuals": figures.residuals(bench),
        "steps": figures.steps(result, "G-01"),
        "stress_maps": figures.stress_maps(run),
        "tracks_on_load": figures.tracks_on_load(scratch, scratch.specimens[0]),
        "under_the_tip": figures.under_the_tip(run),
    }


COMPUTED = {"impression", "interface_stress", "stress_maps", "under_the_tip"}


def lowest(picture: Picture) -> float:
    """Height of the lowest thing drawn but the footer, as a share of the figure."""
    picture.draw_without_rendering()
    boxes = [a.get_tightbbox() for a in picture.axes if a.axison]
    edges = [b.y0 / picture.bbox.height for b in boxes if b is not None]
    return min(edges, default=1.0)


def test_every_figure_of_invented_data_says_so(
    result: StudyResult, bench: BenchResult, scratch: ScratchResult
) -> None:
    found = drawn(result, bench, scratch)
    assert set(found) == set(figures.__all__) - {"Picture"}
    for name, picture in found.items():
        words = BOTH if name in COMPUTED else "Invented data"
        assert picture.footer == words, name
        (text,) = [t for t in picture.texts if t.get_text() == words]
        image = Image.open(io.BytesIO(picture.png(80)))
        assert image.text["Description"] == words, name
        assert f"<desc>{words}</desc>" in picture.svg(), name
        assert f"<desc>{words}</desc>" in picture.inline_svg("a"), name
        # It stands below everything else, and inside the picture.
        box = text.get_window_extent()
        assert box.y0 >= 0 and box.x1 <= picture.bbox.width, name
        assert box.y1 <= lowest(picture) * picture.bbox.height + 1.0, name


def test_figures_of_measured_data_have_no_footer(
    result: StudyResult, bench: BenchResult, scratch: ScratchResult
) -> None:
    (film,), (run,) = result.films, result.stress
    assert bench.noise is not None
    plain = drawn(
        replace(
            result,
            study=measured(result.study),
            films=(replace(film, invented=False),),
            stress=(replace(run, invented=False),),
        ),
        replace(
            bench,
            study=measured(bench.study),
            noise=replace(bench.noise, invented=False),
            blocks=tuple(replace(b, invented=False) for b in bench.blocks),
        ),
        replace(scratch, invented=False),
    )
    marked = drawn(result, bench, scratch)
    for name, picture in plain.items():
        assert picture.footer == ("Computed, not measured" if name in COMPUTED else ""), name
        if name not in COMPUTED:
            assert "<desc>" not in picture.svg() and not picture.texts, name
            # The footer has room of its own: the axes are as high as without it.
            assert picture.get_figheight() < marked[name].get_figheight(), name


def test_a_run_without_a_study_is_computed(result: StudyResult) -> None:
    (run,) = result.stress
    draw: tuple[Callable[..., Picture], ...] = (figures.under_the_tip, figures.impression)
    for one in draw:
        assert one(run.run).footer == "Computed, not measured"
        assert one(run).footer == BOTH


def test_nobody_forgets_to_say_it() -> None:
    """A figure cannot be begun without saying whether its data are invented."""
    with pytest.raises(TypeError, match="invented"):
        Picture("new", 2.0)  # type: ignore[call-arg]
