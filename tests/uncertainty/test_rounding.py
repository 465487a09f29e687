"""Two significant figures, and the value to match (GUM 7.2.6)."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from drypoint.uncertainty.rounding import format_pm, round_pair

NAN = math.nan


@pytest.mark.parametrize(
    ("value", "u", "want"),
    [
        (10.05762, 0.27, ("10.06", "0.27")),
        (10.05762, 0.027, ("10.058", "0.027")),  # JCGM 100 7.2.6 (M-hi)
        (72.3456, 0.0995, ("72.35", "0.10")),
        (72.3456, 0.0994, ("72.346", "0.099")),
        (99.96, 9.96, ("100", "10")),
        (12345678.0, 12345.0, ("12346000", "12000")),
        (-0.001, 0.1, ("0.00", "0.10")),
        (-72.345, 0.12, ("-72.34", "0.12")),
        (5.0, 20.0, ("5", "20")),
        (5.0, 2000.0, ("0", "2000")),
        (1.5, 0.0, ("1.5", "0")),
        (3.0, NAN, ("3", "n/a")),
        (3.0, math.inf, ("3", "n/a")),
        (3.0, -1.0, ("3", "n/a")),
        (NAN, 1.0, ("n/a", "n/a")),
    ],
)
def test_round_pair(value: float, u: float, want: tuple[str, str]) -> None:
    assert round_pair(value, u) == want


@pytest.mark.parametrize(
    ("value", "u", "want"),
    [
        (72.3456, 0.0995, "72.35 ± 0.10 GPa"),
        (-72.345, 0.12, "−72.34 ± 0.12 GPa"),
        (0.00012345, 1.2e-6, "(1.234 ± 0.012) × 10⁻⁴ GPa"),
        (-1e10, 3e7, "(−1.0000 ± 0.0030) × 10¹⁰ GPa"),
        (1.5, 0.0, "1.5 GPa (exact)"),
        (1.5, NAN, "1.5 GPa (uncertainty n/a)"),
        (NAN, 1.0, "n/a"),
    ],
)
def test_format_pm(value: float, u: float, want: str) -> None:
    assert format_pm(value, u, "GPa") == want


@given(st.floats(-1e15, 1e15), st.floats(1e-15, 1e15))
def test_rounding_moves_by_half_a_place_at_most(value: float, u: float) -> None:
    left, right = round_pair(value, u)
    digits = right.replace(".", "").lstrip("0")
    place = float(right) / max(int(digits), 1)
    assert abs(float(right) - u) <= 0.0501 * u
    assert 10 <= int(digits.rstrip("0").ljust(2, "0")) <= 99
    if "." in right:
        assert len(left.split(".")[1]) == len(right.split(".")[1]) and len(digits) == 2
        assert abs(float(left) - value) <= 0.5001 * place + 1e-15 * abs(value)
