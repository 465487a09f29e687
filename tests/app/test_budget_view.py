"""Budgets on the page: what the run's own functions say, rounded once, with their origin. Checked
against GUM 5.1.2 and 5.2.2 (JCGM 100): shares are of the variance and add up to one."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from app_demo import API
from starlette.testclient import TestClient

from drypoint.run import StudyResult, run_study
from drypoint.run.budgets import (
    bin_budget,
    cycle_budget,
    film_budget,
    pairs,
    series_budget,
    test_budget,
)


@pytest.fixture(scope="module")
def result(run_demo: Path) -> StudyResult:
    return run_study(run_demo / "demo" / "study.toml", write=False)


def _get(client: TestClient, **query: Any) -> dict[str, Any]:
    answer = client.get(f"{API}/budget", params=query)
    assert answer.status_code == 200, answer.text
    values: dict[str, Any] = answer.json()
    return values


def test_a_tests_budget_goes_back_to_the_raw_file(client: TestClient, root: Path) -> None:
    d = _get(client, test="G-08", symbol="H_IT")
    shown = sum(r["share"] for r in d["rows"])
    assert shown == pytest.approx(100, abs=0.1 * (d["small"]["n"] + 1))
    (raw,) = d["chain"]["raw"]
    data = (root / "demo" / raw["file"]).read_bytes()
    assert hashlib.sha256(data).hexdigest() == raw["sha256"]
    (bench,) = d["chain"]["benches"]
    data = (root / "demo" / bench["file"]).read_bytes()
    assert hashlib.sha256(data).hexdigest() == bench["sha256"]
    assert bench["said"]["accepted_by"] == "A. Example"
    row = client.get(f"{API}/tests/one", params={"test": "G-08"}).json()
    (cell,) = [v["text"] for v in row["values"] if v["symbol"] == "H_IT"]
    assert cell == [d["value"], d["u"]]


def test_a_means_budget_has_the_k_and_U_of_the_table_of_means(client: TestClient) -> None:
    d = _get(client, specimen="film", symbol="H_IT")
    means = client.get(f"{API}/tests/means").json()["means"]
    (mean,) = [v["mean"] for r in means if r["specimen"] == "film" for v in r["values"]
               if v["symbol"] == "H_IT"]  # fmt: skip
    assert (d["value_with_U"], d["U"], d["k"]) == (mean["mean"], mean["U"], mean["k"])
    assert d["chain"]["raw_files"] == len(d["chain"]["raw"]) > 1


def test_the_copied_python_gives_the_same_number(client: TestClient, result: StudyResult) -> None:
    d = _get(client, test="G-08", symbol="E_IT", cycle=1)
    call = next(line for line in d["python"].splitlines() if line.startswith("b = "))
    space: dict[str, Any] = {"result": result, "cycle_budget": cycle_budget}
    exec(call, space)
    b = space["b"]
    assert b.value == test_budget(result, "G-08", "E_IT").value  # it has one unloading
    assert f"{b.u / 1e9:.2g}" == f"{float(d['u']):.2g}"


def test_correlated_pairs_and_single_parts_add_up_to_the_variance(result: StudyResult) -> None:
    # GUM, formula (16): the sum of squares and twice the products with their correlation.
    for b, joint in (
        (test_budget(result, "G-08", "H_IT"), result.tests.inputs),
        (series_budget(result, "film", "E_IT"), result.tests.inputs),
        (bin_budget(result, "film", "H_IT", 0), result.cycles.inputs),
    ):
        squares = sum(r.contribution**2 for r in b.rows) / b.u**2
        assert squares + sum(p.share for p in pairs(b, joint)) == pytest.approx(1, rel=1e-9)


def test_a_films_budget_has_the_uncertainty_of_the_film_value(
    client: TestClient, result: StudyResult
) -> None:
    (found,) = result.films
    name = found.exact.names[0]
    b = film_budget(result, found.specimen, name)
    _, random, systematic = found.exact.of(name)
    assert b.u == pytest.approx(float(np.hypot(random, systematic)), rel=1e-9)
    d = _get(client, specimen=found.specimen, symbol=name, film=True)
    low, high = (float(v) for v in d["interval"])
    assert low < float(d["value"]) < high


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ({"test": "G-0x", "symbol": "H_IT"}, "has no test “G-0x”"),
        ({"test": "G-08", "symbol": "H"}, "no quantity “H”"),
        ({"specimen": "wood", "symbol": "H_IT"}, "no value of H_IT for wood"),
        ({"test": "G-08", "symbol": "H_IT", "cycle": 9}, "no value of H_IT for G-08"),
        ({"specimen": "film", "symbol": "H_IT", "depth_bin": 999}, "no value of H_IT"),
        ({"specimen": "glass", "symbol": "film.E", "film": True}, "no value of film.E"),
        ({"symbol": "H_IT"}, "of one test or of one specimen"),
    ],
)
def test_what_has_no_budget_is_said(client: TestClient, query: dict[str, Any], words: str) -> None:
    answer = client.get(f"{API}/budget", params=query)
    assert answer.status_code in (404, 422)
    assert words in answer.json()["error"]["text"]
