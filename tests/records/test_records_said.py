"""Units that comment lines name, and the column of time: offered and asked, never assumed.

All files are invented here. Units written out: SI Brochure (English, French), DIN 1301-1 (German).
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest
from invented_records import invented, lines_of, save

from drypoint.records import (
    Column,
    Layout,
    Question,
    read,
    starting_recipe_records,
    understand,
)
from drypoint.records.looking import look_at
from drypoint.records.said import said_in
from drypoint.records.saved import with_answers

R = invented()


def body(force: float = 1e6, depth: float = 1e9, time: float = 1.0) -> list[str]:
    return lines_of([R.time * time, R.force * force, R.depth * depth])


def asked(path: Path, layout: Layout | None = None) -> dict[str, Question]:
    return {q.key: q for q in understand(path, layout).questions}


UNNAMED = "time;force;depth"


@pytest.mark.parametrize(
    ("head", "named"),
    [
        (["# time in seconds, force in micronewton, depth in nanometre"], ("s", "µN", "nm")),
        (["# Zeit in Sekunden, Kraft in Mikronewton und Tiefe in Nanometern"], ("s", "µN", "nm")),
        (["% temps en secondes", "% effort en micronewtons ; enfoncement en nanomètres"],
         ("s", "µN", "nm")),
        (["Force unit: micronewton", "Depth unit: nm", "Time unit: ms"], ("ms", "µN", "nm")),
        (["# load [µN], depth [nm], time [s]"], ("s", "µN", "nm")),
        (["# SI units: newton, metre, second"], ("s", "N", "m")),
        (["# load (millinewtons)", "# depth (microns)"], (None, "mN", "µm")),
        (["# force in gram-force"], (None, "gf", None)),
        (["# nothing about it"], (None, None, None)),
    ],
)  # fmt: skip
def test_a_unit_in_a_comment_is_offered_first(
    tmp_path: Path, head: list[str], named: tuple[str | None, ...]
) -> None:
    """Of each role: what the header says is the first choice, its line is given, others follow."""
    questions = asked(save(tmp_path / "a.txt", [*head, UNNAMED, *body()]))
    for role, unit in zip(("time", "force", "depth"), named, strict=True):
        q = questions[f"columns.{role}.unit"]
        assert len(q.choices) >= 3, "a unit is never suggested alone"
        assert len(set(q.choices)) == len(q.choices)
        if unit is None:
            assert "names" not in q.what
        else:
            assert q.choices[0] == f'{role} = {{name = "{role}", unit = "{unit}"}}'
            assert any(f"Line {k} names “" in q.what for k in range(1, len(head) + 1))
        assert all(line in q.toml for line in q.choices)


def test_every_unit_that_is_named_is_offered(tmp_path: Path) -> None:
    head = "# load at most 20 millinewton, load noise 30 micronewton"
    q = asked(save(tmp_path / "a.txt", [head, UNNAMED, *body()]))["columns.force.unit"]
    assert [c.rpartition('"')[0].rpartition('"')[2] for c in q.choices[:2]] == ["mN", "µN"]
    assert "millinewton" in q.what and "micronewton" in q.what


def test_the_answer_is_used(tmp_path: Path) -> None:
    head = "# time in seconds, force in micronewton, depth in nanometre"
    path = save(tmp_path / "a.txt", [head, UNNAMED, *body()])
    layout = with_answers(Layout(), [q.choices[0] for q in asked(path).values()])
    outcome = read(path, layout)
    assert outcome.set_aside == ()
    np.testing.assert_allclose(outcome.batch.force, R.force, rtol=1e-8, atol=1e-12)
    np.testing.assert_allclose(outcome.batch.depth, R.depth, rtol=1e-8, atol=1e-16)


def test_columns_without_names_get_the_named_unit(tmp_path: Path) -> None:
    path = save(tmp_path / "a.txt", ["# force in micronewton", "", "a;b;c", *body()])
    q = asked(path)["columns.force"]
    assert [f'force = {{name = "{n}", unit = "µN"}}' for n in "abc"] == list(q.choices)
    assert 'unit = "mN"' not in q.toml
    depth = asked(path)["columns.depth"]
    assert {u for c in depth.choices for u in ("nm", "µm", "mm", '"m"') if u in c} == {
        "nm", "µm", "mm", '"m"',
    }  # fmt: skip


@pytest.mark.parametrize(
    "line",
    [
        "loading rate 5 micronewtons per second",
        "speed: 10 nm/s",
        "Temperature: 23 °C",
        "batch m 12",
    ],
)
def test_what_is_no_unit_of_a_column_is_not_offered(line: str) -> None:
    assert said_in([(1, line)]) == ()


def test_a_place_is_not_the_depth() -> None:
    (said,) = said_in([(1, "X: 12.3 µm")])
    assert (said.role, said.unit, said.plain) == ("x", "µm", False)


def test_attributes_of_a_typed_file(tmp_path: Path) -> None:
    table = pl.DataFrame({"time": R.time, "force": R.force * 1e6, "depth": R.depth * 1e9})
    table.write_parquet(tmp_path / "a.parquet", metadata={"force unit": "micronewton"})
    q = asked(tmp_path / "a.parquet")["columns.force.unit"]
    assert q.choices[0] == 'force = {name = "force", unit = "µN"}' and len(q.choices) > 2


def test_rows_of_units_written_out(tmp_path: Path) -> None:
    """They were taken for the names of the columns, and the names were lost."""
    for row in ("seconds;micronewtons;nanometers", "[Sekunden];[Mikronewton];[Nanometer]"):
        outcome = read(save(tmp_path / "a.txt", ["Time;Force;Depth", row, *body()]))
        assert outcome.set_aside == ()
        np.testing.assert_allclose(outcome.batch.force, R.force, rtol=1e-8, atol=1e-12)


def test_a_row_of_units_without_names(tmp_path: Path) -> None:
    """The units are kept; each role then has one candidate."""
    questions = asked(save(tmp_path / "a.txt", ["s;µN;nm", *body()]))
    assert questions["columns.force"].choices == ('force = {index = 2, unit = "µN"}',)
    assert questions["columns.depth"].choices == ('depth = {index = 3, unit = "nm"}',)
    assert questions["columns.time"].choices[0] == 'time = {index = 1, unit = "s"}'


def test_a_header_that_contradicts_a_column_is_noted(tmp_path: Path) -> None:
    """Of many files too: a file with another comment line is not read as those before it."""
    names = "Time (s);Force (µN);Depth (nm)"
    paths = []
    for k in range(8):
        r = invented(seed=k)
        rows = lines_of([r.time, r.force * 1e6, r.depth * 1e9])
        unit = "micrometres" if k in (0, 6) else "nanometres"
        paths.append(save(tmp_path / f"{k}.txt", [f"# depth: {unit}", names, *rows]))
    outcome = read(paths, root=tmp_path)
    assert len(outcome.batch) == 8
    notes = [n for n in outcome.notes if "names “micrometres” for the depth" in n]
    assert [n.partition(":")[0] for n in notes] == ["0.txt", "6.txt"]
    assert any("nm is used" in n for n in understand(paths[0]).notes)


# ------------------------------------------------------------------------- the column of time


@pytest.mark.parametrize("name", ["clock (s)", "Moment [ms]", "Clock", "A"])
def test_the_time_is_asked_for(tmp_path: Path, name: str) -> None:
    """A column that can be the time was passed over without a word."""
    path = save(tmp_path / "a.txt", [f"{name};Load (mN);Depth (nm)", *body(1e3)])
    (q,) = understand(path).questions
    assert q.key == "columns.time" and "No column is clearly the time" in q.what
    (aside,) = read(path).set_aside
    assert "No column is clearly the time" in aside.reason and "ignore" in aside.remedy
    time = read(path, with_answers(Layout(), [q.choices[0]]))
    assert time.set_aside == () and np.isfinite(time.batch.time).all()
    none = read(path, with_answers(Layout(), [q.choices[-1]]))
    assert none.set_aside == () and np.isnan(none.batch.time).all()
    assert read(path, Layout(sampling_Hz=20)).set_aside == ()
    assert f"# {q.choices[0]}" in starting_recipe_records([understand(path)])


@pytest.mark.parametrize(
    "extra", ["Strain rate (1/s)", "Temperature (°C)", "Index", "V (V)", "x (µm)"]
)
def test_no_time_is_asked_of_other_quantities(tmp_path: Path, extra: str) -> None:
    rows = lines_of([R.force * 1e3, R.depth * 1e9, np.arange(len(R.time), dtype=float)])
    path = save(tmp_path / "a.txt", [f"Load (mN);Depth (nm);{extra}", *rows])
    assert read(path).set_aside == ()


def test_a_time_in_words_is_said(tmp_path: Path) -> None:
    clock = [f"00:00:{t:06.3f}" for t in R.time]
    rows = [f"{c};{r.partition(';')[2]}" for c, r in zip(clock, body(1e3), strict=True)]
    path = save(tmp_path / "a.txt", ["Time (s);Load (mN);Depth (nm)", *rows])
    (q,) = understand(path).questions
    assert "holds words: “00:00:00.000” in line 2, column 1" in q.what
    assert read(path, with_answers(Layout(), [q.choices[-1]])).set_aside == ()


def test_a_depth_in_words_is_said(tmp_path: Path) -> None:
    """Not “No column is clearly the depth”: the column is there, but holds words."""
    rows = [r.rpartition(";")[0] + ";n/a" for r in body(1e3)]
    path = save(tmp_path / "a.txt", ["Time (s);Load (mN);Depth (nm)", *rows])
    (aside,) = read(path).set_aside
    assert "is named like the depth, but holds words: “n/a” in line 2" in aside.reason


def test_a_track_needs_no_time(tmp_path: Path) -> None:
    """Its other columns are not asked about."""
    x = np.linspace(0, 500e-6, 60)
    rows = lines_of([x * 1e6, R.force * 1e3, R.force * 1e2, np.arange(60.0)])
    head = "Distance (µm);Normal force (mN);Lateral force (mN);Code"
    path = save(tmp_path / "a.txt", [head, *rows])
    (u,) = look_at(path, Layout(), tmp_path)
    assert u.layout.track and u.questions == ()


def test_all_questions_are_one_error(tmp_path: Path) -> None:
    (aside,) = read(save(tmp_path / "a.txt", [UNNAMED, *body()])).set_aside
    for role in ("time", "force", "depth"):
        assert f"“{role}” ({role}) has no unit" in aside.reason
        assert f'{role} = {{name = "{role}", unit = ' in aside.remedy
    pl.DataFrame({"time": R.time, "force": R.force, "depth": R.depth}).write_parquet(
        tmp_path / "a.parquet"
    )
    (aside,) = read(tmp_path / "a.parquet").set_aside
    assert all(f"({role}) has no unit" in aside.reason for role in ("time", "force", "depth"))


def test_scale_is_kept_in_what_is_offered(tmp_path: Path) -> None:
    path = save(tmp_path / "a.txt", ["Time (s);Load;Depth (nm)", *body(-1e3)])
    layout = Layout(columns={"force": Column("Load", scale=-1.0)})
    (q,) = understand(path, layout).questions
    assert q.choices[0] == 'force = {name = "Load", unit = "mN", scale = -1.0}'
