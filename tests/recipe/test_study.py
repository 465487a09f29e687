"""What a study hands to the other rooms: options, bench, layout, in SI and with the defaults."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest

from drypoint import units
from drypoint.errors import RecipeError
from drypoint.recipe import Study, StudyError, load_study, read_study, starting_recipe
from drypoint.recipe.base import UNITS, Section, from_si, option_name, to_si, unit_of
from drypoint.recipe.calibrating import BenchKeys
from drypoint.recipe.convert import frame_of, with_oscillator
from drypoint.recipe.editions import CURRENT
from drypoint.recipe.equipment import FrameKeys
from drypoint.recipe.knobs import Analysis, Drift, Dynamic, Flags, Segments, Zero
from drypoint.recipe.sections import ColumnKeys, Records
from drypoint.records.layout import Column, Layout
from drypoint.reduction.options import (
    AnalysisOptions,
    DriftOptions,
    DynamicOptions,
    FlagLimits,
    Options,
    SegmentOptions,
    ZeroOptions,
)
from drypoint.tips.tip import Frame

DIMENSIONS = {
    "nm": "length", "µm": "length", "µm²": "area", "nm²": "area", "nm/s": "velocity",
    "nm/mN": "compliance", "GPa": "pressure",
}  # fmt: skip


@pytest.mark.parametrize(
    ("section", "options"),
    [
        (Segments, SegmentOptions),
        (Zero, ZeroOptions),
        (Drift, DriftOptions),
        (Analysis, AnalysisOptions),
        (Flags, FlagLimits),
        (Dynamic, DynamicOptions),
    ],
)
def test_every_option_has_its_key(section: type[Section], options: type) -> None:
    """No option without a key, no key without an option."""
    names = {option_name(n, unit_of(i)) for n, i in section.model_fields.items()}
    assert names == {f.name for f in dataclasses.fields(options)}


def test_every_part_of_layout_and_frame_has_its_key() -> None:
    """The readers' and the frame's fields too."""
    # That it is a track follows from the table in which a file stands.
    assert set(Layout.__dataclass_fields__) - {"track"} <= set(Records.model_fields)
    assert set(Column.__dataclass_fields__) == set(ColumnKeys.model_fields)
    names = {option_name(n, unit_of(i)) for n, i in FrameKeys.model_fields.items()}
    assert set(Frame.__dataclass_fields__) - {"name", "origin"} == names - {"certificate"}


@pytest.mark.parametrize(("unit", "dimension"), DIMENSIONS.items())
def test_units_agree_with_the_units_room(unit: str, dimension: str) -> None:
    """The powers of ten at this edge, against Pint; and there and back."""
    assert to_si(1.0, unit) == pytest.approx(
        units.factor(unit.replace("²", "^2"), dimension), rel=1e-12
    )
    assert UNITS[unit][1] is not None
    assert from_si(to_si((0.1, 15.0, 1e-7), unit), unit) == (0.1, 15.0, 1e-7)
    assert to_si(15.0, "nm") == 15e-9


def test_dynamic_constants_of_the_frame() -> None:
    """Mass in grams; spring and damping are SI already; what is not given stays so."""
    keys = FrameKeys(support_spring_N_per_m=120.0, moving_mass_g=0.25, damping_N_s_per_m=1.5)
    frame = frame_of("f", keys)
    assert (frame.support_spring, frame.moving_mass, frame.damping) == (120.0, 0.25e-3, 1.5)
    bare = frame_of("f", FrameKeys())
    assert (bare.support_spring, bare.moving_mass, bare.damping) == (None, None, None)
    assert [j.names[0] for j in bare.joint()] == ["frame.C_f", "force_scale", "depth_scale"]


def test_dynamic_constants_of_a_calibrated_bench() -> None:
    """They stand beside its file, and change nothing else of its frame."""
    found = Frame("f", compliance=0.3e-6, u_compliance=1e-9, origin="calibration")
    keys = BenchKeys(file="b.toml", support_spring_N_per_m=120.0, u_moving_mass_g=0.01)
    frame = with_oscillator(found, keys)
    assert frame == dataclasses.replace(found, support_spring=120.0, u_moving_mass=1e-5)
    assert with_oscillator(found, BenchKeys(file="b.toml")) == found


def test_defaults_are_those_of_the_options(study_text: str) -> None:
    """A study that says nothing gets exactly the defaults."""
    study = read_study(study_text, "s.toml")
    assert study.options() == Options() == study.options("glass")
    assert study.layout(0) == Layout()
    bench = study.bench()
    assert bench.frame.compliance == 0.0
    assert bench.frame.origin == "not stated in the recipe"
    assert bench.tip.E_i == 1140e9
    assert bench == study.bench_of(0) or bench.tip.name == "B1"


@pytest.fixture
def sample(versions: Path) -> Study:
    """The sample of version 1."""
    return load_study(versions / "v1.toml")


def test_options_of_one_specimen(sample: Study) -> None:
    """A specimen's own keys, and nothing else, take the place of the study's."""
    common, film = sample.options("glass"), sample.options("film")
    assert common.drift == DriftOptions(window=(0.3, 0.9))
    assert film.drift == DriftOptions("declared", (0.3, 0.9), 0.02e-9, 0.005e-9)
    assert film.analysis == dataclasses.replace(common.analysis, window=(0.4, 0.95))
    assert (
        film.zero
        == common.zero
        == ZeroOptions(method="threshold", threshold_sigma=5, u_zero=0.5e-9)
    )
    assert common.segments.labels == (
        ("1", "loading"), ("2", "hold"), ("3", "unloading"), ("4", "drift hold"),
    )  # fmt: skip
    assert common.flags.exponent == (1.1, 2.0)


def test_bench(sample: Study) -> None:
    """Tips of each form, and the frame."""
    bench = sample.bench_of(0)
    assert bench.tip.geometry.angle == pytest.approx(np.radians(65.3))
    assert bench.tip.area.parameters["tip.C1"] == pytest.approx(300e-9)
    assert bench.tip.area.parameters.cov[0, 1] == pytest.approx(-0.5e-9)
    assert dict(bench.tip.area.found_with) == {
        "beta": "1.0", "epsilon": "exponent", "reference": "fused silica",
    }  # fmt: skip
    assert (bench.frame.name, bench.frame.compliance) == ("main", 0.3e-6)
    assert bench.frame.origin == "certificate F-3"
    blunt = sample.bench("blunt", "main").tip.area
    corr = blunt.parameters.cov[0, 1] / np.prod(blunt.parameters.sd)
    assert corr == pytest.approx(0.3)
    table = sample.bench("table", "main").tip.area
    assert (table.knots[0], table.h_max) == (50e-9, 400e-9)
    assert table.parameters.sd[0] == pytest.approx(1000e-18)
    with pytest.raises(RecipeError, match="Allowed: B1, sphere, blunt, table"):
        sample.bench("B2")


def test_poisson_and_areas(sample: Study) -> None:
    """Poisson's ratio with its origin, declared or of a reference material."""
    film, glass = sample.specimen_nu("film"), sample.specimen_nu("glass")
    assert (film.names, film["nu.film"], film.sd[0]) == (("nu.film",), 0.25, pytest.approx(0.02))
    assert "fused silica" in glass.origin[0]
    assert sample.measured_areas()["film_04", 2] == (2.5e-12, 0.1e-12, "SEM")
    with pytest.raises(RecipeError, match="Did you mean “film”"):
        sample.specimen_nu("fill")


