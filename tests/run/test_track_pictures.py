"""Pictures of tracks, wear, further channels, the command, and tracks beside tests in one study.
Invented data."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from drypoint.run import run_study
from drypoint.run.critical_loads import ScratchResult
from drypoint.store import read_results
from drypoint.tips.build import ideal_tip

HEAD = """drypoint = 1
[study]
name = "tracks"
invented = true
[specimens.coating]
nu = 0.25
[tips.S1]
shape = "sphero-cone"
half_angle_deg = 60.0
radius_nm = 50000.0
[frame]
[[tracks]]
files = ["raw/*.txt"]
specimen = "coating"
"""


def study_of(folder: Path, more: str = "") -> Path:
    path = folder / "study.toml"
    path.write_text(HEAD + more, encoding="utf-8")
    (folder / "raw").mkdir()
    return path


def track_text(columns: dict[str, np.ndarray]) -> str:
    rows = np.column_stack(list(columns.values()))
    lines = ["\t".join(columns), *("\t".join(f"{v:.5f}" for v in r) for r in rows)]
    return "\n".join(lines) + "\n"


def ramp(n: int = 1500, **more: np.ndarray) -> dict[str, np.ndarray]:
    """A plain scratch: friction 0.2, depth going with the load, a little noise."""
    rng = np.random.default_rng(3)
    x = np.linspace(0, 500, n)
    load = np.clip((x - 25) / 475, 0.004, 1) * 500
    return {
        "Distance (µm)": x,
        "Normal force (mN)": load,
        "Lateral force (mN)": 0.2 * load + rng.normal(0, 0.5, n),
        "Depth (nm)": 2.0 * load + rng.normal(0, 2.0, n),
        **more,
    }


def scratch_of(study: Path) -> ScratchResult:
    found = run_study(study).scratch
    assert found is not None
    return found


@pytest.mark.parametrize(
    ("points", "span", "turned"),
    [
        ("[[0.0, 0.0], [300.0, 600.0]]", (0.0, 600.0), False),
        ("[[50.0, 100.0], [250.0, 300.0]]", (50.0, 350.0), False),
        # The scratch runs to the left in the picture: it is turned round.
        ("[[300.0, 0.0], [0.0, 600.0]]", (0.0, 600.0), True),
    ],
)
def test_two_points_lay_a_picture_along_its_track(
    tmp_path: Path, points: str, span: tuple[float, float], turned: bool
) -> None:
    """By hand: a straight line through the two points, at the picture's edges."""
    study = study_of(
        tmp_path,
        f'[[scratch.pictures]]\ntrack = "t"\nfile = "t.png"\npoints = {points}\n',
    )
    (tmp_path / "raw" / "t.txt").write_text(track_text(ramp()), encoding="utf-8")
    pixels = np.zeros((10, 300, 3), dtype=np.uint8)
    pixels[:, :30] = 255
    Image.fromarray(pixels).save(tmp_path / "t.png")
    (picture,) = scratch_of(study).pictures
    assert picture.span is not None
    assert np.array(picture.span) * 1e6 == pytest.approx(span)
    assert np.array_equal(picture.pixels, pixels[:, ::-1] if turned else pixels)


def test_pictures_that_cannot_be_laid_are_said(tmp_path: Path) -> None:
    study = study_of(
        tmp_path,
        "".join(
            f'[[scratch.pictures]]\ntrack = "{t}"\nfile = "{f}"\n'
            for t, f in (("t", "loose.png"), ("t", "broken.png"), ("t", "none.png"), ("u", "a.png"))
        ),
    )
    (tmp_path / "raw" / "t.txt").write_text(track_text(ramp()), encoding="utf-8")
    Image.fromarray(np.zeros((8, 8, 3), dtype=np.uint8)).save(tmp_path / "loose.png")
    (tmp_path / "broken.png").write_bytes((tmp_path / "loose.png").read_bytes()[:40])
    found = scratch_of(study)
    (picture,) = found.pictures
    assert picture.span is None
    said = " ".join(found.notes)
    for words in ("has no scale", "no picture that can be read", "no such file", "“u”"):
        assert words in said


