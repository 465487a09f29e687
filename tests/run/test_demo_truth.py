"""The whole main job against the truth from which the invented records were built."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import polars as pl
import pytest

from drypoint.run import StudyResult

COLUMNS = ["h_max_nm", "h_c_nm", "S_mN_per_nm", "H_IT_GPa", "E_IT_GPa", "E_r_GPa", "A_p_um2"]


@pytest.fixture(scope="module")
def joined(demo_study: Path, demo_result: StudyResult) -> pl.DataFrame:
    truth = pl.read_csv(demo_study.parent / "truth.csv", comment_prefix="#").drop_nulls("cycle")
    found = demo_result.cycles_table.with_columns(
        pl.col("test").str.split(":").list.last().alias("label")
    )
    return found.join(
        truth, left_on=["source", "label", "cycle"], right_on=["file", "test", "cycle"],
        suffix="_true", how="inner",
    )  # fmt: skip


def test_every_good_record_gave_a_row(joined: pl.DataFrame, demo_result: StudyResult) -> None:
    assert joined.height == demo_result.cycles_table.height == 24 + 16 * 10 + 40 + 12


def test_the_bad_ones_were_set_aside_with_their_reason(demo_result: StudyResult) -> None:
    reasons = {s.test: s.reason for s in demo_result.set_aside}
    assert set(reasons) == {"G-25", "G-26", "part-4:F-17"}
    assert "No contact" in reasons["G-25"]
    assert "incomplete" in reasons["G-26"]
    assert "saturated" in reasons["part-4:F-17"]


@pytest.mark.parametrize("column", COLUMNS)
def test_values_agree_with_the_truth_within_their_uncertainty(
    joined: pl.DataFrame, column: str
) -> None:
    """Of normal errors 95 % lie within 2 u and 99.98 % within 3.7 u; systematic parts are one
    draw for all rows, so the first bound is left wide."""
    error = (joined[column] - joined[column + "_true"]).to_numpy()
    u = joined["u_" + column].to_numpy()
    z = np.abs(error / u)
    assert np.nanmax(z) < 6.0
    assert np.mean(z < 2.0) > 0.85


@pytest.mark.parametrize(
    ("column", "limit"), [("H_IT_GPa", 0.02), ("E_IT_GPa", 0.03), ("h_c_nm", 0.015)]
)
def test_means_are_close_to_the_truth(joined: pl.DataFrame, column: str, limit: float) -> None:
    """Above 40 nm of contact depth, where zero and tip no longer rule."""
    deep = joined.filter(pl.col("h_c_nm") > 40)
    for _, part in deep.group_by("specimen"):
        ratio = (part[column] / part[column + "_true"]).mean()
        assert abs(ratio - 1) < limit


def test_film_follows_the_truth_of_each_depth(
    demo_result: StudyResult, joined: pl.DataFrame
) -> None:
    """Film and wafer together by exact layered contact, at each of the ten depths."""
    film = demo_result.bins["film"]["E_IT"]
    assert len(film) == 10
    true = joined.filter(pl.col("specimen") == "film").sort("h_c_nm_true")
    depth, E = true["h_c_nm_true"].to_numpy(), true["E_IT_GPa_true"].to_numpy()
    for b in film[1:]:
        assert b.result is not None
        law = 1e9 * np.interp(b.depth * 1e9, depth, E)
        assert abs(b.result.mean - law) < 1.5 * b.result.expanded


def test_tempering_changes_hardness_and_not_the_modulus(demo_result: StudyResult) -> None:
    by = {s: c for s, c in demo_result.comparisons}
    assert by["E_IT"].verdict == "equivalent"
    # Systematic parts are shared: the difference knows them less than each mean does.
    u_each = demo_result.series["steel"]["E_IT"].u_systematic / 1e9
    assert by["E_IT"].u_systematic < 0.3 * u_each
