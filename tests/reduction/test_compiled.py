"""The compiled loops take one test as they take many: nothing is compiled twice."""

from __future__ import annotations

import sys
from dataclasses import fields

import numpy as np
from numba.core.dispatcher import Dispatcher
from reduction_cases import QUIET, bare, glass, reduced

from drypoint.simulation import simulate_batch, single, stepped


def kernels() -> dict[str, int]:
    """How many sets of types each compiled function has been compiled for."""
    found = {}
    for name, module in list(sys.modules.items()):
        if name.startswith("drypoint."):
            for key, value in vars(module).items():
                if isinstance(value, Dispatcher):
                    found[f"{name}.{key}"] = len(value.signatures)
    return found


def test_one_test_compiles_nothing_new() -> None:
    truths = [glass(name=f"T{i}", noise=QUIET, drift_rate=1e-11) for i in range(3)]
    many = bare(simulate_batch(truths, [single(6e-3), stepped(6e-3, steps=3), single(4e-3)], 2))
    one = bare(simulate_batch(truths[:1], [single(6e-3)], 2))
    reduced(many)
    before = kernels()
    r = reduced(one)
    assert len(r.tests) == 1
    assert sum(before.values()) > 15  # from its cache numba loads only what Python calls
    assert kernels() == before
    for part in (r.readings, r.fits, r.corrected.zero):
        for f in fields(part):
            value = getattr(part, f.name)
            if isinstance(value, np.ndarray) and value.ndim == 1:
                assert value.flags.c_contiguous, f.name