def test_worn_volume_of_a_study(tmp_path: Path) -> None:
    """Outside: Archard's law. A groove of known depth grows by the same volume a pass, so that the
    rate is the volume of one pass over load times length; its section is the tip's own (a cone
    with a round end, by geometry)."""
    study = study_of(tmp_path)
    n, load, length = 800, 100.0, 400.0
    section_tip = ideal_tip("sphero-cone", angle=float(np.radians(60)), radius=50e-6)
    R, angle = 50.0, np.radians(60)

    def section(h: float) -> float:
        """Area of a circle's segment of height h (µm²); h stays inside the round end."""
        assert h < R * (1 - np.sin(angle)) and section_tip.geometry.radius == pytest.approx(
            R * 1e-6
        )
        return R * R * np.arccos((R - h) / R) - (R - h) * np.sqrt(2 * R * h - h * h)

    # Depths (µm) at which the section grows evenly.
    wanted = np.arange(1, 6) * 2.0
    grid = np.linspace(0, 2, 20_001)
    depths = np.interp(wanted, [section(h) for h in grid], grid)
    rng = np.random.default_rng(1)
    parts = []

    def one(word: str, F: float, h: float) -> None:
        x = np.linspace(0, length, n)
        # The first and last tenth of the way are not worn: there the zero is.
        worn = np.where(x > 0.1 * length, h, 0.0)
        force = np.where(x > 0.1 * length, F, 1.0)
        noise = rng.normal(0, 0.001, n)
        parts.extend(
            f"{word}\t{a:.4f}\t{b:.4f}\t{0.2 * b * (1 + 0.01 * np.sin(a)):.4f}\t{1e3 * c:.3f}"
            for a, b, c in zip(x, force, worn + noise, strict=True)
        )

    one("pre", 1.0, 0.0)
    for h in depths:
        one("scratch", load, float(h) + 0.2)
        one("post", 1.0, float(h))
    head = "Pass\tDistance (µm)\tNormal force (mN)\tLateral force (mN)\tDepth (nm)"
    (tmp_path / "raw" / "w.txt").write_text("\n".join([head, *parts]) + "\n", encoding="utf-8")
    run_study(study)
    results = read_results(tmp_path / "results")
    wear = results.table("track_wear")
    assert len(wear) == 5 and wear["from_scan"].all()
    way = 0.9 * length
    volumes = wear["volume_um3"].to_numpy()
    assert volumes == pytest.approx(wanted * way, rel=0.03)
    row = results.table("tracks").row(0, named=True)
    expected = 2.0 * way / (load * length * 1e-3)  # µm³ a pass over mN mm
    assert row["wear_rate_um3_per_mN_mm"] == pytest.approx(expected, rel=0.15)
    assert abs(row["wear_volume_um3"] - wanted[-1] * way) < 3 * row["u_wear_volume_um3"] + 20


