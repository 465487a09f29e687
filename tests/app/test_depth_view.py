"""Depth on the page: the numbers of the tables, nothing computed anew. Invented data."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from app_demo import API
from starlette.testclient import TestClient

from drypoint.app.buffers import unpack
from drypoint.recipe import load_study
from drypoint.store import read_results


def _values(client: TestClient, path: str, **query: Any) -> tuple[dict[str, Any], dict[str, Any]]:
    answer = client.get(f"{API}/depth/{path}", params=query)
    assert answer.status_code == 200, answer.text
    return unpack(answer.content)


@pytest.mark.parametrize("symbol", ["H_IT", "E_IT", "m"])
def test_points_are_the_table_of_unloadings(client: TestClient, root: Path, symbol: str) -> None:
    arrays, more = _values(client, "values", symbol=symbol)
    results = read_results(load_study(root / "demo" / "study.toml").results)
    table = results.table("cycles")
    column = symbol + ("_GPa" if symbol != "m" else "")
    expected = table[column].to_numpy().astype(np.float32)
    assert np.array_equal(arrays["y"], expected, equal_nan=True)
    assert np.array_equal(
        arrays["x"], table["h_c_nm"].to_numpy().astype(np.float32), equal_nan=True
    )
    assert [more["names"][t] for t in arrays["test"]] == table["test"].to_list()
    bands = {b["specimen"]: b for b in more["bands"]}
    if symbol == "m":
        assert not bands
        return
    bins = results.table("depth_bins")
    mine = bins.filter(bins["specimen"] == "film")
    assert bands["film"]["mean"] == pytest.approx(mine[f"{symbol}_GPa"].to_list())
    assert bands["film"]["U"] == pytest.approx(mine[f"U_{symbol}_GPa"].to_list())


def test_numbers_of_a_chosen_test_open_a_budget(client: TestClient) -> None:
    d = client.get(f"{API}/depth/unloadings", params={"test": "part-1:F-03"}).json()
    assert [r["cycle"] for r in d["rows"]] == list(range(1, 11))
    row = d["rows"][4]
    for column, (value, u) in zip(d["columns"], row["cells"], strict=True):
        query = {"test": d["test"], "cycle": row["cycle"], "symbol": column["symbol"]}
        b = client.get(f"{API}/budget", params=query).json()
        assert (b["value"], b["u"]) == (value, u)


def test_the_bins_numbers_open_a_budget(client: TestClient) -> None:
    _, more = _values(client, "values", symbol="H_IT")
    row = more["bands"][0]["rows"][3]
    query = {"specimen": "film", "symbol": "H_IT", "depth_bin": row["bin"]}
    b = client.get(f"{API}/budget", params=query).json()
    assert (b["value_with_U"], b["U"], b["k"]) == (row["mean"], row["U"], row["k"])


def test_a_film_with_all_models(client: TestClient, root: Path) -> None:
    assert client.get(f"{API}/depth/films").json() == {"films": ["film"], "failed": []}
    arrays, more = _values(client, "film", specimen="film")
    results = read_results(load_study(root / "demo" / "study.toml").results)
    tests = results.table("film_tests")
    assert arrays["x"] == pytest.approx(tests["a_over_t"].to_numpy(), rel=1e-6)
    assert arrays["residual"] == pytest.approx(
        tests["residual_percent"].to_numpy(), rel=1e-4, abs=1e-5
    )
    assert np.all(arrays["low"] <= arrays["exact"]) and np.all(arrays["exact"] <= arrays["high"])
    assert len(more["models"]) == sum(k.startswith("model") for k in arrays) >= 2
    rows = more["values"]["rows"]
    assert len(rows) == len(results.table("films")) == len(more["budgets"])
    assert any("spread" in r[0] for r in rows)
    for cells, quantity in zip(rows, more["budgets"], strict=True):
        if quantity:
            query = {"specimen": "film", "symbol": quantity, "film": True}
            b = client.get(f"{API}/budget", params=query).json()
            assert cells[2] == f"{b['value']} ± {b['u']}"


@pytest.mark.parametrize(
    ("path", "query", "words"),
    [
        ("values", {"symbol": "h_c"}, "no quantity “h_c” against depth"),
        ("unloadings", {"test": "G-0x"}, "has no test “G-0x”"),
        ("unloadings", {"test": "G-08", "symbols": "H"}, "no quantity “H”"),
        ("film", {"specimen": "glass"}, "“glass” has no film values"),
    ],
)
def test_what_is_not_there_is_said(
    client: TestClient, path: str, query: dict[str, str], words: str
) -> None:
    answer = client.get(f"{API}/depth/{path}", params=query)
    assert answer.status_code in (404, 422)
    assert words in answer.json()["error"]["text"]
