"""Film moduli from finite-element records, by the whole program: text files to the table of films.

scripts/film_set.py made the records; no formula of the analysis takes part in them. The areas come
from the contact depth and a tip calibrated on one glass-like solid, so pile-up and sink-in are in
the records as in real ones. Ten films of E_f/E_s 0.2 to 5 at a/t 0.1 to 2 ("film"); sixteen
others, some of which harden and some on soft metals ("first", "second"), with which in view the
size of pile-up and the error of the elastic solution were set; and ten more ("third"), made after
both and looked at once (seeing their areas, the size of pile-up ceased to ask whether the film is
stiffer than its base).

The limit for each ten, set beforehand: within 5 % or within the stated 95 % interval for nine. Of
the sixteen 14 are; the two misses are films that harden strongly, 11 % too low.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from scipy.interpolate import PchipInterpolator

from drypoint.run import StudyResult, run_study

DATA = Path(__file__).parents[1] / "films" / "data"
IDEAL = float(np.pi * np.tan(np.radians(70.3)) ** 2)

HEAD = """drypoint = 1
[study]
name = "finite-element films"
[tips.cone]
shape = "cone"
half_angle_deg = 70.3
E_i_GPa = 1e9
[tips.cone.area]
kind = "series"
coefficients_nm = [{c0}]
h_min_nm = 1
h_max_nm = 5000
[corrections.zero]
method = "as recorded"
[corrections.drift]
method = "none"
[analysis]
u_beta = 0.01
[[records]]
files = ["glass/*.txt"]
specimen = "glass"
[specimens.glass]
nu = 0.17
"""
FILM = """[[records]]
files = ["{name}/*.txt"]
specimen = "{name}"
[specimens.{name}]
nu = {nu_f}
u_nu = 0.02
[[specimens.{name}.layers]]
name = "film"
thickness_nm = 1000.0
u_thickness_nm = 10
[specimens.{name}.substrate]
E_GPa = {E_s_GPa}
u_E_GPa = {u}
nu = {nu_s}
[specimens.{name}.film_analysis]
pile_up = "{pile_up}"
"""


def table(name: str) -> list[dict[str, str]]:
    with (DATA / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def text(rows: list[dict[str, str]], scale: float) -> str:
    """A record at another size (a cone is self-similar): 300 points down, 200 up."""
    h, F = (np.array([float(r[k]) for r in rows]) for k in ("h_nm", "F_mN"))
    back = np.array([r["unloading"] == "1" for r in rows])
    down = np.linspace(0, h[~back][-1], 300)
    load = np.interp(down, np.append(0, h[~back]), np.sqrt(np.append(0, F[~back]))) ** 2
    top = np.flatnonzero(~back)[-1]
    rest = np.linspace(F[top], 0, 200)[1:]
    up = PchipInterpolator(F[top:][::-1], h[top:][::-1])(rest)
    pairs = zip(np.append(down, up) * scale, np.append(load, rest) * scale**2, strict=True)
    lines = [f"{0.1 * i:.1f} {x:.5f} {y:.7f}" for i, (x, y) in enumerate(pairs)]
    return "time_s depth_nm force_mN\n" + "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """All records as text files."""
    place = tmp_path_factory.mktemp("fe")
    by: dict[tuple[str, str, str], list[dict[str, str]]] = {}
    for r in table("fe_layer_records.csv"):
        by.setdefault((r["kind"], r["case"], r["thickness_nm"]), []).append(r)
    for (kind, case, t), rows in by.items():
        name = "glass" if kind == "bulk" else f"{kind}{case}"
        if name == "glass" and case != "1":
            continue
        (place / name).mkdir(exist_ok=True)
        scale = 1000.0 / float(t) if t else 1.0
        (place / name / f"{name}-{t or 'bulk'}.txt").write_text(text(rows, scale))
    return place


def study(folder: Path, c0: float, pile_up: str, kinds: tuple[str, ...]) -> StudyResult:
    parts, seen = [HEAD.format(c0=c0)], set()
    for r in table("fe_layers.csv"):
        name = f"{r['kind']}{r['case']}"
        if r["kind"] in kinds and name not in seen:
            seen.add(name)
            u = 0.01 * float(r["E_s_GPa"])
            parts.append(FILM.format(name=name, u=u, pile_up=pile_up, **r))
    path = folder / f"{pile_up}-{len(seen)}.toml"
    path.write_text("".join(parts))
    result = run_study(path, write=False)
    assert not result.set_aside and not result.films_failed
    return result


@pytest.fixture(scope="module")
def c0(folder: Path) -> float:
    """Area coefficient with which the glass-like solid has its own modulus."""
    result = study(folder, IDEAL, "noted", ())
    found = float(result.tests["E_r"].value[result.rows("glass")[0]])
    return IDEAL * (found / (72e9 / (1 - 0.17**2))) ** 2


def lost(result: StudyResult) -> list[tuple[str, float]]:
    """Films neither within 5 % nor within their interval, and how far off they are."""
    true = {f"{r['kind']}{r['case']}": float(r["E_f_GPa"]) * 1e9 for r in table("fe_layers.csv")}
    out = []
    for f in result.films:
        low, high = f.exact.interval("film.E")
        off = float(f.exact.best[0]) / true[f.specimen] - 1
        if abs(off) > 0.05 and not low <= true[f.specimen] <= high:
            out.append((f.specimen, round(off, 3)))
    return out


@pytest.mark.parametrize("pile_up", ["counted", "noted"])
def test_nine_of_ten_films_come_back(folder: Path, c0: float, pile_up: str) -> None:
    result = study(folder, c0, pile_up, ("film",))
    assert len(result.films) == 10
    assert len(lost(result)) <= 1, lost(result)


def test_films_that_were_looked_at_once(folder: Path, c0: float) -> None:
    result = study(folder, c0, "counted", ("third",))
    assert len(result.films) == 10
    assert len(lost(result)) <= 1, lost(result)


def test_films_that_harden_or_lie_on_soft_metals(folder: Path, c0: float) -> None:
    result = study(folder, c0, "counted", ("first", "second"))
    assert len(result.films) == 16
    assert len(lost(result)) <= 2, lost(result)
    width = [float(f.exact.u[0] / f.exact.best[0]) for f in result.films]
    assert max(width) < 0.08  # and the intervals are no wider than that makes easy


def test_measured_areas_need_no_pile_up(folder: Path, c0: float) -> None:
    """The metal film that piles up most, its true areas stated as measured: they are taken as they
    are. The factor between true area and modulus of the simulation (six solids, median) is put
    into the areas, as a calibration would take it up."""
    rows = [r for r in table("fe_layers.csv") if r["kind"] == "film" and r["case"] == "2"]
    bulk = [r for r in table("fe_layers.csv") if r["kind"] == "bulk"]
    factor = np.median([
        float(r["S_N_per_m"]) / (2 * float(r["a_m"])) * (1 - float(r["nu_f"]) ** 2)
        / (float(r["E_f_GPa"]) * 1e9)
        for r in bulk
    ])  # fmt: skip
    text = [HEAD.format(c0=c0), FILM.format(name="film2", u=2.0, pile_up="counted", **rows[0])]
    for r in rows:
        scale = 1000.0 / float(r["thickness_nm"])
        A = np.pi * (float(r["a_m"]) * 1e6 * scale * factor) ** 2
        text.append(
            f'[[measured_areas]]\ntest = "film2-{r["thickness_nm"]}"\nA_um2 = {A:.6g}\n'
            f'u_A_um2 = {0.02 * A:.6g}\nhow = "finite elements"\n'
        )
    path = folder / "measured.toml"
    path.write_text("".join(text))
    (found,) = run_study(path, write=False).films
    assert found.piled.size is not None and not np.any(found.piled.size.known)
    assert found.solved.at_ends is None
    low, high = found.exact.interval("film.E")
    assert low <= 70e9 <= high
    assert found.exact.best[0] == pytest.approx(70e9, rel=0.06)
