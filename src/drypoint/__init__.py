"""Hardness and modulus from instrumented-indentation and scratch records, with uncertainty.

>>> import drypoint  # doctest: +SKIP
>>> result = drypoint.run_study("study.toml")  # doctest: +SKIP
>>> result.tests_table  # doctest: +SKIP

The names below are loaded when they are first used, so that ``import drypoint`` is quick.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from drypoint.version import __version__

if TYPE_CHECKING:
    from drypoint.recipe import load_study
    from drypoint.records.read import read as read_records
    from drypoint.reduction.reduce import reduce_batch
    from drypoint.report import (
        sign_study,
        write_calibration_html,
        write_calibration_pdf,
        write_figures,
        write_html,
        write_pdf,
        write_report,
    )
    from drypoint.run import run_study
    from drypoint.run.calibrating import calibrate_study
    from drypoint.run.registering import accept_calibration
    from drypoint.run.stressing import run_stress
    from drypoint.simulation import make_demo

__all__ = [
    "__version__",
    "accept_calibration",
    "calibrate_study",
    "load_study",
    "make_demo",
    "read_records",
    "reduce_batch",
    "run_stress",
    "run_study",
    "sign_study",
    "write_calibration_html",
    "write_calibration_pdf",
    "write_figures",
    "write_html",
    "write_pdf",
    "write_report",
]

_HOME = {
    "accept_calibration": "drypoint.run.registering",
    "calibrate_study": "drypoint.run.calibrating",
    "load_study": "drypoint.recipe",
    "make_demo": "drypoint.simulation",
    "read_records": "drypoint.records.read:read",
    "reduce_batch": "drypoint.reduction.reduce",
    "run_stress": "drypoint.run.stressing",
    "run_study": "drypoint.run",
    "sign_study": "drypoint.report",
    "write_calibration_html": "drypoint.report",
    "write_calibration_pdf": "drypoint.report",
    "write_figures": "drypoint.report",
    "write_html": "drypoint.report",
    "write_pdf": "drypoint.report",
    "write_report": "drypoint.report",
}


def __getattr__(name: str) -> Any:
    if name in _HOME:
        module, _, other = _HOME[name].partition(":")
        return getattr(import_module(module), other or name)
    raise AttributeError(f"module 'drypoint' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOME})