def test_layout_and_declared(sample: Study) -> None:
    """What the readers get."""
    layout = sample.layout(0)
    assert layout.columns["force"] == Column(name="Load (mN)", scale=-1.0)
    assert (layout.delimiter, layout.header_line, layout.encoding) == ("\t", 3, "latin-1")
    assert sample.declared(0) == {
        "date": "2026-01-31", "operator": "B. Person", "temperature": "22.5 °C",
        "humidity": "45 %",
    }  # fmt: skip
    assert sample.declared(1) == {}


def test_hash_is_of_the_meaning(study_text: str, versions: Path) -> None:
    """Comments, order and spelling of numbers do not change it; a value does."""
    one = read_study(study_text, "s.toml")
    head, rest = study_text.split("[[records]]")
    records, rest = rest.split("[specimens.glass]")
    other = head + "# a remark\n[specimens.glass]" + rest.replace("0.2", "2.0e-1")
    other += "[[records]]" + records
    assert read_study(other, "other.toml").recipe_hash == one.recipe_hash
    changed = read_study(study_text.replace("0.2", "0.21"), "s.toml")
    assert changed.recipe_hash != one.recipe_hash
    assert one.text_sha256 != read_study(other, "s.toml").text_sha256


def test_record_files(tmp_path: Path, study_text: str) -> None:
    """Patterns: sorted, relative, each file once, and none for nothing."""
    for name in ("b.txt", "a.txt", "sub/c.txt", "weird [1].txt"):
        path = tmp_path / "raw" / name
        path.parent.mkdir(exist_ok=True)
        path.write_text("x", encoding="utf-8")
    (tmp_path / "raw").mkdir(exist_ok=True)

    def study(files: str, more: str = "") -> Study:
        text = study_text.replace('["raw/*.txt"]', files) + more
        return read_study(text, tmp_path / "s.toml")

    assert study('["raw/*.txt"]').record_files(0) == (
        "raw/a.txt", "raw/b.txt", "raw/weird [1].txt",
    )  # fmt: skip
    assert study(r'["raw\\**\\*.txt", "raw/a.txt"]').record_files(0)[-2] == "raw/sub/c.txt"
    assert study('["raw/weird [1].txt"]').record_files(0) == ("raw/weird [1].txt",)
    with pytest.raises(RecipeError, match=r"“raw/\*.csv” finds no file"):
        study('["raw/*.csv"]').record_files(0)
    more = '[[records]]\nfiles = ["raw/a*"]\nspecimen = "glass"\n'
    with pytest.raises(RecipeError, match=r"raw/a.txt belongs to records\[1\] too"):
        study('["raw/*.txt"]', more).record_files(0)


