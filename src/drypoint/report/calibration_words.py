"""Numbers of a calibration as its report prints them."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from drypoint.calibration import Calibration, Known, known_area, known_compliance
from drypoint.figures.labels import input_words, number
from drypoint.recipe.calibrating import CalibrationKeys
from drypoint.report.words import MINUS, typeset
from drypoint.run.bench_result import BenchResult, CheckedBlock
from drypoint.uncertainty.rounding import round_pair

_HYPHEN = re.compile(r"(?<![\w.])-(?=\d)")
PER_mN = 1e-6
UM2 = 1e-12


def keys_of(result: BenchResult) -> CalibrationKeys:
    """The keys of the calibration; a result has them, since nothing is calibrated without."""
    keys = result.study.file.calibration
    assert keys is not None
    return keys


def level_of(result: BenchResult) -> float:
    """Level of confidence of the study."""
    return float(result.study.file.output.level_of_confidence)


def calibration_of(result: BenchResult) -> Calibration:
    """The calibration itself."""
    return result.calibrated.calibration


def pm(value: float, u: float, unit: str = "") -> str:
    """``(0.309 ± 0.011) nm/mN``, or without brackets where there is no unit."""
    left, right = round_pair(value, u)
    body = typeset(left) if right == "0" else f"{typeset(left)} ± {right}"
    if not unit:
        return body
    return f"{body} {unit}" if right == "0" else f"({body}) {unit}"


def depth_words(h_c: float) -> str:
    """A depth in nm without idle noughts: ``62 nm``."""
    return f"{h_c * 1e9:.4g} nm"


def with_minus(sentence: str) -> str:
    """A sentence with typographic minus signs before its numbers."""
    return _HYPHEN.sub(MINUS, sentence)


def percent(share: float, digits: int = 2, *, sign: bool = False) -> str:
    """``1.7 %`` with a typographic minus; ``sign`` shows a plus."""
    text = number(100 * share, digits)
    return ("+" if sign and share > 0 else "") + typeset(text) + " %"


def compliance(result: BenchResult) -> Known:
    """Frame compliance at the study's level of confidence, m/N."""
    return known_compliance(calibration_of(result), level_of(result))


def area_at(result: BenchResult, h_c: float) -> Known:
    """Area at a contact depth, m², at the study's level of confidence."""
    return known_area(calibration_of(result), h_c, level_of(result))


def three_depths(result: BenchResult) -> tuple[float, float, float]:
    """Three contact depths (m) for the verdict: ends and middle of the range, in round numbers.

    The middle is the depth of the tip's control chart where the study names one.
    """
    c = calibration_of(result)
    low, high = c.tip.area.h_min, c.tip.area.h_max
    if not np.isfinite(high) or not low > 0:
        low, high = float(c.rows.h_c.min()), float(c.rows.h_c.max())
    chart = keys_of(result).health_h_c_nm
    inside = chart is not None and low < chart * 1e-9 < high
    middle = chart * 1e-9 if chart is not None and inside else float(np.sqrt(low * high))
    return _round(low, up=True), middle if inside else _round(middle), _round(high, up=False)


def table_depths(result: BenchResult, n: int = 10) -> tuple[float, ...]:
    """Contact depths (m) for a table of areas: the three of the verdict, and others between."""
    low, middle, high = three_depths(result)
    between: Iterable[float] = (_round(float(h)) for h in np.geomspace(low, high, n)[1:-1])
    return tuple(sorted({round(h * 1e9, 3) * 1e-9 for h in (low, middle, high, *between)}))


def _round(h: float, *, up: bool | None = None) -> float:
    """Two figures of a depth, never outside the range."""
    step = 10.0 ** (np.floor(np.log10(h * 1e9)) - 1)
    turn = np.round if up is None else np.ceil if up else np.floor
    return float(turn(h * 1e9 / step) * step) * 1e-9


def words_of_input(name: str) -> str:
    """An input of a calibration in words."""
    parts = name.split(".")
    if parts[0] == "ref":
        what = {"E": "modulus", "nu": "Poisson's ratio"}[parts[-1]]
        return f"{what} of {'.'.join(parts[1:-1])}"
    if parts[0] == "lnH":
        return f"hardness of {'.'.join(parts[1:])}"
    return input_words(name)


def block_name(b: CheckedBlock) -> str:
    """A block by its specimen and certificate."""
    n = b.verification.block.number
    return f"“{b.specimen}”" + (f" (certificate {n})" if n else "")
