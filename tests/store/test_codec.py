"""Dataclasses of arrays through the cache's form and back."""

from __future__ import annotations

import json

import numpy as np
import pytest

from drypoint.errors import StoreError
from drypoint.records.layout import SetAside
from drypoint.store.codec import decode, encode, kept
from drypoint.uncertainty.joint import Joint, single


def test_round_trip_is_exact() -> None:
    value = {
        "joint": single("beta", 1.0 / 3.0, 1e-300, "here", np.inf),
        ("a", None): (SetAside("f", None, "r", "m"), [1, 2.5, float("nan"), True, None, "x"]),
    }
    tree, arrays = encode(value)
    back = decode(json.loads(json.dumps(tree)), arrays)
    assert isinstance(back["joint"], Joint)
    assert back["joint"].mean[0] == 1.0 / 3.0
    assert back["joint"].dof[0] == np.inf
    one, rest = back[("a", None)]
    assert one == SetAside("f", None, "r", "m")
    assert rest[:2] == [1, 2.5] and np.isnan(rest[2]) and rest[3:] == [True, None, "x"]


def test_only_our_own_records_are_rebuilt() -> None:
    for c in ("os:system", "drypoint.store.codec:decode", "drypoint.nowhere:Thing"):
        with pytest.raises(StoreError):
            decode({"k": "data", "c": c, "v": {}}, {})
    with pytest.raises(StoreError):
        encode(object())


def test_an_entry_of_another_version_is_a_miss() -> None:
    tree, arrays = encode(SetAside("f", None, "r", "m"))
    tree["v"]["no_such_field"] = 1
    assert kept(tree, arrays) is None
    assert kept({"k": "array", "v": "gone"}, {}) is None