def test_a_lifted_tip_is_said_and_the_rest_stays(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    plain = ramp()
    lifted = {k: v.copy() for k, v in plain.items()}
    away = slice(700, 800)
    lifted["Normal force (mN)"][away] = -0.5
    lifted["Lateral force (mN)"][away] = 0.0
    (tmp_path / "raw" / "a.txt").write_text(track_text(plain), encoding="utf-8")
    (tmp_path / "raw" / "b.txt").write_text(track_text(lifted), encoding="utf-8")
    a, b = scratch_of(study).tracks
    assert "lifted" in {q.code for q in b.problems} - {q.code for q in a.problems}
    assert a.friction.slope is not None and b.friction.slope is not None
    assert b.friction.slope.mu.value == pytest.approx(a.friction.slope.mu.value, abs=0.01)


def test_only_named_channels_speak_for_candidates(tmp_path: Path) -> None:
    """A stage's own reading that steps is shown and says nothing, unless it is named."""
    steps = np.where(np.arange(1500) < 900, 20.0, 25.0) + np.random.default_rng(2).normal(
        0, 0.1, 1500
    )
    text = track_text(ramp(**{"Stage (V)": steps}))
    study = study_of(tmp_path)
    (tmp_path / "raw" / "t.txt").write_text(text, encoding="utf-8")
    (quiet,) = scratch_of(study).tracks
    name = next(iter(quiet.profile.extra))
    assert not quiet.candidates
    study.write_text(HEAD + f'[scratch]\nvoices = ["{name}", "nothing"]\n', encoding="utf-8")
    found = scratch_of(study)
    (loud,) = found.tracks
    assert [c.channels for c in loud.candidates] == [(name,)]
    at = float(np.interp(900, np.arange(1500), ramp()["Normal force (mN)"]))
    assert loud.candidates[0].low * 1e3 <= at <= loud.candidates[0].high * 1e3
    assert "“nothing”, which no track has" in " ".join(found.notes)


def test_tests_and_tracks_in_one_study(own_demo: Path) -> None:
    """Each gives what it gives alone; a second run reads nothing anew and writes the same."""
    alone = read_results(own_demo.parent / "results")
    other = own_demo.parent / "scratch"
    text = own_demo.read_text(encoding="utf-8")
    tracks = (
        '\n[[tracks]]\nfiles = ["scratch/raw/B-0[12]_*.csv"]\nspecimen = "coating B"\n'
        '[specimens."coating B"]\nnu = 0.25\n[scratch.events]\nLc1 = "first cracks"\n'
    )
    own_demo.write_text(text + tracks, encoding="utf-8")
    result = run_study(own_demo)
    both = read_results(own_demo.parent / "results")
    assert both.table("tests").equals(alone.table("tests"))
    assert both.table("tracks")["track"].to_list() == ["B-01", "B-02"]
    assert result.scratch is not None and len(result.tests) == len(alone.table("tests"))
    from drypoint.report import gather

    titles = [s.title for s in gather(result).sections]
    assert "Scratch tracks" in titles and "Results" in titles
    before = (own_demo.parent / "results" / "tracks.parquet").read_bytes()
    run_study(own_demo)
    assert (own_demo.parent / "results" / "tracks.parquet").read_bytes() == before
    shutil.rmtree(other)


def test_scans_that_are_named_alike_are_said(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    plain = ramp(600)
    light = {k: v.copy() for k, v in plain.items()}
    light["Normal force (mN)"][:] = 2.0
    light["Depth (nm)"][:] = 0.0
    after = {**light, "Depth (nm)": 0.5 * plain["Depth (nm)"]}
    for name, table in (("before1", light), ("scratch", plain), ("before2", after)):
        (tmp_path / "raw" / f"t_{name}.txt").write_text(track_text(table), encoding="utf-8")
    (track,) = scratch_of(study).tracks
    said = " ".join(track.remarks)
    assert "“t_before1”, “t_before2” are all named as scans before the scratch" in said
    marks = '[tracks.marks]\nbefore = "_before1"\nscratch = "_scratch"\nafter = "_before2"\n'
    study.write_text(HEAD + marks, encoding="utf-8")
    (track,) = scratch_of(study).tracks
    assert track.passes == ("before", "scratch", "after") and "named as" not in " ".join(
        track.remarks
    )


def test_a_track_without_position_says_what_to_add(tmp_path: Path) -> None:
    study = study_of(tmp_path)
    good = track_text(ramp(300))
    (tmp_path / "raw" / "a.txt").write_text(good, encoding="utf-8")
    odd = good.replace("Distance (µm)", "Column A (µm)").replace("0.00000", "0.00001", 1)
    (tmp_path / "raw" / "b.txt").write_text(odd, encoding="utf-8")
    (aside,) = scratch_of(study).set_aside
    assert aside.file == "raw/b.txt"
    assert 'position = {name = "Column A' in aside.remedy and "[tracks.columns]" in aside.remedy
