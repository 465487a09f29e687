"""Flags of a whole study: neighbours, edges, film and series reach tables, by specimen."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from drypoint.recipe import dumps
from drypoint.run import StudyResult, run_study


@pytest.fixture(scope="module")
def again(demo_study: Path) -> Callable[..., StudyResult]:
    """The demo run under a changed study file; nothing is written."""

    def run(**specimens: dict[str, Any]) -> StudyResult:
        tree = tomllib.loads(demo_study.read_text(encoding="utf-8"))
        for name, keys in specimens.items():
            tree["specimens"][name].update(keys)
        other = demo_study.with_name("other.toml")
        other.write_text(dumps(tree), encoding="utf-8")
        return run_study(other, write=False)

    return run


def counted(result: StudyResult) -> Counter[tuple[str, str]]:
    rows = zip(result.tests_table["specimen"], result.tests.flags, strict=True)
    return Counter((s, f.code) for s, flags in rows for f in flags)


def test_the_demo_has_the_flags_that_it_deserves(demo_result: StudyResult) -> None:
    """What is known of the demo: the glass is clean, the film is thin, the steels pop in."""
    found = counted(demo_result)
    assert {c for s, c in found if s == "glass"} == set()
    assert found["film", "film depth"] == 16
    assert {c for s, c in found if s == "film"} == {"film depth"}
    for steel, n in (("steel", 40), ("tempered", 12)):
        assert found[steel, "pop-in"] == found[steel, "pile-up likely"] == n
        assert {c for s, c in found if s == steel} == {
            "pop-in", "pile-up likely", "creep at unloading",
        }  # fmt: skip


def test_pop_ins_of_the_demo_against_its_truth(demo_result: StudyResult, demo_study: Path) -> None:
    """Force of each pop-in against truth.json: the sample before the invented force."""
    import json

    truth = json.loads(demo_study.with_name("truth.json").read_text(encoding="utf-8"))
    F = {t["test"]: t["pop_in_force_mN"] for t in truth["tests"]}
    n = 0
    for row in demo_result.tests_table.iter_rows(named=True):
        want = F[row["test"].rpartition(":")[2]]
        assert row["pop_ins"] == (want is not None)
        assert row["pop_outs"] == 0
        if want is not None:
            n += 1
            assert row["pop_in_F_mN"] == pytest.approx(want, abs=0.006)
            assert row["pop_in_size_nm"] > 5.0
            assert row["pop_in_drop_mN"] is None
    assert n == 52


def test_a_wider_spacing_is_asked_for_by_one_specimen(again: Callable[..., StudyResult]) -> None:
    r = again(
        steel={"flags": {"spacing_diameters": 10.0}}, tempered={"edges_um": [[-3, -9, -3, 9]]}
    )
    found = counted(r)
    assert 0 < found["steel", "neighbour near"] <= 40
    assert found["tempered", "neighbour near"] == 0
    assert found["tempered", "edge near"] == 1
    row = r.tests_table.row(by_predicate=pl.col("test") == "line:T-01", named=True)
    assert "edge near" in row["flags"]


def test_flags_move_no_number(again: Callable[..., StudyResult], demo_result: StudyResult) -> None:
    r = again(
        glass={"flags": {"outlier": False, "pop_in_sigma": 20.0}, "roughness_Ra_nm": 20.0},
        film={"flags": {"film_depth_share": 0.7}},
        steel={"bulk_thickness_um": 3.0, "material_class": "other"},
    )
    found = counted(r)
    assert found["glass", "roughness"] == 24
    assert found["film", "film depth"] == 0
    assert found["steel", "thin specimen"] == 40
    for name in ("H_IT_GPa", "u_H_IT_GPa", "E_IT_GPa", "u_E_IT_GPa", "S_mN_per_nm"):
        for a, b in zip(r.tests_table[name], demo_result.tests_table[name], strict=True):
            assert a == pytest.approx(b, rel=1e-12)
