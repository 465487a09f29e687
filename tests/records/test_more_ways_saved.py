"""Saved layouts, and the table of the tests. All files are invented here."""

from __future__ import annotations

from pathlib import Path

import pytest
from invented_records import invented, lines_of, save
from invented_tables import workbook

from drypoint.cli.new import write_new
from drypoint.cli.start import Given, show_files, show_layouts
from drypoint.errors import RecipeError
from drypoint.records import Column, Layout, understand
from drypoint.records.saved import (
    find_layout,
    remove_layout,
    save_layout,
    saved_layouts,
    shape_of,
    with_answers,
)
from drypoint.records.tests_table import read_tests_table


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("DRYPOINT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


def open_file(path: Path, seed: int = 1, name: str = "Depth") -> Path:
    r = invented(seed=seed)
    rows = lines_of([r.time, r.force * 1e3, r.depth * 1e9, -r.depth * 1e9])
    return save(path, [f"Time (s);Load (mN);{name} 1 (nm);{name} 2 (nm)", *rows])


ANSWER = 'depth = {name = "Depth 2 (nm)", unit = "nm", scale = -1.0}'


def test_save_and_reuse(tmp_path: Path, home: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first, second = open_file(tmp_path / "a.txt"), open_file(tmp_path / "b.txt", 2)
    with pytest.raises(RecipeError, match="questions about"):
        show_files([first], Given(save="mine"))
    assert show_files([first], Given(answers=(ANSWER,), save="mine")) == 0
    assert (home / "layouts" / "mine.toml").is_file()
    capsys.readouterr()
    assert show_files([second], Given()) == 0
    said = capsys.readouterr().out
    assert "layout mine reused" in said and "Layout “mine” reused for 1 file" in said
    write_new(tmp_path / "s.toml", [second], "s", "modified Berkovich")
    assert "Layout “mine” reused for 1 file" in capsys.readouterr().out
    text = (tmp_path / "s.toml").read_text(encoding="utf-8")
    assert ANSWER in text and "# The saved layout mine was used." in text
    show_layouts(None)
    assert ANSWER in capsys.readouterr().out
    show_layouts("mine")
    assert saved_layouts() == [] and show_files([second], Given()) == 3
    with pytest.raises(RecipeError, match="no saved layout"):
        remove_layout("mine")


def test_another_shape_does_not_reuse_it(tmp_path: Path) -> None:
    u = understand(open_file(tmp_path / "a.txt"))
    shape = shape_of(u)
    assert shape is not None
    save_layout("mine", shape, Layout(columns={"depth": Column("Depth 1 (nm)")}))
    other = understand(open_file(tmp_path / "c.txt", name="Height"))
    assert find_layout(other, saved_layouts()) is None
    with pytest.raises(RecipeError, match="saved for files of this shape already"):
        save_layout("yours", shape, Layout())
    with pytest.raises(RecipeError, match="no name for a layout"):
        save_layout("../up", shape, Layout())


def test_a_layout_comes_back_whole(tmp_path: Path) -> None:
    shape = shape_of(understand(open_file(tmp_path / "a.txt")))
    assert shape is not None
    layout = Layout(
        delimiter=";", decimal=",", encoding="cp1252", header_line=3, first_data_line=5,
        split="blank lines", sampling_Hz=12.5, comment="%", inside=("T*", "U!/x/*"),
        columns={"force": Column(index=2, unit="mN", scale=-0.5), "depth": Column("h “x”")},
    )  # fmt: skip
    save_layout("all", shape, layout)
    (saved,) = saved_layouts()
    assert saved.layout == layout and saved.shape == shape


@pytest.mark.parametrize("line", ["depth", "weight = 3", 'depth = {"x" = 1}', "= 3"])
def test_answers_that_are_none(line: str) -> None:
    with pytest.raises(RecipeError, match="cannot be used"):
        with_answers(Layout(), [line])


def test_answers_for_the_marks() -> None:
    found = with_answers(Layout(), ['delimiter = " " and decimal = ","'])
    assert (found.delimiter, found.decimal) == (" ", ",")


@pytest.mark.parametrize("form", ["csv", "german", "xlsx"])
def test_a_tests_table(tmp_path: Path, form: str) -> None:
    head = ["test", "specimen", "x_um", "y [mm]", "site", "Datum", "lot"]
    body = [
        ["a:1", "glass", "12.5", "-0.25", "A", "2026-02-03", "7"],
        ["b", "", "", "", "", "", ""],
    ]
    if form == "csv":
        path = save(tmp_path / "t.csv", [",".join(r) for r in [head, *body]])
    elif form == "german":
        rows = [";".join(c.replace(".", ",") for c in r) for r in body]
        path = save(tmp_path / "t.csv", [";".join(head), *rows], encoding="cp1252")
    else:
        first: list[object] = [*body[0]]
        first[2], first[3] = 12.5, -0.25
        path = workbook(tmp_path / "t.xlsx", {"S": [head, first, ["b"]]})
    rows_, _ = read_tests_table(path, "t")
    row = rows_["a:1"]
    assert row.position_m == pytest.approx((12.5e-6, -0.25e-3))
    assert row.specimen == "glass"
    assert row.declared == {"site": "A", "date": "2026-02-03", "lot": "7"}
    assert rows_["b"].specimen is None and rows_["b"].position_m is None


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["test,x_um", "a,1"], "Of x and y only one is there"),
        (["test,x,y", "a,1,2"], "no unit of length"),
        (["name,specimen", "a,b"], "No column is called “test”"),
        (["test,specimen", "a,b", "a,c"], "stands in line 2 already"),
        (["test,x_um,y_um", "a,1,zwei"], "is no number"),
        (["test,x_um,y_um", "a,1,"], "only one is given"),
        (["test,site", ",b"], "names no test"),
        (["test,site", "a,b,c"], "3 fields where"),
        ([""], "empty"),
    ],
)
def test_a_wrong_tests_table(tmp_path: Path, lines: list[str], said: str) -> None:
    with pytest.raises(RecipeError, match=said):
        read_tests_table(save(tmp_path / "t.csv", lines), "t.csv")