def test_places_beside_the_study(tmp_path: Path, study_text: str) -> None:
    """Results and decisions."""
    study = read_study(study_text, tmp_path / "my.toml")
    assert study.results == tmp_path / "results"
    assert study.decisions == tmp_path / "my.decisions.jsonl"


MINIMAL = """drypoint = 1
rules = {}
[study]
name = "x"
[[records]]
files = ["a.csv"]
specimen = "a"
[specimens.a]
nu = 0.3
[tips.t]
shape = "Berkovich"
"""


def test_starting_recipe() -> None:
    """A new study is valid, gets the defaults, and has a table for each specimen."""
    records = '[[records]]\nfiles = ["a.csv"]\nspecimen = "steel 1"\n'
    records += 'columns = { depth = { index = 2, unit = "nm" } }\n'
    text = starting_recipe('A "new" study', records, specimens=["glass"], schema="x.json")
    study = read_study(text, "s.toml")
    assert list(study.file.specimens) == ["glass", "steel 1"]
    assert study.file.rules == CURRENT
    assert study.options() == read_study(MINIMAL.format(CURRENT), "s.toml").options()
    assert study.name == 'A "new" study'
    assert text.startswith("#:schema x.json\n")
    for shape in ("cone", "sphere", "sphero-cone", "flat punch"):
        starting_recipe("x", shape=shape)
    with pytest.raises(RecipeError, match="“splat” is given"):
        starting_recipe("x", '[[records]]\nfiles = ["a"]\nspecimen = "a"\nsplit = "splat"\n')


def test_commented_defaults_of_a_starting_recipe_are_the_defaults() -> None:
    """With the marks of the remarks taken away, the choices stay the same."""
    text = starting_recipe("x")
    head, tail = text.split("# [corrections.zero]")
    plain = "\n".join(
        line.removeprefix("# ") for line in ("# [corrections.zero]" + tail).split("\n")
    )
    assert read_study(head + plain, "s.toml").options() == read_study(text, "s.toml").options()


def test_a_tip_under_another_beta_may_be_recalibrated(study_text: str) -> None:
    """On request; without it the study is refused (see faults.toml)."""
    text = study_text + (
        'area = {kind = "series", coefficients_nm = [24.5], h_min_nm = 1, h_max_nm = 9, '
        "found_with = {beta = 1.05}}\n[analysis]\nrecalibrate_tip = true\n"
    )
    assert read_study(text, "s.toml").options().analysis.recalibrate_tip


def test_a_former_key_is_read_and_noted(study_text: str) -> None:
    """output.excel is now output.xlsx: the same study, with a note; both at once are refused."""
    new = read_study(study_text + "[output]\nxlsx = true\n", "study.toml")
    old = read_study(study_text + "[output]\nexcel = true\n", "study.toml")
    assert old.file == new.file and old.file.output.xlsx
    assert new.notes == ()
    assert old.notes == ("The key output.excel is now called output.xlsx; both are read.",)
    for keys, place in (
        ("xlsx = true\nexcel = true", "line 18; key output.excel: it is the former name of xlsx"),
        ("excel = 1", "line 17; key output.xlsx"),
    ):
        with pytest.raises(StudyError) as caught:
            read_study(f"{study_text}[output]\n{keys}\n", "study.toml")
        assert place in str(caught.value)
