"""A study that names folders, zip files and a table of its tests. All files are invented here."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pytest
from invented_records import invented, plain_file, save
from invented_tables import hdf5, sheet_rows, workbook, zipped

from drypoint.errors import RecipeError
from drypoint.recipe import load_study
from drypoint.run.progress import Watch
from drypoint.run.reading import Readings, read_study_records

REST = """
[specimens.glass]
nu = 0.17
u_nu = 0.01
[specimens.steel]
nu = 0.3
u_nu = 0.01
[tips.tip]
shape = "modified Berkovich"
"""


def readings(tmp_path: Path, records: str, rest: str = "") -> Readings:
    path = tmp_path / "study.toml"
    text = f'drypoint = 1\n[study]\nname = "s"\n{records}\n{REST}\n{rest}'
    path.write_text(text, encoding="utf-8")
    return read_study_records(load_study(path), None, Watch())


def names(found: Readings) -> dict[str, str]:
    return {t.name: t.specimen for p in found.parts for t in p.batch.tests}


@pytest.fixture
def raw(tmp_path: Path) -> Path:
    folder = tmp_path / "raw"
    folder.mkdir()
    for k in range(4):
        plain_file(folder / f"a{k}.txt", invented(seed=k))
    (folder / "photo.png").write_bytes(b"\x89PNG")
    return folder


def test_a_folder(tmp_path: Path, raw: Path) -> None:
    for pattern in ("raw", "raw/", "ra*"):
        found = readings(tmp_path, f'[[records]]\nfiles = ["{pattern}"]\nspecimen = "glass"')
        assert list(names(found)) == ["a0", "a1", "a2", "a3"] and not found.set_aside
        assert pattern == "ra*" or any("photo.png" in n for n in found.notes)


def test_a_zip_file_and_its_hash(tmp_path: Path, raw: Path) -> None:
    members = {f"d/{p.name}": p.read_bytes() for p in sorted(raw.glob("*.txt"))}
    path = zipped(tmp_path / "batch.zip", members)
    found = readings(tmp_path, '[[records]]\nfiles = ["batch.zip"]\nspecimen = "glass"')
    assert list(names(found)) == ["a0", "a1", "a2", "a3"]
    assert dict(found.hashes) == {"batch.zip": hashlib.sha256(path.read_bytes()).hexdigest()}
    assert found.parts[0].batch.tests[0].source.path == "batch.zip!/d/a0.txt"


def test_tables_may_share_a_file(tmp_path: Path) -> None:
    workbook(
        tmp_path / "w.xlsx",
        {n: sheet_rows(invented(seed=k)) for k, n in enumerate(["G1", "G2", "S1"])},
    )
    one = '[[records]]\nfiles = ["w.xlsx"]\nspecimen = "glass"\n'
    two = '[[records]]\nfiles = ["w.xlsx"]\nspecimen = "steel"\n'
    found = readings(tmp_path, one + 'inside = ["G*"]\n' + two + 'inside = ["S*"]\n')
    assert names(found) == {"w:G1": "glass", "w:G2": "glass", "w": "steel"}
    with pytest.raises(RecipeError, match="belongs to"):
        readings(tmp_path, one + two)
    twice = readings(tmp_path, one + 'inside = ["G*"]\n' + two + 'inside = ["G2"]\n')
    assert "has read this test already" in twice.set_aside[0].reason


def test_hdf5_of_a_study(tmp_path: Path) -> None:
    hdf5(tmp_path / "h.h5", {"t/A": invented(seed=1), "t/B": invented(seed=2)})
    found = readings(
        tmp_path, '[[records]]\nfiles = ["h.h5"]\nspecimen = "glass"\ninside = ["/t/*"]'
    )
    assert list(names(found)) == ["h:A", "h:B"]


def test_the_table_of_the_tests(tmp_path: Path, raw: Path) -> None:
    save(
        raw / "positions.csv",
        [
            "test,specimen,x_um,y_um,site,date", "a0,,1,2,,", "a1,steel,3,4,edge,2026-02-03",
            "a2,glass,,,,", "b9,,,,,",
        ],
    )  # fmt: skip
    found = readings(
        tmp_path,
        '[[records]]\nfiles = ["raw"]\nspecimen = "glass"\ndate = "2026-01-01"',
        '[tests_table]\nfile = "raw/positions.csv"',
    )
    assert names(found) == {"a0": "glass", "a2": "glass", "a3": "glass", "a1": "steel"}
    assert [p.specimen for p in found.parts] == ["glass", "steel"]
    steel = found.parts[1].batch
    assert steel.tests[0].position_m == pytest.approx((3e-6, 4e-6))
    assert steel.tests[0].declared["site"] == "edge"
    assert steel.tests[0].declared["date"] == "2026-02-03"
    assert found.parts[0].batch.tests[0].declared["date"] == "2026-01-01"
    np.testing.assert_allclose(steel.force, invented(seed=1).force, rtol=1e-8)
    assert "raw/positions.csv" in found.hashes
    said = " ".join(found.notes)
    assert "line 5: there is no test “b9”" in said and "1 test has no row (“a3”)" in said
    # Read in one way, so one key: what a result was made from is known by its test and specimen.
    assert len({p.key for p in found.parts}) == 1


def test_a_specimen_that_the_study_does_not_have(tmp_path: Path, raw: Path) -> None:
    save(tmp_path / "t.csv", ["test,specimen", "a0,glas"])
    records = '[[records]]\nfiles = ["raw"]\nspecimen = "glass"'
    with pytest.raises(RecipeError, match="Did you mean “glass”"):
        readings(tmp_path, records, '[tests_table]\nfile = "t.csv"')
    with pytest.raises(RecipeError, match="no such file"):
        readings(tmp_path, records, '[tests_table]\nfile = "none.csv"')


def test_the_rule_of_the_tip_holds_for_specimens_of_the_table(tmp_path: Path, raw: Path) -> None:
    save(tmp_path / "t.csv", ["test,specimen", "a0,steel"])
    rest = (
        "[tips.tip.area]\nkind = \"series\"\ncoefficients_nm = [24.5, 100.0]\n"
        "h_min_nm = 10.0\nh_max_nm = 5000.0\n"
        "[tips.tip.area.found_with]\nepsilon = 0.75\n"
        "[analysis]\nepsilon = 0.75\n[specimens.steel.analysis]\nepsilon = 0.72\n"
        '[tests_table]\nfile = "t.csv"'
    )  # fmt: skip
    with pytest.raises(RecipeError, match="was found with epsilon"):
        readings(tmp_path, '[[records]]\nfiles = ["raw"]\nspecimen = "glass"', rest)
