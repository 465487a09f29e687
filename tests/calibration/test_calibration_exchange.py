"""The open file: what goes out comes back to the last bit; what is wrong is named."""

from __future__ import annotations

import copy
import json
import tomllib
from typing import Any

import calibration_cases as cases
import numpy as np
import pytest

from drypoint.calibration import (
    Calibration,
    CalibrationError,
    ConstantHardness,
    Form,
    calibrate,
    from_mapping,
    to_mapping,
)
from drypoint.recipe.toml_text import dumps


@pytest.fixture(scope="module", params=["series", "blunted", "table"])
def calibration(request: pytest.FixtureRequest) -> Calibration:
    t = cases.rows(cases.World(), cases.GLASS, np.random.default_rng(0))
    terms = None if request.param == "blunted" else 4
    return calibrate(t, *cases.nominal(u_beta=0.01), ConstantHardness(), Form(request.param, terms),
                     date="2025-01-01")  # fmt: skip


def test_round_trip_through_toml(calibration: Calibration) -> None:
    text = dumps(to_mapping(calibration, {"signed_by": "invented operator"}))
    back = from_mapping(tomllib.loads(text))
    a, b = calibration.bench, back.bench
    assert np.array_equal(a.linked.cov, b.linked.cov)  # type: ignore[union-attr]
    assert np.array_equal(a.linked.mean, b.linked.mean)  # type: ignore[union-attr]
    assert a.linked.names == b.linked.names  # type: ignore[union-attr]
    assert a.tip.area.found_with == b.tip.area.found_with
    assert a.tip.area.knots == pytest.approx(b.tip.area.knots, rel=1e-15)
    h = np.geomspace(a.tip.area.h_min, a.tip.area.h_max, 20)
    from drypoint.tips.area import area

    assert area(a.tip, {}, h) == pytest.approx(area(b.tip, {}, h), rel=1e-13)
    assert b.frame.compliance == a.frame.compliance
    assert back.provenance == {"signed_by": "invented operator"}
    assert back.identified_by == calibration.identification.by


def test_plain_values_only(calibration: Calibration) -> None:
    assert json.loads(json.dumps(to_mapping(calibration)))["format"] == "drypoint-calibration"


def _broken(table: dict[str, Any], path: tuple[str, ...], value: Any) -> dict[str, Any]:
    out = copy.deepcopy(table)
    inner = out
    for key in path[:-1]:
        inner = inner[key]
    if value is None:
        del inner[path[-1]]
    else:
        inner[path[-1]] = value
    return out


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("format",), "other", "no calibration file"),
        (("version",), 99, "of version 99"),
        (("area", "h_min_nm"), None, "lacks a key: h_min_nm"),
        (("inputs", "names"), ["a"], "lacks a key|differ"),
        (("inputs", "covariance_SI"), [[1.0]], "makes no sense|not what it should be"),
        (("tip", "shape"), "spoon", "no shape"),
        (("tip", "E_i_GPa"), "hard", "not what it should be"),
        (("area", "h_max_nm"), -1.0, "makes no sense"),
    ],
)
def test_what_is_wrong_is_named(
    calibration: Calibration, path: tuple[str, ...], value: Any, words: str
) -> None:
    with pytest.raises(CalibrationError, match=words):
        from_mapping(_broken(to_mapping(calibration), path, value))
