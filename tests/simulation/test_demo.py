"""The demo folder: two file styles, faults on purpose, a truth beside it."""

from __future__ import annotations

import csv
import gzip
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from drypoint.contact import layered
from drypoint.errors import RecipeError
from drypoint.recipe.load import load_study
from drypoint.simulation import SimulationError, make_demo, simulate
from drypoint.simulation.bench_scenario import CERTIFIED
from drypoint.simulation.formats import INVENTED
from drypoint.simulation.scenario import FILM_E, FILM_H, FILM_STATED, PHASES, STATED, scenario

SEED = 7


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_demo(tmp_path_factory.mktemp("lab") / "demo", SEED).parent


def rows(demo: Path) -> list[dict[str, str]]:
    text = (demo / "truth.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def test_study_is_valid_and_says_invented(demo: Path) -> None:
    """The calibration study as it is; the study once a calibration is there."""
    bench = load_study(demo / "bench" / "bench.toml")
    assert bench.file.study.invented and bench.file.study.seed == SEED
    assert [len(bench.record_files(i)) for i in range(2)] == [10, 8]
    assert bench.bench_of(0).tip.geometry.u_angle == pytest.approx(np.radians(0.03))
    with pytest.raises(RecipeError, match="no calibration file") as error:
        load_study(demo / "study.toml")
    assert str(error.value).count("line") == 1  # the study has no other fault


def test_every_file_says_invented(demo: Path) -> None:
    for path in demo.rglob("*"):
        if path.is_file():
            data = path.read_bytes()
            data = gzip.decompress(data) if path.suffix == ".gz" else data
            encoding = "utf-16" if data.startswith(b"\xff\xfe") else "utf-8-sig"
            first = data.decode(encoding)[:300]
            assert "nvented" in first, path.name
            if "raw" in path.parts:
                assert INVENTED in first.splitlines()[0]


def test_there_are_as_many_tests_as_promised(demo: Path) -> None:
    plan = scenario(SEED)
    assert len(plan.tests) == 95
    assert sum(bool(p.cut) for p in plan.tests) == 1
    assert [p.truth.fault for p in plan.tests if p.truth.fault] == [
        "no contact",
        "saturated force",
    ]
    table = rows(demo)
    assert len({(r["file"], r["test"]) for r in table}) == 95
    assert {r["test"]: r["fault"] for r in table if r["fault"]} == {
        "G-25": "no contact",
        "G-26": "broken off",
        "F-17": "saturated force",
    }
    assert len(table) == 24 + 3 + 16 * 10 + 40 + 12


def test_style_a_holds_the_record(demo: Path) -> None:
    text = (demo / "raw/glass/G-03.txt").read_bytes().decode("utf-8")
    assert text.count("\r\n") == text.count("\n") and "°C" in text
    lines = text.split("\r\n")
    start = lines.index("Time;Force;Depth")
    assert lines[start + 1] == "s;mN;nm"
    numbers = np.array(
        [[float(v.replace(",", ".")) for v in s.split(";")] for s in lines[start + 2 : -1]]
    )
    planned = scenario(SEED).tests[2]
    r = simulate(planned.truth, planned.cycle, (SEED, 2, 2))
    assert numbers[:, 0] == pytest.approx(r.time, abs=0.006)
    assert numbers[:, 1] == pytest.approx(r.force * 1e3, abs=0.6e-5)
    assert numbers[:, 2] == pytest.approx(r.depth * 1e9, abs=0.6e-3)


def test_style_b_by_blocks_and_by_column(demo: Path) -> None:
    film = gzip.decompress((demo / "raw/film/part-4.txt.gz").read_bytes())
    assert film.startswith(b"\xef\xbb\xbf")
    blocks = film.decode("utf-8-sig").split("\n\n")
    assert [b.splitlines()[0] for b in blocks[1:]] == [f"Test\tF-{i}" for i in range(13, 18)]
    assert all("Time [s]\tForce [µN]\tDepth [nm]" in b for b in blocks[1:])
    steel = (demo / "raw/steel/row-2.txt").read_bytes()
    assert steel.startswith(b"\xff\xfe")
    lines = steel.decode("utf-16").split("\r\n")
    start = next(i for i, s in enumerate(lines) if s.startswith("Test\tTime [s]"))
    cells = [s.split("\t") for s in lines[start + 1 : -1]]
    assert list(dict.fromkeys(c[0] for c in cells)) == [f"S-{i:02d}" for i in range(9, 17)]
    assert {c[5] for c in cells} == {"15.0"}
    assert {c[6] for c in cells} == {"approach", "loading", "hold", "unloading", "drift hold"}


def test_broken_file_ends_inside_a_number(demo: Path) -> None:
    data = (demo / "raw/glass/G-26.txt").read_bytes()
    assert not data.endswith(b"\n")
    assert data.rsplit(b"\n", 1)[1].count(b";") == 1


def test_truth_is_within_the_stated_uncertainty(demo: Path) -> None:
    whole = json.loads((demo / "truth.json").read_text(encoding="utf-8"))
    assert whole["invented"] is True and whole["seed"] == SEED
    for key, (value, u) in STATED.items():
        assert abs(whole["true"][key] - value) <= u
        assert u == 0 or whole["true"][key] != value
    glass = [r for r in rows(demo) if r["specimen"] == "glass" and not r["fault"]]
    assert {float(r["E_IT_GPa"]) for r in glass} == {72.0}
    assert {float(r["H_IT_GPa"]) for r in glass} == {9.2}
    for key, (value, u) in FILM_STATED.items():
        assert abs(whole["true"][key] - value) <= u and whole["true"][key] != value
    film = [float(r["E_IT_GPa"]) for r in rows(demo) if r["test"] == "F-01"]
    # Between film and wafer, closer to the wafer the deeper: each unloading on its own contact
    # radius on the layered half-space, to the interpolation of the law.
    assert film == sorted(film, reverse=True) and 168 < film[-1] < film[0] < FILM_E / 1e9
    nu, t = whole["true"]["nu.film"], whole["true"]["film.thickness_nm"] * 1e-9
    stack = layered.film(FILM_E, nu, t, whole["true"]["wafer.E_GPa"] * 1e9,
                         whole["true"]["wafer.nu"])  # fmt: skip
    for r, E in zip((r for r in rows(demo) if r["test"] == "F-01"), film, strict=True):
        a = np.sqrt(float(r["A_p_um2"]) * 1e-12 / np.pi)
        law = float(layered.effective_modulus(stack, a)[0]) * (1 - nu**2) / 1e9
        assert pytest.approx(law, rel=1e-4) == E
    steel = {r["phase"]: float(r["H_IT_GPa"]) for r in rows(demo) if r["specimen"] == "steel"}
    assert set(steel) == {"ferrite-like", "martensite-like"}
    assert steel["ferrite-like"] < 3.0 < 5.0 < steel["martensite-like"]


def test_same_seed_same_bytes(demo: Path, tmp_path: Path) -> None:
    again = make_demo(tmp_path / "again", SEED).parent
    names = sorted(p.relative_to(demo) for p in demo.rglob("*") if p.is_file())
    assert names == sorted(p.relative_to(again) for p in again.rglob("*") if p.is_file())
    for name in names:
        assert (demo / name).read_bytes() == (again / name).read_bytes()
    ours, other = scenario(SEED).tests[0], scenario(SEED + 1).tests[0]
    assert ours.truth.zero_offset != other.truth.zero_offset


def test_no_folder_is_overwritten_by_accident(tmp_path: Path) -> None:
    mine = tmp_path / "mine"
    mine.mkdir()
    (mine / "notes.txt").write_text("precious")
    for overwrite in (False, True):
        with pytest.raises(SimulationError, match="no earlier demo"):
            make_demo(mine, overwrite=overwrite)
    assert [p.name for p in mine.iterdir()] == ["notes.txt"]
    with pytest.raises(SimulationError, match="a file"):
        make_demo(mine / "notes.txt")
    demo = tmp_path / "demo"
    study = make_demo(demo, 1)
    (demo / "results").mkdir()
    (demo / "results" / "kept.txt").write_text("kept")
    with pytest.raises(SimulationError, match="demo already"):
        make_demo(demo, 2)
    assert "seed = 1" in study.read_text(encoding="utf-8")
    make_demo(demo, 2, overwrite=True)
    assert "seed = 2" in study.read_text(encoding="utf-8")
    assert (demo / "results" / "kept.txt").read_text() == "kept"
    assert not list(demo.rglob("*.part"))


def test_page_says_what_is_so() -> None:
    page = (Path(__file__).parents[2] / "docs/explanation/demo.md").read_text(encoding="utf-8")
    code = page.split("```python\n")[1].split("```")[0]
    found: dict[str, Any] = {}
    exec(code, found)
    assert [e.H_IT for e in found["record"].expected] == pytest.approx([9.2e9] * 10)
    assert len(found["batch"]) == 20
    value, u = STATED["nu.film"]
    assert f"{value:g} ± {u:g} (film)" in page
    for key in ("radius_nm", "face_angle_deg", "compliance_nm_per_mN"):
        value, u = STATED[key]
        assert f"near {value:g}" in page and f"±{u:g}" in page
    value, u = CERTIFIED["E.reference"]
    assert f"E = {value:g} GPa (u = {u:g} GPa)" in page
    value, u = CERTIFIED["E.block"]
    assert f"E = {value:g} ± {2 * u:g} GPa" in page
    assert "H = 2.6 GPa with 5 %" in page and PHASES["ferrite-like"][:2] == (2.6e9, 0.05)
    assert "H = 6.0 GPa with 7 %" in page and PHASES["martensite-like"][:2] == (6.0e9, 0.07)
    assert f"E = {FILM_E / 1e9:g} GPa" in page
    for key, unit in (("film.thickness_nm", " nm"), ("wafer.E_GPa", " GPa"), ("wafer.nu", "")):
        value, u = FILM_STATED[key]
        assert f"{value:g} ± {u:g}{unit}" in page
    assert (FILM_H.surface, FILM_H.deep, FILM_H.length) == (18e9, 12e9, 400e-9)
